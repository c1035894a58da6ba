#include "shop/atomic_file.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <atomic>
#include <cerrno>
#include <cstdio>
#include <optional>
#include <system_error>

namespace bindhue::capture {
namespace {

namespace fs = std::filesystem;

constexpr std::string_view leftover_ending = ".saving";
constexpr std::size_t largest_bytes = std::size_t{64} << 20;

Error storage_error(const std::string& what, const fs::path& where, int number) {
    const char* mend = "Check the folder and its permissions, and try again.";
    if (number == ENOSPC || number == EDQUOT || number == EFBIG)
        mend = "Make room on the disk, and try again.";
    return {Reason::storage, what + " (" + std::generic_category().message(number) + ".)", where.string(),
            mend};
}

class Descriptor {
  public:
    explicit Descriptor(int number) : number_(number) {}
    Descriptor(const Descriptor&) = delete;
    Descriptor& operator=(const Descriptor&) = delete;
    ~Descriptor() { close(); }

    bool close() {
        const int number = number_;
        number_ = -1;
        return number < 0 || ::close(number) == 0;
    }
    int get() const { return number_; }

  private:
    int number_;
};

// Removes the temporary file unless it has been renamed.
struct Temporary {
    fs::path path;
    bool renamed = false;
    ~Temporary() {
        if (!renamed) ::unlink(path.c_str());
    }
};

bool write_all(int descriptor, std::string_view text) {
    while (!text.empty()) {
        const ssize_t n = ::write(descriptor, text.data(), text.size());
        if (n < 0 && errno == EINTR) continue;
        if (n <= 0) return false;
        text.remove_prefix(static_cast<std::size_t>(n));
    }
    return true;
}

bool sync_folder(const fs::path& folder) {
    const Descriptor descriptor(::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
    // Some file systems cannot flush a folder and say EINVAL: then there is nothing more to do.
    return descriptor.get() >= 0 && (::fsync(descriptor.get()) == 0 || errno == EINVAL);
}

// Fills a temporary file beside `target` and renames it over it. Without a mode: the user's usual one.
Status replace(const fs::path& target, std::string_view text, std::optional<mode_t> mode) {
    static std::atomic<unsigned> saves{0};
    std::string name = target.filename().string();
    name.insert(name.begin(), '.');
    name.append(".").append(std::to_string(::getpid())).append("-").append(std::to_string(saves++));
    Temporary temporary{target.parent_path() / name.append(leftover_ending)};
    Descriptor out(
        ::open(temporary.path.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC | O_NOFOLLOW, 0666));
    if (out.get() < 0)
        return storage_error("A file cannot be made in this folder.", target.parent_path(), errno);
    if (!write_all(out.get(), text) || (mode && ::fchmod(out.get(), *mode) != 0) || ::fsync(out.get()) != 0)
        return storage_error("The file cannot be written.", target, errno);
    if (!out.close()) return storage_error("The file cannot be written.", target, errno);
    if (::rename(temporary.path.c_str(), target.c_str()) != 0)
        return storage_error("The file cannot be replaced.", target, errno);
    temporary.renamed = true;
    return ok();
}

}  // namespace

Result<std::string> read_file(const fs::path& path) {
    const Descriptor in(::open(path.c_str(), O_RDONLY | O_CLOEXEC));
    if (in.get() < 0) {
        if (errno == ENOENT)
            return Error{Reason::not_found, "There is no such file.", path.string(), "Check the path."};
        return storage_error("The file cannot be read.", path, errno);
    }
    std::string text;
    char buffer[65536];
    for (;;) {
        const ssize_t n = ::read(in.get(), buffer, sizeof buffer);
        if (n < 0 && errno == EINTR) continue;
        if (n < 0) return storage_error("The file cannot be read.", path, errno);
        if (n == 0) return text;
        text.append(buffer, static_cast<std::size_t>(n));
        if (text.size() > largest_bytes)
            return Error{Reason::storage, "The file is larger than 64 MiB.", path.string(),
                         "Check that this is the right file."};
    }
}

Status save_file(const fs::path& path, std::string_view text, Previous previous) {
    std::error_code code, ignored;
    fs::path target = fs::absolute(path, code);
    if (!code && fs::symlink_status(target, ignored).type() == fs::file_type::symlink)
        target = fs::weakly_canonical(target, code);
    if (code) return storage_error("The path cannot be followed.", path, code.value());

    struct stat status {};
    const bool there = ::stat(target.c_str(), &status) == 0;
    if (!there && errno != ENOENT) return storage_error("The file cannot be looked at.", target, errno);
    if (there && previous == Previous::kept) {
        // A copy and not a second link: on some file systems there are no links. It is whole on the disk
        // before the file itself is touched.
        const Result<std::string> old = read_file(target);
        if (!old) return old.error();
        const Status kept = replace(target.string() + ".previous", *old, status.st_mode & 07777);
        if (!kept) return kept;
    }
    const Status replaced =
        replace(target, text, there ? std::optional<mode_t>(status.st_mode & 07777) : std::nullopt);
    if (!replaced) return replaced;
    if (!sync_folder(target.parent_path()))
        return storage_error("The file is saved, but its folder cannot be flushed to the disk: the version before may come "
                             "back if the power fails.", target, errno);
    return ok();
}

Result<std::string> keep_beside(const fs::path& path, std::string_view text, const std::string& ending) {
    for (int i = 1;; ++i) {
        fs::path beside = path.string().append(ending);
        if (i > 1) beside += std::string("-").append(std::to_string(i));
        const Result<std::string> there = read_file(beside);
        if (!there && there.error().reason != Reason::not_found) return there.error();
        if (there && *there != text) continue;
        if (!there)
            if (const Status saved = save_file(beside, text, Previous::forgotten); !saved) return saved.error();
        return beside.filename().string();
    }
}

bool is_leftover(std::string_view name) { return name.starts_with('.') && name.ends_with(leftover_ending); }

}  // namespace bindhue::capture
