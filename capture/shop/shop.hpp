// The shop's folder: where its files lie, and who may change them.
#pragma once

#include <filesystem>

#include "colour/result.hpp"
#include "shop/spool_file.hpp"

namespace bindhue::capture {

enum class Access { read, change };

// The folder of a shop. While one is open for change no other program can open it for change, so that none
// overwrites what another has just saved; reading is always possible, for files are replaced whole.
class Shop {
  public:
    // Opened for change a missing folder is made. Errors: not_found; storage (also: in use).
    static Result<Shop> open(const std::filesystem::path& folder, Access access);

    Shop(Shop&& other) noexcept;
    Shop& operator=(Shop&& other) noexcept;
    ~Shop();

    const std::filesystem::path& folder() const { return folder_; }
    std::filesystem::path spool_path() const { return folder_ / "spools.json"; }

    // Of a shop without spools.json: empty if opened for change, else the error not_found.
    Result<SpoolFile> spools() const;
    // Precondition: opened for change.
    Status save(const SpoolFile& file) const;

  private:
    Shop(std::filesystem::path folder, int lock) : folder_(std::move(folder)), lock_(lock) {}

    std::filesystem::path folder_;
    int lock_ = -1;  // descriptor of the lock file, -1 if opened for reading
};

// Of the shop in this folder, only to be read.
Result<SpoolFile> load_spools(const std::filesystem::path& folder);

// XDG_DATA_HOME/bindhue, or ~/.local/share/bindhue (XDG Base Directory Specification 0.8). Error: not_found
// if neither is set.
Result<std::filesystem::path> default_shop_folder();

}  // namespace bindhue::capture
