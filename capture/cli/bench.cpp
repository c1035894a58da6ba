#include <signal.h>

#include <chrono>
#include <ctime>
#include <iostream>
#include <stop_token>
#include <thread>

#include "bench/server.hpp"
#include "bench/share.hpp"
#include "cli/command.hpp"
#include "cli/rack.hpp"
#include "shop/card_layout.hpp"

namespace bindhue::capture::cli {
namespace {

// Stops the server at Ctrl-C or when the system asks for it. Made before the server's threads, so that none of them
// is interrupted instead.
class StopOnSignal {
  public:
    StopOnSignal() {
        sigemptyset(&signals_);
        sigaddset(&signals_, SIGINT);
        sigaddset(&signals_, SIGTERM);
        pthread_sigmask(SIG_BLOCK, &signals_, nullptr);
    }

    // The thread that does it must end before the server does.
    [[nodiscard]] std::jthread watch(bench::BenchServer& server) const {
        return std::jthread([this, &server](const std::stop_token& over) {
            bool asked = false;
            while (!over.stop_requested()) {
                const timespec a_while{.tv_sec = 0, .tv_nsec = 100'000'000};
                asked = sigtimedwait(&signals_, nullptr, &a_while) > 0 || asked;
                if (asked) server.stop();
            }
        });
    }

  private:
    sigset_t signals_{};
};

struct BenchCommand {
    std::string card, shop;
    int port = 4610;
    bool json = false, share = false;

    int run() const {
        const Result<std::filesystem::path> folder = shop_folder(shop);
        if (!folder) return fail(folder.error());
        Result<CardLayout> layout = card_from(card);
        if (!layout) return fail(layout.error());
        if (const Result<SpoolFile> spools = spools_of(shop); !spools) {
            // Readings need no rack; and it may come while the page is open.
            std::cerr << "bindhue: no spools to rank yet: " << spools.error().where << ": " << spools.error().what << '\n';
        }

        const StopOnSignal signals;
        Result<bench::BenchServer> server =
            bench::BenchServer::at({.shop = *folder, .card = std::move(*layout), .port = port, .share = share, .limits = {}});
        if (!server) return fail(server.error());
        if (json) {
            nlohmann::ordered_json out{{"format", "bindhue-bench"}, {"version", 1}, {"address", server->address()}};
            if (share) out["shared"] = {{"address", server->shared_address()}, {"code", server->code()}};
            print_json(out);
        } else if (share) {
            if (const Status shown = say_how_to_join(*server); !shown) return fail(shown.error());
        } else {
            std::cout << "The bench page: " << server->address() << "\n"
                      << "Only this machine can open it. Photos stay in memory, and nothing is sent anywhere. Ctrl-C ends it.\n";
        }
        std::cout.flush();
        const std::jthread watcher = signals.watch(*server);  // made last, so it ends first
        server->serve();
        return done;
    }

    static Status say_how_to_join(const bench::BenchServer& server) {
        const Result<std::string> picture = bench::qr_for_terminal(server.shared_address() + "#" + server.code());
        if (!picture) return picture.error();
        std::cout << "The bench page on this machine: " << server.address() << "\nOn one other of the shop's network, once: " << server.shared_address()
                  << "   code " << server.code() << "\n\n" << *picture
                  << "\nOpen it with a phone's camera, or type the address and the code. The connection is not encrypted: share on a network that you\n"
                     "trust. The client that says the code first has the page as long as this command runs. Ctrl-C ends it.\n";
        return ok();
    }
};

}  // namespace

void add_bench(CLI::App& app, int& exit_code) {
    auto command = std::make_shared<BenchCommand>();
    CLI::App* page = app.add_subcommand(
        "bench", "A page in the browser: a photo in, the rod as a strip, the best spools under a band");
    page->add_option("--card", command->card, "Layout file of the card in the photos (default: our bench card, nominal values)");
    add_shop_option(*page, command->shop);
    page->add_option("--port", command->port, "Where on this machine the page is served; 0 for any free port")
        ->check(CLI::Range(0, 65535))
        ->capture_default_str();
    page->add_flag("--share", command->share, "Let one other machine of the shop's network in, by a one-time code shown as a QR code");
    page->add_flag("--json", command->json, "Say the address for machines");
    page->footer("Example: bindhue bench --card my-card.json, then open http://127.0.0.1:4610/\n"
                 "         bindhue bench --card my-card.json --share");
    page->callback([command, &exit_code] { exit_code = command->run(); });
}

}  // namespace bindhue::capture::cli
