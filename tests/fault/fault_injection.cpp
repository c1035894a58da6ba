// Runs commands that save, and cuts them off at one system call after the other: killed before it, told that the disk is full
// (ENOSPC) or broken (EIO), or with half of a write done. Whatever happens, the shop must read as it was or as it
// was to become, what the command says of itself must be true, and the command must work when it is run again.
//
//     fault_injection BINDHUE SOURCE_DIR [EVERY]
//
// tries every system call from the opening of the shop's lock on (or one in EVERY, and in one way, by turns, one in EVERY / 8 of those that write, flush or rename), and prints how
// many it tried and how they ended. Ends with 1 if one left the shop otherwise, with 77 if this machine allows no tracing.
// What it cannot show: power that fails, which may lose what was not flushed.
#include <fcntl.h>
#include <signal.h>
#include <sys/ptrace.h>
#include <sys/syscall.h>
#include <sys/uio.h>
#include <sys/user.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <map>
#include <set>
#include <string>
#include <vector>

#include "shop/shop_check.hpp"

#if !defined(__x86_64__)
int main() {
    std::puts("fault injection knows the registers of x86-64 only");
    return 77;
}
#else

namespace {

namespace fs = std::filesystem;
using namespace bindhue::capture;

enum class Fault { none, kill, no_space, broken, half_written };
constexpr const char* names[] = {"none", "killed", "disk full", "disk broken", "half written"};

struct Ended {
    bool traced = true, killed = false, injected = false;
    int code = -1;
    std::string said;                 // standard output and error
    std::vector<long> calls;          // system calls since the lock was opened
};

std::string text_of(const fs::path& path) {
    std::ifstream in(path, std::ios::binary);
    return {std::istreambuf_iterator<char>(in), {}};
}

bool opens_the_lock(pid_t child, const user_regs_struct& registers) {
    if (registers.orig_rax != SYS_openat) return false;
    std::string path;
    for (unsigned long long at = registers.rsi; path.size() < 4096; at += sizeof(long)) {
        errno = 0;
        const long word = ::ptrace(PTRACE_PEEKDATA, child, reinterpret_cast<void*>(at), nullptr);
        if (errno != 0) return false;
        const char* const letters = reinterpret_cast<const char*>(&word);
        for (std::size_t i = 0; i < sizeof word; ++i) {
            if (letters[i] == '\0') return path.ends_with("/.lock");
            path += letters[i];
        }
    }
    return false;
}

Ended untraced() {
    Ended out;
    out.traced = false;
    return out;
}

// Runs the command; at the system call of this number since the opening of the lock, the fault happens.
Ended run(const std::vector<std::string>& command, Fault fault, std::size_t at) {
    const fs::path said = fs::temp_directory_path() / ("bindhue-fault-" + std::to_string(::getpid()) + ".txt");
    Ended out;
    const pid_t child = ::fork();
    if (child == 0) {
        std::vector<char*> arguments;
        for (const std::string& a : command) arguments.push_back(const_cast<char*>(a.c_str()));
        arguments.push_back(nullptr);
        const int file = ::open(said.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0600);
        ::dup2(file, 1);
        ::dup2(file, 2);
        if (::ptrace(PTRACE_TRACEME, 0, nullptr, nullptr) != 0) ::_exit(77);
        ::raise(SIGSTOP);
        ::execv(arguments[0], arguments.data());
        ::_exit(126);
    }
    int status = 0;
    if (::waitpid(child, &status, 0) != child || !WIFSTOPPED(status)) return untraced();
    if (::ptrace(PTRACE_SETOPTIONS, child, nullptr, PTRACE_O_TRACESYSGOOD | PTRACE_O_EXITKILL) != 0) return untraced();
    bool entering = true, locked = false, pending = false;
    int deliver = 0;
    while (true) {
        ::ptrace(PTRACE_SYSCALL, child, nullptr, reinterpret_cast<void*>(static_cast<long>(deliver)));
        deliver = 0;
        if (::waitpid(child, &status, 0) != child) return untraced();
        if (WIFEXITED(status) || WIFSIGNALED(status)) break;
        if (!WIFSTOPPED(status)) continue;
        if (WSTOPSIG(status) != (SIGTRAP | 0x80)) {
            if (WSTOPSIG(status) != SIGTRAP) deliver = WSTOPSIG(status);
            continue;
        }
        user_regs_struct registers{};
        ::ptrace(PTRACE_GETREGS, child, nullptr, &registers);
        if (entering) {
            locked = locked || opens_the_lock(child, registers);
            if (locked) {
                const std::size_t number = out.calls.size();
                out.calls.push_back(static_cast<long>(registers.orig_rax));
                if (fault != Fault::none && number == at) {
                    out.injected = true;
                    if (fault == Fault::kill) {
                        ::kill(child, SIGKILL);
                        ::waitpid(child, &status, 0);
                        break;
                    }
                    if (fault == Fault::half_written) {
                        registers.rdx /= 2;
                    } else {
                        registers.orig_rax = static_cast<unsigned long long>(-1);  // no such call: nothing is done
                        pending = true;
                    }
                    ::ptrace(PTRACE_SETREGS, child, nullptr, &registers);
                }
            }
        } else if (pending) {
            registers.rax = static_cast<unsigned long long>(fault == Fault::no_space ? -ENOSPC : -EIO);
            ::ptrace(PTRACE_SETREGS, child, nullptr, &registers);
            pending = false;
        }
        entering = !entering;
    }
    out.killed = WIFSIGNALED(status);
    out.code = WIFEXITED(status) ? WEXITSTATUS(status) : -1;
    out.said = text_of(said);
    fs::remove(said);
    return out;
}

// The files that a shop keeps, by name; without the versions before and the lock.
using State = std::map<std::string, std::string>;
State state_of(const fs::path& shop) {
    State out;
    for (const auto& entry : fs::recursive_directory_iterator(shop)) {
        const std::string name = entry.path().lexically_relative(shop).string();
        if (entry.is_regular_file() && !name.ends_with(".previous") && name != ".lock" && !name.ends_with(".saving") &&
            name.find(".saving/") == std::string::npos)
            out[name] = text_of(entry.path());
    }
    return out;
}

struct Scenario {
    std::string name;
    std::vector<std::string> command;  // after the program; SHOP stands for the shop's folder
    enum { demo, nothing, older } begins = demo;  // with the demo shop, without a shop, with one whose files are of older formats
    bool several_files = false;        // may stop between two files; run again, it must finish
};

class Trial {
  public:
    Trial(fs::path program, fs::path start, fs::path work, Scenario scenario)
        : program_(std::move(program)), start_(std::move(start)), shop_(work / "shop"), scenario_(std::move(scenario)) {}

    // False if this machine allows no tracing.
    bool all(std::size_t every) {
        begin();
        old_ = state_of(shop_);
        const Ended whole = run(line(), Fault::none, 0);
        if (!whole.traced) return false;
        new_ = state_of(shop_);
        if (whole.code != 0 || old_ == new_) fault(whole, "the command does not work without a fault");
        if (whole.calls.empty()) fault(whole, "no lock was opened");
        static const std::set<long> files{SYS_openat, SYS_read,  SYS_write,      SYS_fsync,  SYS_rename, SYS_renameat, SYS_unlink,
                                          SYS_rmdir,  SYS_mkdir, SYS_newfstatat, SYS_fchmod, SYS_close,  SYS_flock,    SYS_getdents64,
                                          SYS_lseek,  SYS_fstat, SYS_readlink,   SYS_unlinkat};
        static const std::set<long> often{SYS_write, SYS_fsync, SYS_rename, SYS_mkdir, SYS_flock, SYS_fchmod};
        const std::size_t stride = std::max<std::size_t>(1, every / 8);
        for (std::size_t i = 0; i < whole.calls.size(); ++i) {
            const long call = whole.calls[i];
            std::vector<Fault> ways{Fault::kill};
            if (files.contains(call)) ways.insert(ways.end(), {Fault::no_space, Fault::broken});
            if (call == SYS_write) ways.push_back(Fault::half_written);
            if (i % every == 0) {
                for (const Fault way : ways) cut(i, way);
            } else if (often.contains(call)) {
                if (turn_ % stride == 0) cut(i, ways[turn_ / stride % ways.size()]);
                ++turn_;
            }
        }
        std::printf("%-24s %4zu system calls; ", scenario_.name.c_str(), whole.calls.size());
        for (const Fault f : {Fault::kill, Fault::no_space, Fault::broken, Fault::half_written}) {
            const Count& c = counts_[f];
            std::printf("%s: %d (%d as before, %d as after%s) ", names[static_cast<int>(f)], c.tried, c.old_left, c.new_left,
                        c.between > 0 ? (", " + std::to_string(c.between) + " between, finished when run again").c_str() : "");
            tried_ += c.tried;
        }
        std::printf("\n");
        std::fflush(stdout);
        return true;
    }
    int faults() const { return faults_; }
    int tried() const { return tried_; }

  private:
    std::vector<std::string> line() const {
        std::vector<std::string> out{program_.string()};
        for (const std::string& word : scenario_.command) out.push_back(word == "SHOP" ? shop_.string() : word);
        return out;
    }
    void begin() const {
        fs::remove_all(shop_);
        fs::create_directories(shop_);
        if (!start_.empty()) fs::copy(start_, shop_, fs::copy_options::recursive);
    }
    void fault(const Ended& ended, const std::string& what) {
        ++faults_;
        std::printf("FAULT in %s: %s\n  exit %d, said: %s\n", scenario_.name.c_str(), what.c_str(), ended.code, ended.said.c_str());
    }
    bool reads() const {
        const auto shop = Shop::open(shop_, Access::read);
        if (!shop) return false;
        const auto found = check(*shop);
        return found && found->sound();
    }

    void cut(std::size_t at, Fault what) {
        begin();
        const Ended ended = run(line(), what, at);
        if (!ended.injected) return;  // fewer calls than in the first run: none is of this number
        const std::string place = std::string(names[static_cast<int>(what)]) + " at call " + std::to_string(at);
        Count& count = counts_[what];
        ++count.tried;
        if (!reads()) return fault(ended, place + ": the shop cannot be read");
        const State now = state_of(shop_);
        const bool is_old = now == old_, is_new = now == new_;
        if (is_old)
            ++count.old_left;
        else if (is_new)
            ++count.new_left;
        else if (scenario_.several_files)
            ++count.between;
        else
            return fault(ended, place + ": the shop is neither as before nor as after");
        if (!ended.killed && ended.code == 0 && !is_new) fault(ended, place + ": it ends with 0, but the shop is not as it should be");
        if (!ended.killed && ended.code != 0 && is_new && ended.said.find("is saved") == std::string::npos && !output_fault(ended))
            fault(ended, place + ": it says that it failed, but the shop has changed");
        if (!ended.killed && ended.code != 0 && ended.said.find("what to do: ") == std::string::npos && !output_fault(ended))
            fault(ended, place + ": it failed without saying what to do");
        for (const auto& [name, bytes] : old_) {
            const auto it = now.find(name);
            if (it != now.end() && it->second != bytes && !scenario_.several_files && text_of(shop_ / (name + ".previous")) != bytes)
                fault(ended, place + ": the version before of " + name + " is lost");
        }
        if (is_new) return;
        const Ended again = run(line(), Fault::none, 0);
        if (again.code != 0 || state_of(shop_) != new_) fault(again, place + ": run again, it does not come to its end");
        for (const auto& entry : fs::recursive_directory_iterator(shop_))
            if (entry.path().filename().string().ends_with(".saving"))
                fault(again, place + ": " + entry.path().string() + " is left behind by the next change too");
    }

    // What failed was the telling, not the saving.
    static bool output_fault(const Ended& ended) { return ended.said.empty(); }

    struct Count {
        int tried = 0, old_left = 0, new_left = 0, between = 0;
    };
    fs::path program_, start_, shop_;
    Scenario scenario_;
    State old_, new_;
    std::map<Fault, Count> counts_;
    int faults_ = 0, tried_ = 0;
    std::size_t turn_ = 0;
};

}  // namespace

int main(int argc, char** argv) {
    if (argc < 3) {
        std::puts("usage: fault_injection BINDHUE SOURCE_DIR [EVERY]");
        return 2;
    }
    const std::size_t every = argc > 3 ? std::strtoul(argv[3], nullptr, 10) : 1;
    const fs::path work = fs::temp_directory_path() / ("bindhue-fault-" + std::to_string(::getpid()));
    fs::create_directories(work);
    const fs::path table = work / "more.csv", tests = work / "tests.csv", wraps = work / "wraps.csv", start = work / "start";
    std::ofstream(table) << "code,name,material,size_mm,L,a,b,metres_left\nZ-1,Lichen,nylon,0.15,55,-12,20,90\nZ-2,Slate,silk,0.1,40,-1,-4,50\n";
    std::ofstream(tests) << "material,size_mm,schedule,ground_L,ground_a,ground_b,dry_L,dry_a,dry_b,finished_L,finished_a,finished_b\n"
                            "nylon,0.15,finish,18,0,1,45,50,30,20,35,21\n";
    std::ofstream(wraps) << "spool,width_mm,diameter_mm,pitch_mm,count\nZ-1,30,10,0.15,2\nZ-2,3,10,0.12,2\n";
    // The demo shop, with spools whose length is known, a coat test and a job.
    fs::create_directories(start);
    const fs::path source = argv[2];
    fs::copy(source / "palettes/demo-shop", start, fs::copy_options::recursive);
    const std::string program = argv[1], shop = " --shop '" + start.string() + "' ";
    const auto prepare = [&](const std::string& what, const std::string& rest) {
        return std::system(("'" + program + "' " + what + shop + rest + " >/dev/null").c_str()) == 0;
    };
    if (!prepare("spool import", "'" + table.string() + "'") || !prepare("coat add", "--table '" + tests.string() + "'") ||
        !prepare("job new", "first --bands '" + wraps.string() + "'")) {
        std::puts("the shop for the trial cannot be made");
        return 1;
    }
    const fs::path other = work / "other.csv";
    std::ofstream(other) << "code,name,material,size_mm,L,a,b\nZ-3,Fern,nylon,0.15,45,-22,20\nZ-4,Ash,silk,0.1,60,-1,-4\n";
    // A shop whose rack and coat tests are of version 1.
    const fs::path older = work / "older";
    fs::create_directories(older);
    fs::copy(source / "tests/fuzz/spools/full-version-1.json", older / "spools.json");
    std::ofstream(older / "coat-tests.json")
        << R"({"format":"bindhue-coat-tests","version":1,"tests":[{"material":"nylon","schedule":"finish","size_mm":0.15,"ground":[18,0,1],
"dry":[45,50,30],"finished":[20,35,21],"dry_covariance":[[1,0,0],[0,1,0],[0,0,1]]}]})";
    const auto photo = [&](const char* name) { return (source / "samples/photos" / name).string(); };
    const std::string card = (source / "samples/card.json").string();
    const std::vector<Scenario> scenarios{
        {"spool import", {"spool", "import", other.string(), "--shop", "SHOP"}},
        {"the first import", {"spool", "import", other.string(), "--shop", "SHOP"}, Scenario::nothing},
        {"spool remove", {"spool", "remove", "Z-1", "--shop", "SHOP"}},
        {"coat add", {"coat", "add", "--table", tests.string(), "--shop", "SHOP"}},
        {"shop settings", {"shop", "settings", "--units", "inches", "--per-wrap", "12.5", "--shop", "SHOP"}},
        {"job new", {"job", "new", "second", "--bands", wraps.string(), "--shop", "SHOP"}},
        {"job done", {"job", "done", "first", "--shop", "SHOP"}, Scenario::demo, true},
        {"shop restore", {"shop", "restore", "spools.json", "--shop", "SHOP"}, Scenario::demo, true},
        {"spool add", {"spool", "add", "Z-5", "--material", "nylon", "--size-mm", "0.15", "--lab", "45,18,-12", "--shop", "SHOP"}},
        {"spool edit", {"spool", "edit", "Z-1", "--metres", "42", "--lot", "3", "--shop", "SHOP"}},
        {"spool enrol",
         {"spool", "enrol", photo("shelf.jpg"), "--card", card, "--taken-under", "door", "--code", "red,pale,green", "--material", "silk", "--size-mm",
          "0.1", "--shop", "SHOP"}},
        {"coat add, from photos",
         {"coat", "add", "--before", photo("test-dry.jpg"), "--after", photo("test-finished.jpg"), "--card", card, "--spool", "R1-12", "--schedule",
          "finish", "--shop", "SHOP"}},
        {"coat opacity",
         {"coat", "opacity", "--spool", "R4-02", "--black", "62,-1,6", "--white", "88.5,0,11", "--black-ground", "18,0,0", "--white-ground", "93,-1,2", "--shop",
          "SHOP"}},
        {"an older rack's change", {"spool", "edit", "Q-1", "--metres", "42", "--shop", "SHOP"}, Scenario::older, true},
        {"older coat tests' change", {"coat", "add", "--table", tests.string(), "--shop", "SHOP"}, Scenario::older, true},
    };
    int faults = 0, tried = 0;
    for (const Scenario& scenario : scenarios) {
        const fs::path begin = scenario.begins == Scenario::demo ? start : scenario.begins == Scenario::older ? older : fs::path();
        Trial trial(program, begin, work, scenario);
        if (!trial.all(every)) {
            std::puts("this machine lets no program trace its own child");
            fs::remove_all(work);
            return 77;
        }
        faults += trial.faults();
        tried += trial.tried();
    }
    fs::remove_all(work);
    std::printf("%d cut points tried; %d left the shop as they should not\n", tried, faults);
    return faults == 0 ? 0 : 1;
}
#endif
