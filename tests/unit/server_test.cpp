// The bench page's server as a hostile client meets it: raw bytes over a socket.
#include "bench/server.hpp"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <unistd.h>

#include <catch2/catch.hpp>
#include <algorithm>
#include <cctype>
#include <chrono>
#include <cmath>
#include <fstream>
#include <iterator>
#include <thread>

#include <nlohmann/json.hpp>

#include "bench/assets.hpp"
#include "bench/guard.hpp"
#include "bench/share.hpp"
#include "support/command.hpp"
#include "support/live_frames.hpp"
#include "support/sample.hpp"
#include "support/source_dir.hpp"
#include "support/temporary_folder.hpp"

using namespace bindhue;
using namespace bindhue::capture;
using namespace bindhue::capture::bench;
using nlohmann::json;

namespace {

struct Said {
    int status = 0;
    std::string head, body;
    json document() const { return json::parse(body); }
};

class Running {
  public:
    explicit Running(QueueLimits limits = {}, const std::filesystem::path& shop = in_source("palettes/demo-shop"), bool share = false)
        : server_([&] {
              auto server = BenchServer::at({.shop = shop, .card = sample_layout(), .port = 0, .share = share, .limits = limits});
              REQUIRE(server);
              return std::move(*server);
          }()),
          thread_([this] { server_.serve(); }) {
        while (get("/").status != 200) std::this_thread::sleep_for(std::chrono::milliseconds(5));
    }
    ~Running() {
        server_.stop();
        thread_.join();
    }

    int port() const { return server_.port(); }
    std::string host() const { return "127.0.0.1:" + std::to_string(port()); }

    // A connection, or -1.
    int connected(const char* machine = "127.0.0.1") const {
        const int to = socket(AF_INET, SOCK_STREAM, 0);
        sockaddr_in address{};
        address.sin_family = AF_INET;
        address.sin_port = htons(static_cast<std::uint16_t>(port()));
        inet_pton(AF_INET, machine, &address.sin_addr);
        if (connect(to, reinterpret_cast<const sockaddr*>(&address), sizeof address) == 0) return to;
        close(to);
        return -1;
    }
    // Sends the bytes as they are; with `half` closes without waiting for an answer.
    Said raw(const std::string& bytes, bool half = false, const char* machine = "127.0.0.1") const {
        const int to = connected(machine);
        if (to < 0) return {};
        std::size_t sent = 0;
        while (sent < bytes.size()) {
            const ssize_t n = send(to, bytes.data() + sent, bytes.size() - sent, MSG_NOSIGNAL);
            if (n <= 0) break;
            sent += static_cast<std::size_t>(n);
        }
        std::string got;
        char part[65536];
        for (ssize_t n = 0; !half && (n = recv(to, part, sizeof part, 0)) > 0;) got.append(part, static_cast<std::size_t>(n));
        close(to);
        Said out;
        if (got.size() > 12) out.status = std::atoi(got.c_str() + 9);
        const std::size_t gap = got.find("\r\n\r\n");
        out.head = got.substr(0, gap);
        if (gap != std::string::npos) out.body = got.substr(gap + 4);
        return out;
    }

    Said get(const std::string& target, const std::string& more = "") const {
        return raw("GET " + target + " HTTP/1.1\r\nHost: " + host() + "\r\n" + more + "Connection: close\r\n\r\n");
    }
    Said post(const std::string& body, const std::string& target = "/api/readings") const {
        return raw("POST " + target + " HTTP/1.1\r\nHost: " + host() + "\r\nOrigin: http://" + host() +
                   "\r\nContent-Length: " + std::to_string(body.size()) + "\r\n\r\n" + body);
    }
    Said form(const std::string& target, const std::string& body) const {
        return raw("POST " + target + " HTTP/1.1\r\nHost: " + host() + "\r\nOrigin: http://" + host() +
                   "\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: " + std::to_string(body.size()) + "\r\n\r\n" + body);
    }
    const BenchServer& server() const { return server_; }
    json ended(const std::string& id) const {
        while (true) {
            const json state = get("/api/readings/" + id).document();
            if (state.at("state") == "done" || state.at("state") == "failed") return state;
            std::this_thread::sleep_for(std::chrono::milliseconds(20));
        }
    }

  private:
    BenchServer server_;
    std::thread thread_;
};

std::string door() {
    std::ifstream in(samples / "photos/door.jpg", std::ios::binary);
    return {std::istreambuf_iterator<char>(in), {}};
}

}  // namespace

TEST_CASE("The page and its parts are served with a strict policy, and nothing else is") {
    const Running page;
    CHECK(assets().size() >= 6);
    for (const Asset& asset : assets()) {
        INFO(asset.path);
        const Said said = page.get(std::string(asset.path));
        CHECK(said.status == 200);
        if (asset.path != "/") CHECK(said.body == asset.text);
        CHECK_THAT(said.head, Catch::Contains("Content-Type: " + std::string(asset.type)));
        CHECK_THAT(said.head, Catch::Contains("Content-Security-Policy: default-src 'none'; script-src 'self'"));
        CHECK_THAT(said.head, !Catch::Contains("unsafe"));
        CHECK_THAT(said.head, Catch::Contains("X-Content-Type-Options: nosniff"));
        CHECK(asset.text.find("http://") == asset.text.find("http://www.w3.org/2000/svg"));
        CHECK(asset.text.find("https://") == std::string_view::npos);
        CHECK(asset.text.find("innerHTML") == std::string_view::npos);
    }
    // The page has its style in it, let in by a nonce that is another each time.
    const auto nonce = [&] {
        const Said said = page.get("/");
        const std::string start = "<style nonce=\"";
        const std::string found = said.body.substr(said.body.find(start) + start.size(), 32);
        CHECK_THAT(said.head, Catch::Contains("style-src 'self' 'nonce-" + found + "'; img-src"));
        CHECK(said.head.find("Content-Security-Policy") == said.head.rfind("Content-Security-Policy"));
        CHECK_THAT(said.body, !Catch::Contains("rel=\"stylesheet\""));
        return found;
    };
    CHECK(nonce() != nonce());
    for (const char* target :
         {"/etc/passwd", "/../../etc/passwd", "/%2e%2e/%2e%2e/etc/passwd", "/..%2f..%2fetc%2fpasswd", "//etc/passwd",
          "/page/../index.html", "/api", "/api/", "/api/readings", "/api/readings/", "/api/readings/..",
          "/api/readings/../../etc/passwd", "/api/readings/%00", "/api/readings/0123456789abcdef0123456789abcdef",
          "/api/readings/x/photo.jpg", "/bench.css/", "/bench.css%00.html", "/index.html"}) {
        INFO(target);
        const Said said = page.get(target);
        CHECK((said.status == 404 || said.status == 400));
        CHECK(said.body.find("root:") == std::string::npos);
        CHECK_THAT(said.head, Catch::Contains("Content-Security-Policy"));
    }
}

TEST_CASE("The rack is audited apart from other requests, and refused in words where there is nothing to audit it against") {
    const Running bench;
    const auto ended = [&](const char* asked) {
        while (true) {
            const Said said = bench.get(std::string("/api/rack/") + asked);
            if (said.status != 200 || said.document().at("state") == "done") return said;
            CHECK(bench.get("/").status == 200);
            std::this_thread::sleep_for(std::chrono::milliseconds(20));
        }
    };
    const Said audited = ended("surfaces");
    INFO(audited.body.substr(0, 500));
    REQUIRE(audited.status == 200);
    CHECK(audited.document().at("levels").size() == 3);
    CHECK(audited.document().at("gaps").size() == 15);
    CHECK(bench.get("/api/shop").document().at("spools_in_all") == 144);
    const json all = bench.get("/api/spools").document(), some = bench.get("/api/spools?find=SCARLET+OAK&top=5").document(), three = bench.get("/api/spools?top=3").document();
    CHECK(all.at("spools").size() == 144);
    CHECK(all.at("spools").at(0).at("lab").size() == 3);
    CHECK(some.at("in_all") == 144);
    REQUIRE(some.at("spools").size() == 1);
    CHECK(some.at("spools").at(0).at("code") == "R1-12");
    CHECK(three.at("found") == 144);
    CHECK(three.at("spools").size() == 3);
    for (const char* bad : {"?top=0", "?top=501", "?top=x"}) CHECK(bench.get(std::string("/api/spools") + bad).status == 422);
    const Said refused = ended("jobs");
    CHECK(refused.status == 422);
    CHECK_FALSE(refused.document().at("mend").get<std::string>().empty());
    CHECK(bench.get("/api/rack/other").status == 404);
    CHECK(bench.get("/api/rack/").status == 404);
    CHECK(bench.raw("POST /api/rack/surfaces HTTP/1.1\r\nHost: " + bench.host() + "\r\nOrigin: http://" + bench.host() + "\r\nContent-Length: 0\r\n\r\n").status >= 400);
}

TEST_CASE("A photo sent to the page is read, drawn and ranked") {
    const Running page;
    const Said sent = page.post(door());
    REQUIRE(sent.status == 202);
    const std::string id = sent.document().at("id");
    const json state = page.ended(id);
    REQUIRE(state.at("state") == "done");
    const json& reading = state.at("reading");
    CHECK(reading.at("format") == "bindhue-reading");
    CHECK(reading.at("card").at("outline_px").size() == 4);
    CHECK(reading.at("card").at("opening_px").size() == 4);
    REQUIRE(reading.at("bands").size() == 7);
    for (const json& band : reading.at("bands")) CHECK(band.at("screen").at("srgb").get<std::string>().size() == 7);
    const Said picture = page.get("/api/readings/" + id + "/photo.jpg");
    CHECK(picture.status == 200);
    CHECK(picture.body.substr(0, 2) == "\xFF\xD8");

    const std::string matches = "/api/readings/" + id + "/matches";
    const json ranked = page.get(matches + "?band=3&ground=blank&ground=white&schedule=finish&tolerance=4&top=5").document();
    CHECK(ranked.at("format") == "bindhue-match");
    REQUIRE(ranked.at("candidates").size() == 5);
    for (const json& row : ranked.at("candidates")) {
        CHECK(row.at("schedule") == "finish");
        CHECK((row.at("ground") == "blank" || row.at("ground") == "white"));
    }
    for (const char* query :
         {"?band=0", "?band=8", "?band=-1", "?band=nan", "?band=1e400", "?band=", "?tolerance=0", "?tolerance=inf", "?top=51",
          "?ground=mauve", "?ground=1,2", "?ground=nan,0,0", "?ground=1e300,1e300,1e300", "?ground=underwrap:nobody",
          "?schedule=varnish", "?ground=%FF%FE", "?ground=%00", "?band=3&ground=1,0,0&ground=2,0,0&ground=3,0,0&ground=4,0,0&ground=5,0,0&ground=6,0,0&ground=7,0,0&ground=8,0,0&ground=9,0,0"}) {
        INFO(query);
        const Said said = page.get(matches + query);
        CHECK((said.status == 422 || said.status == 404));
        CHECK_FALSE(said.document().at("what").get<std::string>().empty());
        CHECK_FALSE(said.document().at("mend").get<std::string>().empty());
    }
}

namespace {

// As it stands in an address or a form.
std::string wrap_field(const std::string& text) {
    std::string out = "&wrap=";
    for (const unsigned char c : text) {
        if (std::isalnum(c) != 0) {
            out += static_cast<char>(c);
        } else {
            constexpr const char* digits = "0123456789ABCDEF";
            out += {'%', digits[c / 16], digits[c % 16]};
        }
    }
    return out;
}

const std::string two_wraps = wrap_field(R"({"band":3,"spool":"R1-12","schedule":"finish","ground":"blank"})") +
                              wrap_field(R"({"band":6,"spool":"R1-12","schedule":"preserver+finish","ground":"underwrap:R5-02","count":3})");

}  // namespace

TEST_CASE("What is chosen becomes a job sheet that runs nothing") {
    const Running page;
    const std::string id = page.post(door()).document().at("id");
    REQUIRE(page.ended(id).at("state") == "done");
    const std::string sheet = "/api/readings/" + id + "/sheet.html";
    const Said said = page.get(sheet + "?name=%3Cscript%3Etrout" + two_wraps);
    CHECK(said.status == 200);
    CHECK_THAT(said.head, Catch::Contains("Content-Security-Policy: default-src 'none'; style-src 'unsafe-inline'"));
    CHECK(said.head.find("Content-Security-Policy") == said.head.rfind("Content-Security-Policy"));
    CHECK_THAT(said.body, Catch::Contains("R1-12") && Catch::Contains("preserver+finish") && Catch::Contains("&lt;script&gt;trout"));
    CHECK_THAT(said.body, !Catch::Contains("<script"));
    CHECK_THAT(said.body, Catch::Contains("an underwrap of R5-02") && Catch::Contains("R5-02: "));
    // Thirty are on one sheet, each with all that can be said of it, and more are not. (Of two that are the same to the letter the server hears one.)
    std::string many;
    for (int i = 0; i < 30; ++i) many += wrap_field(R"({"band":3,"spool":"R1-12","schedule":"preserver+finish","ground":"underwrap:R5-02","width_mm":33.25,"diameter_mm":9.85,"count":)" + std::to_string(10 + i) + "}");
    CHECK(page.get(sheet + "?name=all" + many).status == 200);
    CHECK(page.get(sheet + "?name=all" + many + wrap_field(R"({"band":3,"spool":"R1-12","schedule":"finish"})")).status == 422);
    CHECK(page.get(sheet + "?name=none").status == 422);
    for (const char* bad : {"0", "11", "x", "-1"}) CHECK(page.get(sheet + "?coats=" + bad + two_wraps).status == 422);
    const Said three = page.get(sheet + "?coats=3&one_guide=1" + two_wraps);
    CHECK_THAT(three.body, Catch::Contains("coat 3 of 3") && Catch::Contains("35 %"));
    for (const char* wrap : {"", "3", "{", "[]", R"({"band":3,"spool":"R1-12"})", R"({"band":0,"spool":"R1-12","schedule":"finish"})", R"({"band":8,"spool":"R1-12","schedule":"finish"})",
                             R"({"band":3,"spool":"R1-12","schedule":"varnish"})", R"({"band":3,"spool":"nobody","schedule":"finish"})",
                             R"({"band":3,"spool":"R1-12","schedule":"finish","ground":"mauve"})", R"({"band":3,"spool":"R1-12","schedule":"finish","ground":"underwrap:nobody"})",
                             R"({"band":3,"spool":"R1-12","schedule":"finish","width_mm":0})", R"({"band":3,"spool":"R1-12","schedule":"finish","width_mm":1e9})",
                             R"({"band":3,"spool":"R1-12","schedule":"finish","diameter_mm":"9"})", R"({"band":3,"spool":"R1-12","schedule":"finish","count":0})",
                             R"({"band":3.5,"spool":"R1-12","schedule":"finish"})"}) {
        INFO(wrap);
        const std::string query = "?name=one" + wrap_field(wrap);
        const Said refused = page.get(sheet + query);
        CHECK((refused.status == 422 || refused.status == 404));
        CHECK_FALSE(refused.document().at("mend").get<std::string>().empty());
    }
}

TEST_CASE("What is chosen is kept as a job, with its photos and reading, as the command keeps one") {
    const TemporaryFolder folder;
    const std::filesystem::path shop = folder.path / "shop";
    std::filesystem::copy(in_source("palettes/demo-shop"), shop);
    const Running page({}, shop);
    CHECK(page.get("/api/jobs").document().at("jobs").empty());
    const std::string id = page.raw("POST /api/readings?light=door HTTP/1.1\r\nHost: " + page.host() + "\r\nOrigin: http://" + page.host() +
                                    "\r\nContent-Length: " + std::to_string(door().size()) + "\r\n\r\n" + door()).document().at("id");
    const json state = page.ended(id);
    REQUIRE(state.at("state") == "done");
    const std::string keep = "/api/readings/" + id + "/job", &wraps = two_wraps;
    for (const std::string& bad : {std::string("name=trout-4"), "name=..%2Fout" + two_wraps, "name=" + two_wraps, "name=t" + wrap_field(R"({"band":9,"spool":"R1-12","schedule":"finish"})")}) {
        INFO(bad);
        const Said refused = page.form(keep, bad);
        CHECK(refused.status == 422);
        CHECK_FALSE(refused.document().at("mend").get<std::string>().empty());
    }
    CHECK_FALSE(std::filesystem::exists(shop / "jobs"));
    const Said kept = page.form(keep, "name=trout-4&note=as+it+was" + wraps);
    INFO(kept.body);
    REQUIRE(kept.status == 201);
    CHECK(page.form(keep, "name=trout-4" + wraps).status == 422);  // taken

    const std::filesystem::path job = shop / "jobs/trout-4";
    CHECK(text_of(job / "photo-1.jpg") == door());
    const json file = json::parse(text_of(job / "job.json")), reading = json::parse(text_of(job / "reading.json"));
    CHECK(file.at("note") == "as it was");
    CHECK(file.at("bands").size() == 2);
    CHECK(file.at("bands").at(0).at("ground") == "blank");
    CHECK(file.at("bands").at(0).at("underwrap_mm") == 0);
    CHECK(file.at("bands").at(1).at("ground") == "underwrap:R5-02");
    CHECK(file.at("bands").at(1).at("underwrap_mm").get<double>() > 0.05);
    CHECK(file.at("bands").at(1).at("count") == 3);
    CHECK(file.at("bands").at(0).at("width_mm") == state.at("reading").at("bands").at(2).at("length_mm"));
    CHECK(reading.at("photo") == "photo-1.jpg");
    CHECK(reading.at("bands").at(2).at("lab") == state.at("reading").at("bands").at(2).at("lab"));

    const json listed = page.get("/api/jobs").document().at("jobs").at(0);
    CHECK(listed.at("name") == "trout-4");
    CHECK(listed.at("photos") == json::array({"photo-1.jpg"}));
    CHECK(listed.at("rod").at("bands").size() == 7);
    CHECK(listed.at("trouble").is_null());
    CHECK(listed.at("metres").get<double>() > 10);
    const Said sheet = page.get("/api/jobs/trout-4/sheet.html");
    CHECK(sheet.status == 200);
    CHECK_THAT(sheet.body, Catch::Contains("Job trout-4") && Catch::Contains("R1-12") && Catch::Contains("as it was"));
    const Said note = page.get("/api/jobs/trout-4/note.html");
    CHECK(note.status == 200);
    CHECK_THAT(note.head, Catch::Contains("Content-Security-Policy: default-src 'none'; style-src 'unsafe-inline'"));
    CHECK_THAT(note.body, Catch::Contains("Old, as read") && Catch::Contains("New, as it is expected over the blank as read") && Catch::Contains("9 coat tests"));
    const Said photo = page.get("/api/jobs/trout-4/photos/1");
    CHECK(photo.body == door());
    CHECK_THAT(photo.head, Catch::Contains("Content-Type: image/jpeg"));
    for (const char* target : {"/api/jobs/trout-4/photos/0", "/api/jobs/trout-4/photos/2", "/api/jobs/trout-4/photos/x", "/api/jobs/trout-4/photos/", "/api/jobs/trout-4/job.json",
                               "/api/jobs/trout-5/sheet.html", "/api/jobs/../sheet.html", "/api/jobs/%2e%2e/sheet.html", "/api/jobs/..%2f..%2fshop/sheet.html", "/api/jobs//sheet.html",
                               "/api/jobs/trout-4", "/api/jobs/"}) {
        INFO(target);
        const int status = page.get(target).status;
        CHECK((status == 404 || status == 422));
    }
    // What a job's folder has wrong is said of that job.
    std::ofstream(job / "reading.json") << "{";
    CHECK_FALSE(page.get("/api/jobs").document().at("jobs").at(0).at("trouble").at("what").get<std::string>().empty());
}

TEST_CASE("A reading is corrected and a second photo joined over the wire, and nonsense is refused") {
    const Running page;
    const std::string id = page.post(door()).document().at("id"), again = "/api/readings/" + id + "/again";
    const json found = page.ended(id).at("reading").at("bands");
    const Said edges = page.form(again, "edges=" + std::to_string(found.at(2).at("start_mm").get<double>()) + "," + std::to_string(found.at(3).at("start_mm").get<double>()));
    REQUIRE(edges.status == 202);
    CHECK(page.ended(edges.document().at("id")).at("reading").at("bands").size() == 3);
    const Said region = page.form(again, "region=900,700,120,8&band=0");
    REQUIRE(region.status == 202);
    CHECK(page.ended(region.document().at("id")).at("reading").at("bands").size() == 1);
    for (const char* bad : {"edges=a", "edges=1,,2", "edges=nan", "region=1,2,3", "region=1,2,3,4", "region=1,2,3,4&band=x", "region=1,2,3,4&band=9"}) {
        INFO(bad);
        const Said refused = page.form(again, bad);
        CHECK((refused.status == 422 || refused.status == 404));
        CHECK_FALSE(refused.document().at("mend").get<std::string>().empty());
    }
    CHECK(page.form("/api/readings/0123456789abcdef0123456789abcdef/again", "edges=30").status == 404);
    CHECK(page.form(again, "edges=" + std::string(9000, '1')).status == 413);
    const json outside = page.ended(page.form(again, "region=1,2,30000,40&band=0").document().at("id"));
    CHECK(outside.at("state") == "failed");
    CHECK(outside.at("error").at("where") == "the correction");

    const Said both = page.post(door(), "/api/readings?light=tube&with=" + id);
    REQUIRE(both.status == 202);
    const json joined = page.ended(both.document().at("id"));
    REQUIRE(joined.at("state") == "done");
    CHECK(joined.at("lights") == json::array({"", "tube"}));
    CHECK(joined.at("reading").at("bands").at(2).at("photos") == 2);
    CHECK(page.post(door(), "/api/readings?with=nobody").status == 404);
    for (const char* band : {"0", "8", "x", ""}) CHECK(page.post(door(), "/api/readings?with=" + id + "&band=" + band).status == 404);

    // Alone, a region has no width and no blank: a sheet wants both.
    const std::string alone = region.document().at("id"), sheet = "/api/readings/" + alone + "/sheet.html?name=r";
    const Said without = page.get(sheet + wrap_field(R"({"band":1,"spool":"R1-12","schedule":"finish","ground":"dark"})"));
    CHECK(without.status == 422);
    CHECK_THAT(without.document().at("what").get<std::string>(), Catch::Contains("width of band 1"));
    CHECK(page.get(sheet + wrap_field(R"({"band":1,"spool":"R1-12","schedule":"finish","ground":"dark","width_mm":30})")).status == 422);
    CHECK(page.get(sheet + wrap_field(R"({"band":1,"spool":"R1-12","schedule":"finish","ground":"dark","width_mm":30,"diameter_mm":9})")).status == 200);
}

TEST_CASE("Dry thread goes into the rack, all that a photo shows or none of it, and a test wrap among the coat tests") {
    const TemporaryFolder folder;
    const std::filesystem::path shop = folder.path / "shop";
    std::filesystem::copy(in_source("palettes/demo-shop"), shop);
    const Running page({}, shop);
    const auto read = [&](const char* photo) -> std::string {
        const std::string sent = text_of(samples / "photos" / photo);
        const std::string id = page.post(sent, std::string("/api/readings?light=door&camera=phone&name=") + photo).document().at("id");
        CHECK(page.ended(id).at("state") == "done");
        return id;
    };
    const std::string rack = text_of(shop / "spools.json"), tests = text_of(shop / "coat-tests.json");
    const std::string put = "/api/readings/" + read("shelf.jpg") + "/spools";
    for (const char* bad : {"changed=0", "spool=2", "spool=2%7C", "spool=%7Cred&material=nylon&size_mm=0.15", "spool=99%7Cred&material=nylon&size_mm=0.15", "spool=2%7Cred", "spool=2%7Cred&material=nylon",
                            "spool=2%7Cred&material=wool&size_mm=0.15", "spool=2%7Cred&material=nylon&size_mm=x", "spool=2%7Cred&material=nylon&size_mm=9", "spool=2%7Cred&spool=4%7Cred&material=nylon&size_mm=0.15",
                            "spool=2%7Cred&spool=4%7CR1-12&lot=other&material=nylon&size_mm=0.15"}) {
        INFO(bad);
        const Said refused = page.form(put, bad);
        CHECK((refused.status == 422 || refused.status == 404));
        CHECK_FALSE(refused.document().at("mend").get<std::string>().empty());
    }
    CHECK(text_of(shop / "spools.json") == rack);
    const std::string three = "spool=2%7Cred&spool=4%7Cpale&spool=6%7Cgreen&material=nylon&size_mm=0.15";
    const Said kept = page.form(put, three);
    INFO(kept.body.substr(0, 500));
    REQUIRE(kept.status == 201);
    CHECK(kept.document().at("refused").is_null());
    const std::string before = text_of(shop / "spools.json");
    CHECK(json::parse(before).at("spools").size() == 147);

    const std::string later = "/api/readings/" + read("shelf-later.jpg") + "/spools";
    const Said drifted = page.form(later, three);
    REQUIRE(drifted.status == 200);
    CHECK(drifted.document().at("kept") == false);
    CHECK_THAT(drifted.document().at("refused").at("what").get<std::string>(), Catch::Contains("pale by"));
    CHECK(text_of(shop / "spools.json") == before);
    CHECK(page.form(later, three + "&changed=1").status == 201);
    CHECK(page.form("/api/readings/0123456789abcdef0123456789abcdef/spools", three).status == 404);

    const std::string pair = "before=" + read("test-dry.jpg") + "&after=" + read("test-finished.jpg"), check = "/api/coats/check?" + pair;
    for (const char* bad : {"", "&spool=nobody&schedule=finish", "&spool=R1-12&schedule=none", "&spool=R1-12&schedule=varnish", "&spool=R1-12&schedule=finish&ground=mauve",
                            "&spool=R1-12&schedule=finish&before_band=99", "&spool=R1-12&schedule=finish&before_band=x"}) {
        INFO(bad);
        const Said refused = page.get(check + bad);
        CHECK((refused.status == 422 || refused.status == 404));
        CHECK_FALSE(refused.document().at("mend").get<std::string>().empty());
    }
    CHECK(page.get("/api/coats/check?before=x&after=y&spool=R1-12&schedule=finish").status == 404);
    const Said checked = page.get(check + "&spool=R1-12&schedule=finish");
    REQUIRE(checked.status == 200);
    // The expectation of few tests is too wide to say more.
    CHECK(checked.document().at("verdict") != "not as expected");
    CHECK(checked.document().at("best_estimates_apart").get<double>() < 2.5);
    CHECK(checked.document().at("kept") == false);
    CHECK(text_of(shop / "coat-tests.json") == tests);
    const Said added = page.form("/api/coats", pair + "&spool=R1-12&schedule=finish");
    REQUIRE(added.status == 201);
    CHECK(added.document().at("tests") == json::parse(tests).at("tests").size() + 1);
    CHECK(json::parse(text_of(shop / "coat-tests.json")).at("tests").size() == added.document().at("tests"));
}

TEST_CASE("A frame of a camera is answered with what is to be mended") {
    const Running page;
    const cv::Mat frame = live_frame();
    const auto jpeg = [](const cv::Mat& picture) {
        std::vector<std::uint8_t> bytes;
        cv::imencode(".jpg", picture, bytes);
        return std::string(bytes.begin(), bytes.end());
    };
    const json good = page.post(jpeg(frame), "/api/frames?rod=1").document();
    CHECK(good.at("good") == true);
    CHECK(good.at("card") == true);
    const json dark = page.post(jpeg(brighter(frame, 0.3)), "/api/frames").document();
    CHECK(dark.at("good") == false);
    REQUIRE(dark.at("advice").size() >= 1);
    CHECK(dark.at("advice").at(0).at("fault") == "too-dark");
    CHECK(page.post(jpeg(cv::Mat(400, 600, CV_8UC3, cv::Scalar::all(90))), "/api/frames").document().at("card") == false);
    CHECK(page.post("hello", "/api/frames").status == 422);
    CHECK(page.post(jpeg(cv::Mat(2100, 2100, CV_8UC3, cv::Scalar::all(90))), "/api/frames").status == 422);
    CHECK(page.post(std::string(largest_frame_bytes + 1, 'x'), "/api/frames").status == 413);
    CHECK(page.get("/").status == 200);
}

TEST_CASE("A shared page lets nobody in from the network without the code, and one client with it") {
    const auto addresses = network_addresses();
    if (!addresses) return;  // a machine without a network can't try it
    const Running page({}, in_source("palettes/demo-shop"), true);
    CHECK(page.server().code().size() == 8);
    CHECK(page.server().shared_address() == "http://" + addresses->front() + ":" + std::to_string(page.port()) + "/");
    CHECK(page.get("/api/shop").status == 200);  // this machine's own browser
    const std::string host = addresses->front() + ":" + std::to_string(page.port()), head = " HTTP/1.1\r\nHost: " + host + "\r\n";
    const auto from_afar = [&](const std::string& bytes) { return page.raw(bytes, false, addresses->front().c_str()); };
    const auto code = [&](const std::string& said) {
        const std::string body = "code=" + said;
        return from_afar("POST /api/code" + head + "Origin: http://" + host + "\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: " +
                         std::to_string(body.size()) + "\r\n\r\n" + body);
    };
    for (const Asset& asset : assets()) {
        INFO(asset.path);
        const Said said = from_afar("GET " + std::string(asset.path) + head + "\r\n");
        const bool of_code = asset.path == "/code.js" || asset.path == "/code.css";
        CHECK(said.status == (of_code || asset.path == "/" ? 200 : 401));
        if (asset.path == "/") CHECK_THAT(said.body, Catch::Contains("<title>Bindhue bench: code"));
    }
    for (const char* target : {"/api/shop", "/api/jobs", "/api/rack/surfaces", "/api/readings/0123456789abcdef0123456789abcdef", "/elsewhere"})
        CHECK(from_afar("GET " + std::string(target) + head + "\r\n").status == 401);
    CHECK(from_afar("POST /api/readings" + head + "Origin: http://" + host + "\r\nContent-Length: 5\r\n\r\nhello").status == 401);
    CHECK(from_afar("GET /api/shop" + head + "Cookie: bindhue-bench=0123456789abcdef0123456789abcdef\r\n\r\n").status == 401);

    const Said wrong = code("AAAAAAAA");
    CHECK(wrong.status == 403);
    CHECK_THAT(wrong.head, !Catch::Contains("Set-Cookie"));
    const Said soon = code(page.server().code());
    CHECK(soon.status == 429);
    CHECK_THAT(soon.head, Catch::Contains("Retry-After: 2"));
    std::this_thread::sleep_for(std::chrono::milliseconds(2100));
    const Said right = code(page.server().code());
    REQUIRE(right.status == 200);
    const std::string field = "Set-Cookie: ";
    const std::size_t at = right.head.find(field) + field.size();
    const std::string cookie = right.head.substr(at, right.head.find(';', at) - at);
    CHECK_THAT(right.head, Catch::Contains("HttpOnly") && Catch::Contains("SameSite=Strict"));
    CHECK(from_afar("GET /api/shop" + head + "Cookie: " + cookie + "\r\n\r\n").status == 200);
    CHECK_THAT(from_afar("GET /" + head + "Cookie: " + cookie + "\r\n\r\n").body, Catch::Contains("<title>Bindhue bench</title>"));
    CHECK(code(page.server().code()).status == 403);  // once
    CHECK(from_afar("GET /api/shop" + head + "\r\n").status == 401);
    CHECK(from_afar("GET /api/shop HTTP/1.1\r\nHost: rods.example:" + std::to_string(page.port()) + "\r\nCookie: " + cookie + "\r\n\r\n").status == 421);
}

TEST_CASE("A page that is not shared is on no network, and takes no code") {
    const Running page;
    CHECK(page.server().code().empty());
    CHECK(page.server().shared_address().empty());
    CHECK(page.form("/api/code", "code=AAAAAAAA").status == 404);
    if (const auto addresses = network_addresses()) CHECK(page.connected(addresses->front().c_str()) == -1);
}

TEST_CASE("What is no photo fails with a mend, and the server goes on") {
    const Running page;
    for (const std::string& body : {std::string("hello"), std::string(100000, 'x'), std::string("\xFF\xD8\xFF"), door().substr(0, 20000)}) {
        const Said sent = page.post(body);
        REQUIRE(sent.status == 202);
        const json state = page.ended(sent.document().at("id"));
        REQUIRE(state.at("state") == "failed");
        CHECK_FALSE(state.at("error").at("mend").get<std::string>().empty());
    }
    const json state = page.ended(page.post(door()).document().at("id"));
    CHECK(state.at("state") == "done");
}

TEST_CASE("Requests that are broken, foreign or too large are refused, and the server goes on") {
    const Running page;
    const std::string host = "Host: " + page.host() + "\r\n", ours = "Origin: http://" + page.host() + "\r\n";
    const auto status = [&](const std::string& bytes) { return page.raw(bytes).status; };
    CHECK(status("GET / HTTP/1.1\r\nHost: rods.example:" + std::to_string(page.port()) + "\r\n\r\n") == 421);
    CHECK(status("GET / HTTP/1.1\r\n\r\n") == 421);
    CHECK(status("POST /api/readings HTTP/1.1\r\n" + host + "Origin: http://rods.example\r\nContent-Length: 1\r\n\r\nx") == 403);
    CHECK(status("POST /api/readings HTTP/1.1\r\n" + host + "Content-Length: 1\r\n\r\nx") == 403);
    CHECK(status("POST /api/readings HTTP/1.1\r\n" + host + ours + "Content-Length: 999999999999\r\n\r\nx") == 413);
    CHECK(status("POST /api/readings HTTP/1.1\r\n" + host + ours + "Transfer-Encoding: chunked\r\n\r\n5\r\nhello\r\n0\r\n\r\n") == 411);
    CHECK(status("POST /elsewhere HTTP/1.1\r\n" + host + ours + "Content-Length: 1\r\n\r\nx") == 404);
    CHECK(status("PUT / HTTP/1.1\r\n" + host + ours + "Transfer-Encoding: chunked\r\n\r\n5\r\nhello\r\n0\r\n\r\n") == 405);
    CHECK(page.get("/api/shop", "Sec-Fetch-Site: cross-site\r\n").status == 403);
    // Nonsense of many kinds: any refusal or a closed connection will do.
    for (const std::string& bytes :
         {std::string("\r\n\r\n"), std::string("GET\r\n\r\n"), std::string("GET / HTTP/9.9\r\n\r\n"), std::string(4096, 'A') + "\r\n\r\n",
          "GET /" + std::string(20000, 'a') + " HTTP/1.1\r\n" + host + "\r\n", "GET / HTTP/1.1\r\n" + host + "X: " + std::string(20000, 'b') + "\r\n\r\n",
          std::string("\0\0\0\0\r\n\r\n", 8), std::string("\x16\x03\x01\x02\x00\x01\x00\x01\xFC\x03\x03", 11) + "\r\n\r\n",
          "GET /?" + std::string(3000, '&') + " HTTP/1.1\r\n" + host + "\r\n", "GET /%zz%%%2 HTTP/1.1\r\n" + host + "\r\n"}) {
        const int got = status(bytes);
        INFO(bytes.substr(0, 40) << " -> " << got);
        CHECK((got == 0 || got == 200 || (got >= 400 && got < 500)));
    }
    // Half a photo, and gone: more often than there are request threads.
    for (int i = 0; i < 12; ++i)
        page.raw("POST /api/readings HTTP/1.1\r\n" + host + ours + "Content-Length: 100000000\r\n\r\n" + std::string(1000, 'x'), true);
    CHECK(page.get("/").status == 200);
    CHECK(page.post("hello").status == 202);
}

TEST_CASE("Clients that begin a request and say no more keep nobody waiting") {
    const Running bench;
    std::vector<int> silent;
    for (int i = 0; i < 20; ++i) {
        silent.push_back(bench.connected());
        REQUIRE(silent.back() >= 0);
        const std::string begun = i % 2 == 0 ? "GET /api/sh" : "";
        send(silent.back(), begun.data(), begun.size(), MSG_NOSIGNAL);
    }
    CHECK(bench.get("/").status == 200);
    // It did not wait until they were given up.
    char byte = 0;
    for (const int to : silent) {
        CHECK(recv(to, &byte, 1, MSG_DONTWAIT) == -1);
        close(to);
    }
}

TEST_CASE("A full queue says so, and has room again later") {
    const Running page({.waiting = 1, .waiting_bytes = std::size_t{1} << 20, .kept = 4});
    const Said first = page.post(door());
    REQUIRE(first.status == 202);
    const Said second = page.post(door());
    CHECK((second.status == 503 || page.ended(first.document().at("id")).at("state") == "done"));
    page.ended(first.document().at("id"));
    CHECK(page.post("hello").status == 202);
    CHECK(page.post(std::string(std::size_t{2} << 20, 'x')).status == 503);
}

TEST_CASE("A port that is taken is said, not shared") {
    const Running page;
    const auto second = BenchServer::at({.shop = "x", .card = sample_layout(), .port = page.port(), .share = false, .limits = {}});
    REQUIRE_FALSE(second);
    CHECK(second.error().reason == Reason::storage);
    CHECK(second.error().where == "--port");
}

TEST_CASE("Coat tests are told with what the others make expect") {
    const Running page;
    json said;
    while (true) {
        said = page.get("/api/coats").document();
        if (said.at("state") == "done") break;
        std::this_thread::sleep_for(std::chrono::milliseconds(20));
    }
    const json kept = json::parse(text_of(in_source("palettes/demo-shop/coat-tests.json"))).at("tests");
    CHECK(said.at("tests") == kept.size());
    std::size_t rows = 0;
    for (const json& group : said.at("groups"))
        for (const json& row : group.at("rows")) {
            ++rows;
            const json& test = kept.at(row.at("number").get<std::size_t>() - 1);
            CHECK(test.at("material") == group.at("material"));
            CHECK(row.at("dry").at("lab") == test.at("dry"));
            CHECK(row.at("finished").at("lab") == test.at("finished"));
            CHECK(row.at("by") == group.at("tests").get<std::size_t>() - 1);
            CHECK(row.at("expected").at("lab").size() == 3);
            CHECK(row.at("delta_e").get<double>() >= 0);
        }
    CHECK(rows == kept.size());
    // The command's own figure for the same tests.
    const json model = json::parse(bindhue_command("coat model --json --shop " + quoted(std::filesystem::path(in_source("palettes/demo-shop")))).out);
    for (const json& lesson : model.at("learned"))
        for (const json& group : said.at("groups"))
            if (group.at("material") == lesson.at("material") && group.at("schedule") == lesson.at("schedule") && !lesson.at("held_out").is_null())
                CHECK(group.at("held_out").at("median") == lesson.at("held_out").at("learned").at("median"));
}
