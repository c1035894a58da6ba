#include "shop/shop.hpp"

#include <fcntl.h>
#include <sys/file.h>
#include <unistd.h>

#include <cerrno>
#include <cstdlib>
#include <system_error>
#include <utility>

#include "shop/atomic_file.hpp"

namespace bindhue::capture {

namespace fs = std::filesystem;

namespace {

// Under the lock nobody saves in the shop, so what lies about is of a save that was cut off. Not to be able to remove it
// is no reason to stop.
void remove_leftovers(const fs::path& folder) {
    std::error_code code;
    for (fs::directory_iterator at(folder, code); !code && at != fs::directory_iterator(); at.increment(code)) {
        std::error_code ignored;
        const fs::path inside = at->path();
        if (is_leftover(inside.filename().string()))
            fs::remove_all(inside, ignored);
        else if (folder.filename() == "jobs" && fs::is_directory(fs::symlink_status(inside, ignored)))
            remove_leftovers(inside);
    }
}

}  // namespace

Result<Shop> Shop::open(const fs::path& folder, Access access) {
    std::error_code code;
    if (access == Access::change) fs::create_directories(folder, code);
    if (code)
        return Error{Reason::storage, "The folder cannot be made: " + code.message() + ".", folder.string(),
                     "Name another folder, or correct the permissions."};
    if (!fs::is_directory(folder, code))
        return Error{Reason::not_found, "There is no such folder.", folder.string(),
                     "Name the folder that holds the shop's spools.json."};
    if (access == Access::read) return Shop(folder, -1);

    const int lock = ::open((folder / ".lock").c_str(), O_RDWR | O_CREAT | O_CLOEXEC | O_NOFOLLOW, 0666);
    if (lock < 0)
        return Error{Reason::storage,
                     "The folder cannot be written: " + std::generic_category().message(errno) + ".",
                     folder.string(), "Correct the permissions."};
    if (::flock(lock, LOCK_EX | LOCK_NB) != 0) {
        const int number = errno;
        ::close(lock);
        if (number == EWOULDBLOCK)
            return Error{Reason::storage, "Another program is changing this shop.", folder.string(),
                         "Wait until it is done, and try again."};
        return Error{Reason::storage, "The shop cannot be locked: " + std::generic_category().message(number) + ".",
                     folder.string(), "Keep the shop on a disk that knows locks."};
    }
    remove_leftovers(folder);
    remove_leftovers(folder / "jobs");
    return Shop(folder, lock);
}

Shop::Shop(Shop&& other) noexcept
    : folder_(std::move(other.folder_)), lock_(std::exchange(other.lock_, -1)) {}

Shop& Shop::operator=(Shop&& other) noexcept {
    std::swap(folder_, other.folder_);
    std::swap(lock_, other.lock_);
    return *this;
}

Shop::~Shop() {
    if (lock_ >= 0) ::close(lock_);  // which lets the lock go
}

Result<SpoolFile> Shop::spools() const {
    Result<SpoolFile> file = load_spool_file(spool_path());
    if (file || file.error().reason != Reason::not_found) return file;
    if (lock_ >= 0) return SpoolFile{};
    return Error{Reason::not_found, "This shop has no spools yet.", spool_path().string(),
                 "Add spools, or name the folder of another shop."};
}

Status Shop::save(const SpoolFile& file) const { return save_spool_file(spool_path(), file); }

Result<SpoolFile> load_spools(const fs::path& folder) {
    const Result<Shop> shop = Shop::open(folder, Access::read);
    if (!shop) return shop.error();
    return shop->spools();
}

Result<fs::path> default_shop_folder() {
    // A relative path is to be passed over, says the specification.
    if (const char* data = std::getenv("XDG_DATA_HOME"); data && fs::path(data).is_absolute())
        return fs::path(data) / "bindhue";
    if (const char* home = std::getenv("HOME"); home && fs::path(home).is_absolute())
        return fs::path(home) / ".local" / "share" / "bindhue";
    return Error{Reason::not_found, "Your data folder is not known: neither XDG_DATA_HOME nor HOME is set.",
                 "", "Name the shop's folder."};
}

}  // namespace bindhue::capture
