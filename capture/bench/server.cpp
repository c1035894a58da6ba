#include "bench/server.hpp"

#include <sys/socket.h>

#include <exception>
#include <utility>
#include <vector>

#include <httplib.h>

#include "bench/answers.hpp"
#include "bench/assets.hpp"
#include "bench/guard.hpp"
#include "bench/rack_auditor.hpp"
#include "bench/sheet_answer.hpp"

namespace bindhue::capture::bench {
namespace {

using httplib::Request;
using httplib::Response;

constexpr const char* loopback = "127.0.0.1";
constexpr int patience_s = 10;  // with a client that says nothing
// Each client that says nothing holds one so long: browsers open connections that they may not need.
constexpr std::size_t request_threads = 32;

std::vector<std::string> all_of(const Request& request, const char* field) {
    std::vector<std::string> out;
    const auto [first, last] = request.headers.equal_range(field);
    for (auto at = first; at != last; ++at) out.push_back(at->second);
    return out;
}

RequestHead head_of(const Request& request) {
    return {request.method,
            request.path,
            all_of(request, "Host"),
            all_of(request, "Origin"),
            all_of(request, "Sec-Fetch-Site"),
            all_of(request, "Content-Length"),
            all_of(request, "Transfer-Encoding"),
            all_of(request, "Content-Encoding")};
}

int status_of(Reason reason) {
    switch (reason) {
        case Reason::not_found:
            return 404;
        case Reason::storage:
            return 500;
        default:
            return 422;
    }
}

void send(Response& response, const Answer& answer, int status = 200) {
    response.status = status;
    // A file of the shop may hold a text that is no UTF-8: shown as such, it must not cost the answer.
    response.set_content(answer.dump(-1, ' ', false, Answer::error_handler_t::replace), "application/json");
}

void send(Response& response, const Error& error) { send(response, error_answer(error), status_of(error.reason)); }

void send(Response& response, const Refusal& refusal) {
    send(response, error_answer({Reason::bad_value, refusal.what, "", refusal.mend}), refusal.status);
}

const Refusal no_such{404, "there is nothing here", "open the bench page itself"};
const Refusal gone{404, "this reading is not kept any more", "choose the photo again"};

ReadOptions on_card(CardLayout card) {
    ReadOptions out;
    out.layout = std::move(card);
    return out;
}

// A response's headers that do not depend on what it says.
httplib::Headers lasting_headers() {
    return {{"Content-Security-Policy",
             "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; "
             "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"},
            {"X-Content-Type-Options", "nosniff"},
            {"Referrer-Policy", "no-referrer"},
            {"Cross-Origin-Opener-Policy", "same-origin"},
            {"Cross-Origin-Resource-Policy", "same-origin"},
            {"Permissions-Policy", "camera=(), microphone=(), geolocation=()"},
            {"Cache-Control", "no-store"}};
}

}  // namespace

struct BenchServer::Inside {
    std::filesystem::path shop;
    CardLayout card;
    int port = 0;
    httplib::Server http;
    RackAuditor auditor;
    ReadingQueue queue;  // goes first: the threads that fill it end with serve()

    explicit Inside(BenchOptions&& options)
        : shop(std::move(options.shop)),
          card(options.card),
          auditor(shop),
          queue(on_card(std::move(options.card)), options.limits) {
        http.new_task_queue = [] { return new httplib::ThreadPool(request_threads); };
        http.set_read_timeout(patience_s);
        http.set_write_timeout(patience_s);
        // One request a connection: what is left of a refused one is never taken for the next.
        http.set_keep_alive_max_count(1);
        http.set_tcp_nodelay(true);
        http.set_default_headers(lasting_headers());
        // Not the library's own choice, which lets another program take the same port.
        http.set_socket_options([](socket_t socket) {
            const int yes = 1;
            setsockopt(socket, SOL_SOCKET, SO_REUSEADDR, &yes, sizeof yes);
        });
        // All is decided here, before a body is read; only photos go on to a handler of their own.
        http.set_pre_routing_handler([this](const Request& request, Response& response) {
            using Handled = httplib::Server::HandlerResponse;
            if (const auto refusal = refuse(head_of(request), port)) {
                send(response, *refusal);
                return Handled::Handled;
            }
            if (request.method == "POST") {
                if (request.path == "/api/readings") return Handled::Unhandled;
                send(response, no_such);
                return Handled::Handled;
            }
            get(request, response);
            return Handled::Handled;
        });
        http.Post("/api/readings", [this](const Request& request, Response& response,
                                          const httplib::ContentReader& body) { post_photo(request, response, body); });
        http.set_exception_handler([](const Request&, Response& response, std::exception_ptr) {
            send(response, Refusal{500, "the bench page could not answer", "try again"});
        });
        http.set_error_handler(httplib::Server::Handler([](const Request&, Response& response) {
            if (response.body.empty())
                send(response, Refusal{response.status, "the request could not be read", "open the bench page itself"});
        }));
    }

    void get(const Request& request, Response& response) {
        for (const Asset& asset : assets())
            if (request.path == asset.path) {
                response.status = 200;
                response.set_content(asset.text.data(), asset.text.size(), std::string(asset.type));
                return;
            }
        if (request.path == "/api/shop") return send(response, shop_answer(shop, card));

        if (request.path == "/api/rack/surfaces" || request.path == "/api/rack/jobs") {
            const Result<Answer> rack = auditor.answer(request.path.ends_with("jobs"));
            if (!rack) return send(response, rack.error());
            return send(response, *rack);
        }

        const std::string readings = "/api/readings/";
        if (!request.path.starts_with(readings)) return send(response, no_such);
        const std::string rest = request.path.substr(readings.size());
        const std::size_t slash = std::min(rest.find('/'), rest.size());
        const std::string what = rest.substr(slash);
        const auto state = queue.state(rest.substr(0, slash));
        if (!state) return send(response, gone);
        if (what.empty()) return send(response, state_answer(*state));
        if (!state->done || (what != "/photo.jpg" && what != "/matches" && what != "/sheet.html")) return send(response, no_such);
        if (what == "/photo.jpg") {
            response.status = 200;
            response.set_content(state->done->jpeg, "image/jpeg");
            return;
        }
        if (what == "/sheet.html") {
            const Result<std::string> sheet = sheet_answer(state->done->reading, shop, request.params);
            if (!sheet) return send(response, sheet.error());
            // The sheet is one file that can be kept, so its style is in it; it runs nothing and loads nothing.
            response.headers.erase("Content-Security-Policy");
            response.set_header("Content-Security-Policy",
                                "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'");
            response.status = 200;
            response.set_content(*sheet, "text/html; charset=utf-8");
            return;
        }
        const Result<Answer> matches = match_answer(state->done->reading, shop, request.params);
        if (!matches) return send(response, matches.error());
        send(response, *matches);
    }

    void post_photo(const Request& request, Response& response, const httplib::ContentReader& body) {
        const std::size_t expected = body_bytes(head_of(request));
        auto room = queue.room_for(expected);
        if (!room)
            return send(response, Refusal{503, "too many photos are waiting to be read", "try again in a minute"});
        std::vector<std::uint8_t> photo;
        photo.reserve(expected);
        const bool whole = body([&](const char* data, std::size_t size) {
            if (size > expected - photo.size()) return false;
            photo.insert(photo.end(), data, data + size);
            return true;
        });
        if (!whole || photo.size() != expected)
            return send(response, Refusal{400, "the photo did not arrive whole", "choose it again"});
        Answer out{{"format", "bindhue-bench-id"}, {"version", 1}};
        out["id"] = queue.add(std::move(*room), std::move(photo));
        send(response, out, 202);
    }
};

BenchServer::BenchServer(std::unique_ptr<Inside> inside) : inside_(std::move(inside)) {}
BenchServer::BenchServer(BenchServer&&) noexcept = default;
BenchServer& BenchServer::operator=(BenchServer&&) noexcept = default;
BenchServer::~BenchServer() = default;

Result<BenchServer> BenchServer::at(BenchOptions options) {
    const int wanted = options.port;
    auto inside = std::make_unique<Inside>(std::move(options));
    const bool taken = wanted == 0 ? (inside->port = inside->http.bind_to_any_port(loopback)) > 0
                                   : inside->http.bind_to_port(loopback, wanted);
    if (!taken)
        return Error{Reason::storage, "port " + std::to_string(wanted) + " at " + loopback + " can't be taken",
                     "--port", "another program has it, or a bench page is open already: name another port"};
    if (wanted != 0) inside->port = wanted;
    return BenchServer(std::move(inside));
}

int BenchServer::port() const { return inside_->port; }
std::string BenchServer::address() const {
    return std::string("http://") + loopback + ":" + std::to_string(inside_->port) + "/";
}
void BenchServer::serve() { inside_->http.listen_after_bind(); }
void BenchServer::stop() { inside_->http.stop(); }

}  // namespace bindhue::capture::bench
