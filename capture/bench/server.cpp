#include "bench/server.hpp"

#include <sys/socket.h>

#include <algorithm>
#include <exception>
#include <mutex>
#include <utility>
#include <vector>

#include <httplib.h>

#include "bench/answers.hpp"
#include "bench/assets.hpp"
#include "bench/coat_answer.hpp"
#include "bench/enrol_answer.hpp"
#include "bench/guard.hpp"
#include "bench/job_answer.hpp"
#include "bench/share.hpp"
#include "bench/shop_reckoner.hpp"
#include "live/preview.hpp"
#include "shop/numbers.hpp"
#include "shop/settings.hpp"

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

// As it is: what the library is given whole it packs, as small as it can, which takes many times longer than the loopback address takes for it unpacked.
// For what is no error: such a body the library's handler of errors does not see.
void send_text(Response& response, std::string text, const std::string& type) {
    const auto kept = std::make_shared<const std::string>(std::move(text));
    response.set_content_provider(kept->size(), type, [kept](std::size_t offset, std::size_t length, httplib::DataSink& sink) {
        return sink.write(kept->data() + offset, length);
    });
}

void send(Response& response, const Answer& answer, int status = 200) {
    constexpr int first_error = 400;
    response.status = status;
    // A file of the shop may hold a text that is no UTF-8: shown as such, it must not cost the answer.
    std::string text = answer.dump(-1, ' ', false, Answer::error_handler_t::replace);
    if (status < first_error) return send_text(response, std::move(text), "application/json");
    response.set_content(text, "application/json");
}

void send(Response& response, const Error& error) { send(response, error_answer(error), status_of(error.reason)); }

void send(Response& response, const Refusal& refusal) {
    send(response, error_answer({Reason::bad_value, refusal.what, "", refusal.mend}), refusal.status);
}

const Refusal no_such{404, "there is nothing here", "open the bench page itself"};
const Refusal gone{404, "this reading is not kept any more", "choose the photo again"};
const Refusal full{503, "too many photos are waiting to be read", "try again in a minute"};

constexpr std::size_t most_photos = 6;  // of one wrap

std::string field(const Request& request, const char* name) { return request.has_param(name) ? request.get_param_value(name) : ""; }

// Names are shown and kept: a short one, without what is no letter.
std::string short_name(std::string text) {
    constexpr std::size_t longest = 60;
    std::erase_if(text, [](unsigned char c) { return c < 32 || c == 127; });
    return text.substr(0, longest);
}

Result<Correction> correction_of(const Request& request) {
    Correction out;
    if (request.has_param("region")) {
        const auto numbers = parse_numbers(field(request, "region"), 4, "region");
        if (!numbers) return numbers.error();
        out.region = PixelRegion{(*numbers)[0], (*numbers)[1], (*numbers)[2], (*numbers)[3]};
        const auto band = whole_number(field(request, "band"));
        if (!band) return Error{Reason::bad_value, "the band is no number", "band", "choose it on the bench page again"};
        out.band = *band;
        return out;
    }
    const std::string edges = field(request, "edges");
    out.edges_mm.emplace();
    if (edges.empty()) return out;
    const auto count = static_cast<std::size_t>(std::count(edges.begin(), edges.end(), ',')) + 1;
    const auto numbers = parse_numbers(edges, count, "edges");
    if (!numbers) return numbers.error();
    out.edges_mm = *numbers;
    return out;
}

Answer id_answer(const std::string& id) {
    Answer out = opening("bindhue-bench-id");
    out["id"] = id;
    return out;
}

ReadOptions on_card(CardLayout card) {
    ReadOptions out;
    out.layout = std::move(card);
    return out;
}

std::string policy(const std::string& style) {
    return "default-src 'none'; script-src 'self'; style-src " + style +
           "; img-src 'self' blob:; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";
}

// A response's headers that do not depend on what it says. Cross-Origin-Opener-Policy is not among them: it has a browser start another process for the
// page, tens of milliseconds before its first paint, and an opener of another site can do no more without it than lead the tab away.
httplib::Headers lasting_headers() {
    return {{"Content-Security-Policy", policy("'self'")},
            {"X-Content-Type-Options", "nosniff"},
            {"Referrer-Policy", "no-referrer"},
            {"Cross-Origin-Resource-Policy", "same-origin"},
            {"Permissions-Policy", "camera=(self), microphone=(), geolocation=()"},
            {"Cache-Control", "no-store"}};
}

// The sheet is one file that can be kept, so its style is in it; it runs nothing and loads nothing.
void send_sheet(Response& response, const Result<std::string>& sheet) {
    if (!sheet) return send(response, sheet.error());
    response.headers.erase("Content-Security-Policy");
    response.set_header("Content-Security-Policy",
                        "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'");
    response.status = 200;
    send_text(response, *sheet, "text/html; charset=utf-8");
}

}  // namespace

struct BenchServer::Inside {
    std::filesystem::path shop;
    CardLayout card;
    Served served;
    std::unique_ptr<Share> share;  // none: this machine alone
    httplib::Server http;
    std::mutex frames;  // one at a time: the next one of a camera is there soon enough
    ShopReckoner reckoner;
    ReadingQueue queue;  // goes first: the threads that fill it end with serve()

    explicit Inside(BenchOptions&& options)
        : shop(std::move(options.shop)),
          card(options.card),
          reckoner(shop),
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
            if (const auto refusal = refuse(head_of(request), served)) {
                send(response, *refusal);
                return Handled::Handled;
            }
            if (share && request.remote_addr != loopback && !share->knows(all_of(request, "Cookie"))) {
                if (request.method == "POST" && request.path == "/api/code") return Handled::Unhandled;
                stranger(request, response);
                return Handled::Handled;
            }
            if (request.method == "POST") return Handled::Unhandled;
            get(request, response);
            return Handled::Handled;
        });
        http.Post("/api/readings", [this](const Request& request, Response& response,
                                          const httplib::ContentReader& body) { post_photo(request, response, body); });
        http.Post("/api/frames", [this](const Request& request, Response& response,
                                        const httplib::ContentReader& body) { post_frame(request, response, body); });
        http.Post(R"(/api/readings/([0-9a-f]{32})/again)", [this](const Request& request, Response& response) { read_again(request, response); });
        http.Post(R"(/api/readings/([0-9a-f]{32})/job)", [this](const Request& request, Response& response) {
            const auto state = queue.state(request.matches[1]);
            if (!state || !state->done) return send(response, gone);
            const Result<Answer> kept = keep_job(*state->done, shop, request.params);
            if (!kept) return send(response, kept.error());
            send(response, *kept, 201);
        });
        http.Post(R"(/api/readings/([0-9a-f]{32})/spools)", [this](const Request& request, Response& response) {
            const auto state = queue.state(request.matches[1]);
            if (!state || !state->done) return send(response, gone);
            const Result<Answer> enrolled = enrol_answer(*state->done, shop, request.params);
            if (!enrolled) return send(response, enrolled.error());
            send(response, *enrolled, (*enrolled)["kept"] == true ? 201 : 200);
        });
        http.Post("/api/coats", [this](const Request& request, Response& response) { check_coat(request, response, Keep::yes); });
        http.Post("/api/code", [this](const Request& request, Response& response) { say_code(request, response); });
        http.set_exception_handler([](const Request&, Response& response, std::exception_ptr) {
            send(response, Refusal{500, "the bench page could not answer", "try again"});
        });
        http.set_error_handler(httplib::Server::Handler([](const Request&, Response& response) {
            if (response.body.empty())
                send(response, Refusal{response.status, "the request could not be read", "open the bench page itself"});
        }));
    }

    bool send_asset(const std::string& path, Response& response) const {
        for (const Asset& asset : assets())
            if (path == asset.path) {
                if (path == "/") return send_page(asset, response);
                response.status = 200;
                send_text(response, std::string(asset.text), std::string(asset.type));
                return true;
            }
        return false;
    }

    // Of a shop whose settings can't be read the usual ones: /api/shop says so.
    Settings settings() const {
        const Result<Shop> opened = Shop::open(shop, Access::read);
        if (!opened) return {};
        Result<Settings> own = load_settings(*opened);
        return own ? std::move(*own) : Settings{};
    }

    // The page in the shop's words and units, with its style in it, so that it is painted before anything else is fetched. The nonce lets this style in and no
    // other.
    bool send_page(const Asset& page, Response& response) const {
        static constexpr std::string_view link = "<link rel=\"stylesheet\" href=\"/bench.css\">";
        const auto style = std::find_if(assets().begin(), assets().end(), [](const Asset& asset) { return asset.path == "/bench.css"; });
        const std::size_t at = page.text.find(link);
        const std::string nonce = unguessable("0123456789abcdef", 32);
        std::string text(page.text.substr(0, at));
        text.append("<style nonce=\"").append(nonce).append("\">").append(style->text).append("</style>").append(page.text.substr(at + link.size()));
        response.headers.erase("Content-Security-Policy");
        response.set_header("Content-Security-Policy", policy("'self' 'nonce-" + nonce + "'"));
        response.status = 200;
        const Settings own = settings();
        text = in_words_of(own, std::move(text));
        static constexpr std::string_view units = "{units}";
        if (const std::size_t there = text.find(units); there != std::string::npos) text.replace(there, units.size(), name(own.units));
        send_text(response, std::move(text), std::string(page.type));
        return true;
    }

    // The code's page and its parts, and nothing else.
    void stranger(const Request& request, Response& response) const {
        if (request.method != "POST") {
            if (request.path == "/" && send_asset("/code.html", response)) return;
            if ((request.path == "/code.js" || request.path == "/code.css") && send_asset(request.path, response)) return;
        }
        send(response, Refusal{401, "the bench page is shared with one client, by a code", "open the address that bindhue bench --share printed"});
    }

    void say_code(const Request& request, Response& response) {
        const Refusal no_share{404, "the bench page is not shared", "start bindhue bench --share"};
        if (!share) return send(response, no_share);
        switch (share->say(field(request, "code"), Share::Clock::now())) {
            case Share::Said::right:
                response.set_header("Set-Cookie", share->cookie());
                return send(response, opening("bindhue-bench-welcome"));
            case Share::Said::wrong:
                return send(response, Refusal{403, "this is not the code", "look at the terminal again; after ten wrong ones no code is taken any more"});
            case Share::Said::too_soon:
                response.set_header("Retry-After", std::to_string(Share::pause.count()));
                return send(response, Refusal{429, "a wrong code was said just now", "wait two seconds, then try again"});
            case Share::Said::used:
                return send(response, Refusal{403, "the code was used already: it works once", "start bindhue bench --share anew for another client"});
            case Share::Said::refused:
                return send(response, Refusal{403, "too many wrong codes were said", "start bindhue bench --share anew"});
        }
    }

    void get(const Request& request, Response& response) {
        if (send_asset(request.path, response)) return;
        if (request.path == "/api/shop") return send(response, shop_answer(shop, card));
        if (request.path == "/api/spools") {
            const Result<Answer> spools = spools_answer(shop, request.params);
            if (!spools) return send(response, spools.error());
            return send(response, *spools);
        }
        if (request.path == "/api/coats/check") return check_coat(request, response, Keep::no);
        if (request.path == "/api/jobs" || request.path.starts_with("/api/jobs/")) return get_job(request.path, response);

        using Asked = ShopReckoner::Asked;
        for (const auto& [path, asked] : {std::pair{"/api/rack/surfaces", Asked::surfaces}, {"/api/rack/jobs", Asked::jobs}, {"/api/coats", Asked::coats}})
            if (request.path == path) {
                const Result<Answer> reckoned = reckoner.answer(asked);
                if (!reckoned) return send(response, reckoned.error());
                return send(response, *reckoned);
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
        if (what == "/sheet.html") return send_sheet(response, sheet_answer(state->done->reading, shop, request.params));
        const Result<Answer> matches = match_answer(state->done->reading, shop, request.params);
        if (!matches) return send(response, matches.error());
        send(response, *matches);
    }

    void check_coat(const Request& request, Response& response, Keep keep) {
        const auto before = queue.state(field(request, "before")), after = queue.state(field(request, "after"));
        if (!before || !before->done || !after || !after->done) return send(response, gone);
        const Result<Answer> checked = coat_check_answer(*before->done, *after->done, shop, request.params, keep);
        if (!checked) return send(response, checked.error());
        send(response, *checked, keep == Keep::yes ? 201 : 200);
    }

    void get_job(const std::string& path, Response& response) {
        const std::string jobs = "/api/jobs";
        if (path == jobs) {
            const Result<Answer> all = jobs_answer(shop);
            if (!all) return send(response, all.error());
            return send(response, *all);
        }
        const std::string rest = path.substr(jobs.size() + 1);
        const std::string name = rest.substr(0, rest.find('/')), what = rest.substr(name.size());
        if (what == "/sheet.html") return send_sheet(response, kept_sheet(shop, name));
        if (what == "/note.html") return send_sheet(response, kept_note(shop, name));
        const std::string photos = "/photos/";
        const auto number = what.starts_with(photos) ? whole_number(what.substr(photos.size())) : std::nullopt;
        if (!number) return send(response, no_such);
        Result<KeptPhoto> photo = kept_photo(shop, name, *number);
        if (!photo) return send(response, photo.error());
        response.status = 200;
        if (photo->type.empty()) response.set_header("Content-Disposition", "attachment");
        response.set_content(std::move(photo->bytes), photo->type.empty() ? "application/octet-stream" : photo->type);
    }

    // None, and answered, where it did not arrive whole.
    static std::optional<std::vector<std::uint8_t>> whole_body(const Request& request, Response& response, const httplib::ContentReader& body) {
        const std::size_t expected = body_bytes(head_of(request));
        std::vector<std::uint8_t> out;
        out.reserve(expected);
        const bool whole = body([&](const char* data, std::size_t size) {
            if (size > expected - out.size()) return false;
            out.insert(out.end(), data, data + size);
            return true;
        });
        if (whole && out.size() == expected) return out;
        send(response, Refusal{400, "the photo did not arrive whole", "choose it again"});
        return std::nullopt;
    }

    void post_photo(const Request& request, Response& response, const httplib::ContentReader& body) {
        const std::string with = field(request, "with");
        const bool elsewhere = request.has_param("band");
        const std::size_t band = whole_number(field(request, "band")).value_or(0);
        if (!with.empty()) {
            const auto other = queue.state(with);
            if (!other || !other->done) return send(response, gone);
            if (elsewhere ? other->done->elsewhere.size() >= most_photos : other->done->photos.size() >= most_photos)
                return send(response, Refusal{422, "six photos of this wrap are read together already", "begin anew with the best of them"});
        }
        auto room = queue.room_for(body_bytes(head_of(request)));
        if (!room) return send(response, full);
        auto bytes = whole_body(request, response, body);
        if (!bytes) return;
        SentPhoto photo{std::move(*bytes), short_name(field(request, "light")), short_name(field(request, "name")), short_name(field(request, "camera"))};
        const std::optional<std::string> id = with.empty() ? queue.add(std::move(*room), std::move(photo))
                                              : elsewhere  ? queue.add_elsewhere(with, band, std::move(*room), std::move(photo))
                                                           : queue.add_to(with, std::move(*room), std::move(photo));
        if (!id) return send(response, gone);
        send(response, id_answer(*id), 202);
    }

    void read_again(const Request& request, Response& response) {
        Result<Correction> correction = correction_of(request);
        if (!correction) return send(response, correction.error());
        auto room = queue.room_for(0);
        if (!room) return send(response, full);
        const std::optional<std::string> id = queue.again(request.matches[1], std::move(*room), std::move(*correction));
        if (!id) return send(response, gone);
        send(response, id_answer(*id), 202);
    }

    void post_frame(const Request& request, Response& response, const httplib::ContentReader& body) {
        const auto bytes = whole_body(request, response, body);
        if (!bytes) return;
        const std::unique_lock one(frames, std::try_to_lock);
        if (!one) return send(response, Refusal{503, "another frame is being looked at", "send the next one"});
        const Result<Preview> seen = look_at(*bytes, card, field(request, "rod") == "1" ? RodCheck::yes : RodCheck::no);
        if (!seen) return send(response, seen.error());
        Answer out = opening("bindhue-bench-frame");
        out["good"] = seen->good();
        out["card"] = seen->pose.has_value();
        out["advice"] = Answer::array();
        for (const Advice& advice : seen->advice) out["advice"].push_back({{"fault", name(advice.fault)}, {"what", advice.what}, {"mend", advice.mend}});
        send(response, out);
    }
};

BenchServer::BenchServer(std::unique_ptr<Inside> inside) : inside_(std::move(inside)) {}
BenchServer::BenchServer(BenchServer&&) noexcept = default;
BenchServer& BenchServer::operator=(BenchServer&&) noexcept = default;
BenchServer::~BenchServer() = default;

Result<BenchServer> BenchServer::at(BenchOptions options) {
    const int wanted = options.port;
    const bool shared = options.share;
    auto inside = std::make_unique<Inside>(std::move(options));
    Served& served = inside->served;
    if (shared) {
        const Result<std::vector<std::string>> addresses = network_addresses();
        if (!addresses) return addresses.error();
        served.hosts.insert(served.hosts.end(), addresses->begin(), addresses->end());
        inside->share = std::make_unique<Share>();
    }
    const char* where = shared ? "0.0.0.0" : loopback;
    const bool taken = wanted == 0 ? (served.port = inside->http.bind_to_any_port(where)) > 0 : inside->http.bind_to_port(where, wanted);
    if (!taken)
        return Error{Reason::storage, "port " + std::to_string(wanted) + " at " + where + " can't be taken",
                     "--port", "another program has it, or a bench page is open already: name another port"};
    if (wanted != 0) served.port = wanted;
    return BenchServer(std::move(inside));
}

int BenchServer::port() const { return inside_->served.port; }
std::string BenchServer::address() const {
    return std::string("http://") + loopback + ":" + std::to_string(port()) + "/";
}
std::string BenchServer::shared_address() const {
    if (!inside_->share) return "";
    return "http://" + inside_->served.hosts[2] + ":" + std::to_string(port()) + "/";
}
std::string BenchServer::code() const { return inside_->share ? inside_->share->code() : ""; }
void BenchServer::serve() { inside_->http.listen_after_bind(); }
void BenchServer::stop() { inside_->http.stop(); }

}  // namespace bindhue::capture::bench
