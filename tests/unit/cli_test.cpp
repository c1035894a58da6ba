// The command as its user meets it: run as a program, judged by what it prints and how it ends.
#include <algorithm>
#include <catch2/catch.hpp>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <set>

#include <nlohmann/json.hpp>
#include <opencv2/imgcodecs.hpp>

#include "card/view.hpp"
#include "colour/difference.hpp"
#include "shop/colour_json.hpp"
#include "support/command.hpp"
#include "support/image_bytes.hpp"
#include "support/sample.hpp"
#include "support/source_dir.hpp"
#include "support/temporary_folder.hpp"

using namespace bindhue;
using namespace bindhue::capture;
using nlohmann::json;

namespace {

std::string photo(const std::string& file) {
    return quoted(samples / "photos" / file).append(" --card ").append(quoted(samples / "card.json"));
}

const std::string demo_shop = " --shop '" + in_source("palettes/demo-shop") + "'";

void is_numbers(const json& list, std::size_t count) {
    REQUIRE(list.is_array());
    REQUIRE(list.size() == count);
    for (const json& v : list) CHECK(v.is_number());
}

// A message of ours: what, where and how to mend, and nothing that a decoder has to say.
void explained(const Ended& ended) {
    CHECK(ended.out.empty());
    CHECK(ended.err.rfind("bindhue: ", 0) == 0);
    CHECK_THAT(ended.err, Catch::Contains("what to do: "));
    CHECK(std::count(ended.err.begin(), ended.err.end(), '\n') == 2);
}

}  // namespace

TEST_CASE("every command's help has an example, and ends well") {
    for (const char* command : {"read", "shoot", "match", "card print", "card assign", "card fit", "audit", "coat add", "coat check", "coat opacity", "coat model", "job takes", "job new", "job show", "job sheet", "job done", "shop check", "shop restore", "shop settings", "spool enrol", "spool add", "spool edit", "bench"}) {
        INFO(command);
        const Ended ended = bindhue_command(std::string(command) + " --help");
        CHECK(ended.code == 0);
        CHECK_THAT(ended.out, Catch::Contains("Example: bindhue " + std::string(command)));
        CHECK(ended.err.empty());
    }
    CHECK(bindhue_command("--help").code == 0);
}

TEST_CASE("wrong usage ends with 2") {
    for (const char* arguments :
         {"", "reed", "read", "read --nonsense x.jpg", "match", "match x.jpg --lab 1,2,3",
          "match --lab 50,0,0 --tolerance none", "card print --paper a9"}) {
        INFO(arguments);
        const Ended ended = bindhue_command(arguments);
        CHECK(ended.code == 2);
        CHECK_THAT(ended.err, Catch::Contains("what to do: "));
    }
}

TEST_CASE("Photos after the name of their light are photos") {
    const std::string door = quoted(samples / "photos/door.jpg");
    const Ended ended = bindhue_command("read --json --taken-under door " + door + " " + door);
    REQUIRE(ended.code == 0);
    CHECK(json::parse(ended.out).at("photos").size() == 2);
    const Ended uneven = bindhue_command("read --taken-under door,tube,lamp " + door + " " + door);
    CHECK(uneven.code == 3);
    CHECK_THAT(uneven.err, Catch::Contains("--taken-under"));
}

TEST_CASE("input that can't be read ends with 3, and only our own words are printed") {
    const TemporaryFolder folder;
    const auto saved = [&](const char* name, const ImageBytes& bytes) {
        std::ofstream(folder.path / name, std::ios::binary)
            .write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
        return std::string("read ").append(quoted(folder.path / name));
    };
    cv::Mat picture(60, 80, CV_8UC3);
    cv::randu(picture, cv::Scalar::all(0), cv::Scalar::all(256));
    for (const char* ending : {".jpg", ".png", ".tiff"}) {
        INFO(ending);
        ImageBytes bytes = encoded(picture, ending);
        const Ended enormous = bindhue_command(saved("enormous", with_said_size(bytes, 60000)));
        CHECK(enormous.code == 3);
        explained(enormous);
        ImageBytes holed = bytes;
        bytes.resize(bytes.size() * 2 / 3);
        const Ended cut = bindhue_command(saved("cut", bytes));
        CHECK(cut.code == 3);
        explained(cut);
        // Nonsense where the pixels lie. A JPEG of nonsense is a picture of nonsense, so it may get as far as having no card in it.
        std::fill(holed.begin() + static_cast<std::ptrdiff_t>(holed.size() / 2),
                  holed.begin() + static_cast<std::ptrdiff_t>(holed.size() / 2 + 200), std::uint8_t{0x5A});
        const Ended nonsense = bindhue_command(saved("nonsense", holed));
        CHECK((nonsense.code == 3 || nonsense.code == 4));
        explained(nonsense);
    }
    const Ended text = bindhue_command(saved("letter.jpg", {'h', 'e', 'l', 'l', 'o'}));
    CHECK(text.code == 3);
    explained(text);
    for (const std::string& arguments :
         {std::string("match --lab 50,0").append(demo_shop),
          std::string("match --lab 50,0,nan").append(demo_shop),
          std::string("match --lab 50,0,0 --ground mauve").append(demo_shop),
          std::string("match --lab 50,0,0 --shop ").append(quoted(folder.path)),
          std::string("read ").append(photo("door.jpg")) + " --region 0,0,99999,5",
          std::string("read ").append(photo("door.jpg")) + " --edges 40,30",
          std::string("read ").append(photo("door.jpg")) + " --edges 15.9,x",
          std::string("read ").append(photo("door.jpg")) + " --corners 1,2,3",
          "card fit '" + in_source("README.md") + "'"}) {
        INFO(arguments);
        const Ended ended = bindhue_command(arguments);
        CHECK(ended.code == 3);
        explained(ended);
    }
}

TEST_CASE("a missing, an empty and an unreadable photo are input that can't be read") {
    const TemporaryFolder folder;
    std::ofstream(folder.path / "empty.jpg").close();
    for (const char* name : {"none.jpg", "empty.jpg", ""}) {
        const Ended ended = bindhue_command(std::string("read ").append(quoted(folder.path / name)));
        INFO(name << ": " << ended.err);
        CHECK(ended.code == 3);
        explained(ended);
    }
}

TEST_CASE("photos that can't be measured end with 4 and the reason") {
    for (const auto& [file, reason] : {std::pair{"burnt.jpg", "blown out"},
                                       {"nocard.jpg", "no calibration card was found"},
                                       {"hidden.jpg", ""}}) {
        const Ended ended = bindhue_command(std::string("read ").append(photo(file)));
        INFO(file << ": " << ended.err);
        CHECK(ended.code == 4);
        explained(ended);
        CHECK_THAT(ended.err, Catch::Contains(reason));
    }
}

TEST_CASE("a picture that can't be written ends with 5") {
    const Ended ended = bindhue_command(std::string("read ").append(photo("door.jpg")) +
                                        " --json --picture /nowhere/at/all/found.png");
    CHECK(ended.code == 5);
    CHECK_THAT(ended.err, Catch::Contains("/nowhere/at/all") && Catch::Contains("what to do: "));
    const Ended sheet = bindhue_command("card print --output /nowhere/at/all/card.pdf");
    CHECK(sheet.code == 5);
    explained(sheet);
}

TEST_CASE("read --json has the fields that others rely on") {
    const Ended ended = bindhue_command(std::string("read --json ").append(photo("door.jpg")));
    REQUIRE(ended.code == 0);
    CHECK(ended.err.empty());
    const json reading = json::parse(ended.out);
    CHECK(reading.at("format") == "bindhue-reading");
    CHECK(reading.at("version") == 1);
    CHECK(reading.at("bands").size() >= 3);
    double end = -1;
    for (const json& band : reading.at("bands")) {
        CHECK(band.at("start_mm").get<double>() >= end - 0.01);
        end = band.at("start_mm").get<double>() + band.at("length_mm").get<double>();
        CHECK(std::set<std::string>{"wrap", "trim", "blank"}.contains(band.at("role").get<std::string>()));
        is_numbers(band.at("lab"), 3);
        REQUIRE(band.at("covariance").size() == 3);
        for (std::size_t i = 0; i < 3; ++i) {
            is_numbers(band["covariance"][i], 3);
            CHECK(band["covariance"][i][i].get<double>() > 0);
            for (std::size_t k = 0; k < i; ++k)
                CHECK(band["covariance"][i][k].get<double>() ==
                      Approx(band["covariance"][k][i].get<double>()).margin(1e-9));
        }
        CHECK((band.at("pitch_mm").is_null() || band.at("pitch_mm").is_number()));
        CHECK(band.at("metallic").is_null());
        CHECK(band.at("warnings").is_array());
    }
    CHECK(reading.at("card").at("layout") == "bindhue bench card");
    CHECK(reading.at("card").at("trust") == "measured");
    CHECK(reading.at("card").at("check_error").at("median").get<double>() >= 0);
    CHECK(reading.at("card").at("check_error").at("max").get<double>() >=
          reading.at("card").at("check_error").at("median").get<double>());
}

TEST_CASE("read takes the places where bands meet as they are given") {
    const Ended ended = bindhue_command(std::string("read ").append(photo("door.jpg")).append(" --edges 15.9,50.3 --json"));
    REQUIRE(ended.code == 0);
    const json bands = json::parse(ended.out).at("bands");
    REQUIRE(bands.size() == 3);
    CHECK(bands.at(1).at("start_mm") == 15.9);
    CHECK(bands.at(1).at("length_mm").get<double>() == Approx(50.3 - 15.9));
}

TEST_CASE("match --json has the fields that others rely on, best first") {
    const Ended ended =
        bindhue_command(std::string("match --json --top 7 ").append(photo("door.jpg")) + demo_shop);
    REQUIRE(ended.code == 0);
    const json match = json::parse(ended.out);
    CHECK(match.at("format") == "bindhue-match");
    CHECK(match.at("version") == 1);
    REQUIRE(match.at("candidates").size() == 7);
    double before = 0;
    for (const json& c : match["candidates"]) {
        CHECK(c.at("delta_e_at_best").get<double>() >= before - 0.01);
        before = c["delta_e_at_best"].get<double>();
        for (const char* field : {"spool", "schedule", "ground", "leans"}) CHECK(c.at(field).is_string());
        CHECK((c.at("schedule") == "finish" || c.at("schedule") == "preserver+finish"));
        is_numbers(c.at("predicted_lab"), 3);
        is_numbers(c.at("interval"), 2);
        CHECK(c["interval"][0].get<double>() <= c.at("delta_e").get<double>());
        CHECK(c["delta_e"].get<double>() <= c["interval"][1].get<double>());
        CHECK(c.at("pass_chance").get<double>() >= 0);
        CHECK(c["pass_chance"].get<double>() <= 1);
    }
    const Ended repeated =
        bindhue_command(std::string("match --json --top 7 ").append(photo("door.jpg")) + demo_shop);
    CHECK(repeated.out == ended.out);
}

TEST_CASE("match tells what the reading warns of in the band, and what is to be known of the spools") {
    const std::string ask = "match --band 2 --top 200 " + photo("cane.jpg") + demo_shop;  // a tipping that ends in a channel
    const Ended told = bindhue_command(ask);
    REQUIRE(told.code == 0);
    CHECK(told.out.find("note: band 2: a channel is clipped") != std::string::npos);
    CHECK(told.out.find("band 4: a channel") == std::string::npos);
    CHECK(told.out.find("note: R8-04: metallic") != std::string::npos);
    const json match = json::parse(bindhue_command(ask + " --json").out);
    REQUIRE_FALSE(match.at("target").at("warnings").empty());
    CHECK(match["target"]["warnings"][0].get<std::string>().starts_with("band 2: a channel is clipped"));
}

TEST_CASE("match tells the difference under each light, and in which it is worst") {
    const std::string ask = "match --lab 24,35,19 --ground 18,0,0 --top 4 --light D50,D65,A,FL11" + demo_shop;
    const Ended ended = bindhue_command(ask + " --json");
    REQUIRE(ended.code == 0);
    const json match = json::parse(ended.out);
    for (const json& c : match["candidates"]) {
        REQUIRE(c.at("lights").size() == 4);
        const char* expected[] = {"D50", "D65", "A", "F11"};
        for (std::size_t i = 0; i < 4; ++i) CHECK(c["lights"][i].at("light") == expected[i]);
        // Under D50 it is the difference of the two colours themselves.
        const auto& lab = c["predicted_lab"];
        CHECK(c["lights"][0].at("delta_e").get<double>() == Approx(ciede2000(Lab<D50>{24, 35, 19}, Lab<D50>{lab[0], lab[1], lab[2]})).margin(0.01));
    }
    const Ended words = bindhue_command(ask);
    CHECK_THAT(words.out, Catch::Contains("worst in"));
    CHECK_THAT(words.out, Catch::Contains("second photo"));
    CHECK(bindhue_command("match --lab 24,35,19 --light candle" + demo_shop).code == 2);
}

TEST_CASE("coat opacity keeps with the spool how much one layer hides, and predictions rest on it") {
    const TemporaryFolder folder;
    const std::filesystem::path shop = folder.path / "shop";
    std::filesystem::copy(in_source("palettes/demo-shop"), shop, std::filesystem::copy_options::recursive);
    std::filesystem::remove(shop / "coat-tests.json");
    const auto with_shop = [&](const std::string& arguments) { return bindhue_command(arguments + " --shop " + quoted(shop)); };
    const std::string test = "coat opacity --spool R4-02 --black-ground 18,0,0 --white-ground 93,-1,2 ";
    const auto look = [&] {
        const json match = json::parse(with_shop("match --lab 75,0,8 --ground 18,0,0 --schedule finish --top 200 --json").out);
        for (const json& c : match["candidates"])
            if (c["spool"] == "R4-02") return c["predicted_lab"][0].get<double>();
        return -1.0;
    };
    const double before = look();
    const Ended ended = with_shop(test + "--black 62,-1,6 --white 88.5,0,11 --json");
    CAPTURE(ended.err);
    REQUIRE(ended.code == 0);
    const json found = json::parse(ended.out);
    CHECK(found.at("format") == "bindhue-coat-opacity");
    CHECK(found.at("scattering").get<double>() < 2.6);
    // Contrast ratio by hand: Y is ((L + 16) / 116)^3 (CIE 1976), 0.3040 of L 62 and 0.7311 of 88.5.
    CHECK(found.at("contrast_ratio").get<double>() == Approx(0.3040 / 0.7311).margin(0.001));
    CHECK(json::parse(with_shop("spool show R4-02 --json").out)["spools"][0]["opacity"]["scattering"] == found["scattering"]);
    CHECK(look() < before - 3);
    // The same question by coat predict, and back from a table.
    const std::filesystem::path table = folder.path / "rack.csv";
    REQUIRE(with_shop("spool export " + quoted(table)).code == 0);
    CHECK_THAT(text_of(table), Catch::Contains("opacity_log_sd"));
    CHECK_THAT(with_shop(test + "--black 62,-1,6 --white 88.5,0,11").out, Catch::Contains("contrast ratio 42 %"));
    const std::string rack = text_of(shop / "spools.json");
    for (const char* wrong : {"--black 88.5,0,11 --white 62,-1,6", "--black 62,-1,6 --white 2", "--black 62,-1,6 --white 88,0,nan", "--black 60,-60,4 --white 85,0,90"})
        explained(with_shop(test + wrong));
    explained(with_shop("coat opacity --spool nobody --black 62,-1,6 --white 88.5,0,11"));
    CHECK(with_shop(test + "--black 60,-1,4").code == 2);
    CHECK(with_shop("coat opacity --spool R4-02").code == 2);
    CHECK(text_of(shop / "spools.json") == rack);
}

TEST_CASE("coat check puts new wrap beside old, in each light") {
    const std::string ask = "coat check --beside " + photo("door.jpg") + " --taken-under door";
    // The two trims are one thread, the two wraps are two.
    const json alike = json::parse(bindhue_command(ask + " --old-band 2 --new-band 4 --json").out);
    CHECK(alike.at("format") == "bindhue-coat-beside");
    REQUIRE(alike.at("lights").size() == 1);
    CHECK(alike["lights"][0].at("verdict") != "visible");
    CHECK(alike["lights"][0].at("interval")[0].get<double>() < 2);
    const Ended apart = bindhue_command(ask + " --old-band 3 --new-band 6");
    REQUIRE(apart.code == 0);
    CHECK_THAT(apart.out, Catch::Contains("visible") && Catch::Contains("lighter") && Catch::Contains("second photo"));
    CHECK_THAT(apart.out, !Catch::Contains("WARNING"));
    CHECK(bindhue_command(ask).code == 2);
    CHECK(bindhue_command(ask + " --old-band 3 --new-band 3").code == 2);
    CHECK(bindhue_command("coat check --old-band 3 --new-band 6").code == 2);
    explained(bindhue_command(ask + " --old-band 3 --new-band 60"));
}

TEST_CASE("match tells how the bare blank beside the band looks when it is coated too") {
    const Ended ended = bindhue_command("match --json --top 1 " + photo("door.jpg") + demo_shop);
    REQUIRE(ended.code == 0);
    const json match = json::parse(ended.out);
    is_numbers(match.at("coated_blank").at("lab"), 3);
    CHECK(match["coated_blank"]["lab"][0].get<double>() < 17.5);
    CHECK_THAT(bindhue_command("match --top 1 " + photo("door.jpg") + demo_shop).out, Catch::Contains("if it is coated too"));
    CHECK_FALSE(json::parse(bindhue_command("match --lab 24,35,19 --json" + demo_shop).out).contains("coated_blank"));
}

TEST_CASE("match --as-new undoes the amber of the old finish, given or read from a place, and asks about fading") {
    const std::string ask = "match --lab 66,2,30 --ground 18,0,0 --top 2" + demo_shop;
    for (const char* amber : {" --as-new --amber 0.8", " --as-new --amber 0.8,0.02", " --as-new --amber-bare 92,0,2 --amber-coated 90,-2,30"}) {
        const Ended ended = bindhue_command(ask + amber + " --json");
        REQUIRE(ended.code == 0);
        const json target = json::parse(ended.out).at("target");
        CHECK(target.at("as_new").at("now_lab")[2] == 30);
        CHECK(target["lab"][2].get<double>() < 25);
        CHECK(target["lab"][0].get<double>() > 66);
        CHECK(target["covariance"][2][2].get<double>() > target["as_new"]["now_covariance"][2][2].get<double>());
        CHECK(target["as_new"].at("transmittance_440").get<double>() == Approx(0.85).margin(0.06));
        CHECK(target["as_new"].at("transmittance_440_sd").get<double>() > 0);
    }
    const Ended words = bindhue_command(ask + " --as-new --amber 0.8");
    CHECK_THAT(words.out, Catch::Contains("faded too?") && Catch::Contains("guide foot") && Catch::Contains("as it is now"));
    for (const char* wrong : {" --as-new", " --amber 0.8", " --as-new --amber-bare 92,0,2", " --as-new --amber 0.8 --amber-bare 92,0,2 --amber-coated 90,-2,30"})
        CHECK(bindhue_command(ask + wrong).code == 2);
    for (const char* bad : {" --as-new --amber 0", " --as-new --amber nan", " --as-new --amber 0.8,7", " --as-new --amber-bare 92,0,2 --amber-coated 9",
                            " --as-new --amber-bare 92,0,2 --amber-coated 92,0,-30"})
        explained(bindhue_command(ask + bad));
}

TEST_CASE("card fit on a table of a sample's patches predicts each patch without having seen it") {
    const auto picture = load_photo(samples / "photos/noon.png", {true});
    REQUIRE(picture);
    const CardLayout layout = sample_layout();
    const auto pose = find_card(*picture, layout);
    REQUIRE(pose);
    const auto view = sample_card(*picture, layout, *pose);
    REQUIRE(view);
    const TemporaryFolder folder;
    const auto path = folder.path / "patches.csv";
    std::ofstream table(path);
    table << "id,R,G,B,L,a,b,x_mm,y_mm,clipped\n";
    for (const PatchSample& p : view->patches)
        table << p.id << ',' << p.rgb[0] << ',' << p.rgb[1] << ',' << p.rgb[2] << ',' << p.reference.L << ','
              << p.reference.a << ',' << p.reference.b << ',' << p.place->x_mm << ',' << p.place->y_mm << ','
              << (p.clipped ? 1 : 0) << '\n';
    table.close();
    const Ended ended = bindhue_command(std::string("card fit --linear --json ").append(quoted(path)));
    INFO(ended.err);
    REQUIRE(ended.code == 0);
    const json fit = json::parse(ended.out);
    REQUIRE(fit.at("patches").size() == view->patches.size());
    std::vector<double> errors;
    for (const json& p : fit["patches"]) {
        CHECK(p.at("id").is_string());
        is_numbers(p.at("predicted_lab"), 3);
        errors.push_back(p.at("delta_e").get<double>());
    }
    std::sort(errors.begin(), errors.end());
    CHECK(errors[errors.size() / 2] < 2.0);
    CHECK(errors[errors.size() / 2] > 0.0);
}

TEST_CASE("audit --json has the fields that others rely on") {
    const TemporaryFolder folder;
    const auto asked = folder.path / "asked.csv", offer = folder.path / "offer.csv";
    std::ofstream(asked) << "L,a,b,weight\n30,30,15,2\n60,-50,-30,5\n";
    std::ofstream(offer) << "code,material,size_mm,L,a,b,name\nX1,ncp-nylon,0.15,64,-50,-30,Lagoon\nX2,nylon,0.15,40,0,0,Slate\n";
    const Ended ended = bindhue_command("audit --json --ground dark --tolerance 5 --targets " + quoted(asked) +
                                        " --candidates " + quoted(offer) + demo_shop);
    REQUIRE(ended.code == 0);
    const json out = json::parse(ended.out);
    REQUIRE(out["looks"].size() == out["asked"]["looks"].get<std::size_t>());
    for (const json& look : out["looks"]) CHECK((look["delta_e"].get<double>() <= 5) == look["served"].get<bool>());
    CHECK(out["looks"][0]["best"].contains("schedule"));
    CHECK(out["format"] == "bindhue-audit");
    CHECK(out["version"] == 1);
    CHECK(out["asked"]["looks"] == 2);
    CHECK(out["served"].get<double>() == Approx(2.0 / 7));
    REQUIRE(out["gaps"].size() == 1);
    const json& gap = out["gaps"][0];
    CHECK(gap["words"] == "vivid blue-green");
    CHECK(gap["share"].get<double>() == Approx(5.0 / 7));
    is_numbers(gap["middle_lab"], 3);
    CHECK(gap["nearest"]["spool"].is_string());
    CHECK(gap["nearest"]["ground"] == "dark blank (assumed)");
    CHECK(out["twins"].is_array());
    CHECK(out["unneeded"].is_array());
    REQUIRE(out["buy"].size() == 1);
    CHECK(out["buy"][0]["spool"] == "X1");
    CHECK(out["buying"]["best"] == true);
    CHECK(out["buying"]["served"].get<double>() == Approx(1).margin(1e-5));
}

TEST_CASE("audit tells in words what the rack serves, and refuses what it cannot read") {
    const TemporaryFolder folder;
    const auto asked = folder.path / "asked.csv";
    std::ofstream(asked) << "L,a,b\n30,30,15\n60,-50,-30\n";
    const Ended ended = bindhue_command("audit --tolerance 5 --targets " + quoted(asked) + demo_shop);
    CHECK(ended.code == 0);
    CHECK_THAT(ended.out, Catch::StartsWith("144 spools serve 50.0 % of the 2 looks asked for"));
    CHECK_THAT(ended.out, Catch::Contains("vivid blue-green"));
    CHECK_THAT(ended.out, Catch::Contains("The best for each look") && Catch::Contains("not served"));

    std::ofstream(asked) << "L,a,b\n30,30,red\n";
    for (const std::string& arguments :
         {"audit --targets " + quoted(asked) + demo_shop, "audit --candidates /nowhere.csv" + demo_shop,
          "audit --ground purple" + demo_shop, "audit --schedule varnish" + demo_shop,
          "audit --picture /tmp/rack.gif" + demo_shop}) {
        INFO(arguments);
        const Ended refused = bindhue_command(arguments);
        CHECK(refused.code == 3);
        explained(refused);
    }
    CHECK(bindhue_command("audit --tolerance 0" + demo_shop).code == 2);
    CHECK(bindhue_command("audit --picture /nowhere/rack.png" + demo_shop).code == 5);
}

TEST_CASE("match and audit predict what coat predict does, with the shop's own coat tests") {
    const TemporaryFolder folder;
    const std::filesystem::path shop = folder.path / "shop", table = folder.path / "tests.csv", asked = folder.path / "asked.csv";
    std::filesystem::copy(in_source("palettes/demo-shop"), shop, std::filesystem::copy_options::recursive);
    std::filesystem::remove(shop / "coat-tests.json");
    std::ofstream(asked) << "L,a,b\n22,38,20\n";
    const auto with_shop = [&](const std::string& arguments) { return bindhue_command(arguments + " --shop " + quoted(shop)); };
    const std::string match = "match --lab 24,35,19 --ground 18,0,0 --top 60 --json";

    const Ended untaught = with_shop(match);
    REQUIRE(untaught.code == 0);
    const json before = json::parse(untaught.out);
    for (const json& row : before["candidates"]) CHECK(row["coat_tests"] == 0);
    CHECK_THAT(with_shop("match --lab 24,35,19").out, Catch::Contains("prior: no coat test"));

    std::ofstream(table) << "material,size_mm,schedule,ground_L,ground_a,ground_b,dry_L,dry_a,dry_b,finished_L,finished_a,finished_b\n"
                            "nylon,0.15,finish,18,0,0,45,55,30,22,36,20\n"
                            "nylon,0.15,finish,18,0,0,60,-20,15,30,-14,12\n"
                            "nylon,0.15,finish,18,0,0,40,5,-35,16,4,-24\n";
    REQUIRE(with_shop("coat add --table " + quoted(table)).code == 0);
    const Ended taught = with_shop(match);
    REQUIRE(taught.code == 0);
    const json spools = json::parse(text_of(shop / "spools.json"))["spools"];
    std::string questions;
    std::vector<json> answers;
    const json after = json::parse(taught.out);
    for (const json& row : after["candidates"]) {
        const bool tested = row["material"] == "nylon" && row["schedule"] == "finish";
        CHECK(row["coat_tests"] == (tested ? 3 : 0));
        const auto spool = std::find_if(spools.begin(), spools.end(), [&](const json& s) { return s["code"] == row["spool"]; });
        REQUIRE(spool != spools.end());
        answers.push_back(row["predicted_lab"]);
        questions += json{{"material", row["material"]}, {"size_mm", (*spool)["size_mm"]}, {"schedule", row["schedule"]},
                          {"dry_lab", (*spool)["readings"][0]["lab"]}, {"ground_lab", {18, 0, 0}}}.dump() + "\n";
    }
    REQUIRE(answers.size() == 60);
    std::ofstream(folder.path / "questions") << questions;
    const std::string ask = "'" + bindhue_program() + "' coat predict --json --shop " + quoted(shop) + " <" +
                            quoted(folder.path / "questions") + " >" + quoted(folder.path / "answers");
    REQUIRE(std::system(ask.c_str()) == 0);
    std::ifstream lines(folder.path / "answers");
    std::string line;
    for (const json& answer : answers) {
        REQUIRE(std::getline(lines, line));
        for (std::size_t k = 0; k < 3; ++k)
            CHECK(json::parse(line)["lab"][k].get<double>() == Approx(answer[k].get<double>()).margin(1e-6));
    }

    const Ended audited = with_shop("audit --ground 18,0,0 --schedule finish --tolerance 0.1 --json --targets " + quoted(asked));
    REQUIRE(audited.code == 0);
    const json nearest = json::parse(audited.out)["gaps"][0]["nearest"];
    const auto spool = std::find_if(spools.begin(), spools.end(), [&](const json& s) { return s["code"] == nearest["spool"]; });
    CHECK(nearest["coat_tests"] == ((*spool)["material"] == "nylon" ? 3 : 0));
    CHECK_THAT(with_shop("audit --targets " + quoted(asked)).out, Catch::Contains("by coat tests of this shop"));

    std::ofstream(shop / "coat-tests.json") << "{\"format\": \"bindhue-coat-tests\"";
    for (const std::string command : {"match --lab 24,35,19", "audit"}) {
        const Ended broken = with_shop(command);
        CHECK(broken.code == 3);
        explained(broken);
        CHECK_THAT(broken.err, Catch::Contains("coat-tests.json"));
    }
}

TEST_CASE("A test wrap in two photos: the shift is the drawn one, the verdict tells coats apart, and it is kept as a coat test") {
    const TemporaryFolder folder;
    const std::filesystem::path shop = folder.path / "shop", table = folder.path / "tests.csv", picture = folder.path / "check.png";
    std::filesystem::copy(in_source("palettes/demo-shop"), shop, std::filesystem::copy_options::recursive);
    std::filesystem::remove(shop / "coat-tests.json");  // optics alone, to begin with
    const std::string photos = "--before " + quoted(samples / "photos/test-dry.jpg") + " --after " + quoted(samples / "photos/test-finished.jpg") +
                               " --card " + quoted(samples / "card.json") + " --taken-under window --spool R1-12 --shop " + quoted(shop);
    const json dry = sample_truth("test-dry"), finished = sample_truth("test-finished");

    const auto checked = [&](const std::string& arguments) {
        const Ended ended = bindhue_command("coat check " + photos + " --json " + arguments);
        INFO(ended.err);
        REQUIRE(ended.code == 0);
        return json::parse(ended.out);
    };
    // The long wrap was finished, the short one sealed first.
    for (const auto& [band, schedule] : {std::pair{1, "finish"}, std::pair{3, "preserver+finish"}}) {
        const json check = checked(std::string("--schedule ") + schedule + (band == 3 ? " --before-band 4" : "") + " --picture " + quoted(picture));
        CHECK(check["format"] == "bindhue-coat-check");
        CHECK(check["version"] == 1);
        CHECK(check["coat_tests"] == 0);
        CHECK(check["verdict"] != "not as expected");
        for (const auto& [field, axis] : {std::pair{"L", 0}, std::pair{"a", 1}, std::pair{"b", 2}}) {
            const double truth = finished["bands"][band]["lab"][axis].get<double>() - dry["bands"][band]["lab"][axis].get<double>();
            INFO(field << " " << truth);
            CHECK(check["shift"][field]["interval"][0].get<double>() <= truth);
            CHECK(check["shift"][field]["interval"][1].get<double>() >= truth);
        }
    }
    CHECK(!cv::imread(picture.string()).empty());

    // Taught by rendered threads that hang on no rack (seed 3), it tells a forgotten preserver.
    std::ofstream(table) << text_of(in_source("tests/unit/data/coat-tests-nylon.csv"));
    REQUIRE(bindhue_command("coat add --table " + quoted(table) + " --shop " + quoted(shop)).code == 0);
    const json forgotten = checked("--schedule preserver+finish");
    CHECK(forgotten["verdict"] == "not as expected");
    CHECK_THAT(forgotten["leans"].get<std::string>(), Catch::Contains("darker"));
    CHECK(checked("--schedule preserver+finish --before-band 4")["verdict"] != "not as expected");
    const json right = checked("--schedule finish");
    CHECK(right["verdict"] != "not as expected");
    CHECK(right["best_estimates_apart"].get<double>() < 2.5);
    CHECK(right["off"]["value"].get<double>() >= right["off"]["interval"][0].get<double>());

    const std::string kept = "coat add --schedule finish " + photos;
    const Ended wet = bindhue_command(kept + " --wet-preview");
    CHECK(wet.code == 3);
    explained(wet);
    const std::string before = text_of(shop / "coat-tests.json");
    CHECK(bindhue_command(kept + " --table " + quoted(table)).code == 2);
    CHECK(bindhue_command("coat add --schedule finish --shop " + quoted(shop)).code == 2);
    CHECK(text_of(shop / "coat-tests.json") == before);
    const Ended added = bindhue_command(kept);
    INFO(added.err);
    REQUIRE(added.code == 0);
    CHECK_THAT(added.out, Catch::Contains("1 coat test added"));
    const json test = json::parse(text_of(shop / "coat-tests.json"))["tests"].back();
    CHECK(test["schedule"] == "finish");
    CHECK(test["finished_covariance"][0].get<double>() > 0.1);
    CHECK(test["dry_covariance"][0].get<double>() > 0.1);
    CHECK_THAT(test["source"].get<std::string>(), Catch::Contains("test-dry.jpg"));

    const Ended model = bindhue_command("coat model --json --picture " + quoted(folder.path / "model.svg") + " --shop " + quoted(shop));
    REQUIRE(model.code == 0);
    const json learned = json::parse(model.out);
    CHECK(learned["format"] == "bindhue-coat-model");
    REQUIRE(learned["learned"].size() == 2);
    CHECK(learned["learned"][0]["schedule"] == "finish");
    CHECK(learned["learned"][0]["tests"] == 13);
    CHECK(learned["learned"][1]["held_out"]["learned"]["median"].get<double>() < 3);
    for (const char* field : {"scattering", "scattering_ratio", "absorption_ratio", "contact", "haze"}) {
        const json parameter = learned["learned"][1]["parameters"][field];
        CHECK(parameter["spread"].get<double>() > 0);
        CHECK(parameter["spread"].get<double>() <= 1.001);
        CHECK(parameter["learned"].is_number());
    }
    CHECK_THAT(text_of(folder.path / "model.svg"), Catch::Contains("<svg"));
    CHECK_THAT(bindhue_command("coat model --shop " + quoted(shop)).out, Catch::Contains("optics alone"));
}

TEST_CASE("coat check takes numbers, and says what is missing or wrong") {
    const std::string typed = "coat check --before 44,55,28 --after 22,37,19 --material nylon --size-mm 0.15 --schedule finish" + demo_shop;
    const Ended told = bindhue_command(typed + " --ground 15,0,1");
    INFO(told.err);
    REQUIRE(told.code == 0);
    CHECK_THAT(told.out, Catch::Contains("shift by coating"));
    CHECK_THAT(told.out, Catch::Contains("expected"));
    const Ended no_ground = bindhue_command(typed);
    CHECK(no_ground.code == 3);
    explained(no_ground);
    CHECK_THAT(no_ground.err, Catch::Contains("--ground"));
    CHECK(bindhue_command("coat check --before 44,55,28 --material nylon --schedule finish").code == 2);
    CHECK(bindhue_command("coat check --before 44,55,28 --after 22,37,19 --schedule finish").code == 2);
    const Ended none = bindhue_command("coat check --before 44,55,28 --after 22,37,19 --ground dark --material nylon --schedule none");
    CHECK(none.code == 3);
    explained(none);
}

TEST_CASE("job takes tells thread, finish and what runs out, with the cautions") {
    const TemporaryFolder folder;
    const auto bands = folder.path / "wraps.csv", spools = folder.path / "spools.json";
    std::ofstream(bands) << "spool,width_mm,diameter_mm,pitch_mm,count\nS1,30,10,0.15,2\n";
    std::ofstream(spools) << R"({"format":"bindhue-spools","version":1,"spools":[{"code":"S1","material":"nylon","size_mm":0.15,
        "metres_left":10,"readings":[{"lab":[50,0,0],"covariance":[[0,0,0],[0,0,0],[0,0,0]]}]}]})";
    const std::string arguments = "job takes " + quoted(bands) + " --shop " + quoted(folder.path);
    const Ended ended = bindhue_command(arguments);
    CHECK(ended.code == 0);
    CHECK_THAT(ended.out, Catch::Contains("200"));
    CHECK_THAT(ended.out, Catch::Contains("6.38"));
    CHECK_THAT(ended.out, Catch::Contains("runs out: 7.2 m short"));  // 1.2 (2 6.377 + 2 0.8) - 10
    CHECK_THAT(ended.out, Catch::Contains("mix 4 ml"));
    CHECK_THAT(ended.out, Catch::Contains("gloves"));
    const json out = json::parse(bindhue_command(arguments + " --json").out);
    CHECK(out["format"] == "bindhue-takes");
    CHECK(out["bands"][0]["turns"].get<double>() == Approx(200));
    CHECK(out["spools"][0]["runs_out"] == true);
    CHECK(out["finish"]["batch_ml"] == 4);

    std::ofstream(bands) << "spool,width_mm,diameter_mm,pitch_mm\nS2,30,10,0.15\n";
    const Ended refused = bindhue_command(arguments);
    CHECK(refused.code == 3);
    explained(refused);
    CHECK(bindhue_command("job").code == 2);
}

TEST_CASE("A job is kept with its photo, its thread counted by the audit and taken off the spool when done") {
    const TemporaryFolder folder;
    const auto bands = folder.path / "wraps.csv", spools = folder.path / "spools.json";
    std::ofstream(bands) << "spool,schedule,width_mm,diameter_mm,pitch_mm,count\nS1,finish,30,10,0.15,2\n";
    std::ofstream(spools) << R"({"format":"bindhue-spools","version":1,"spools":[{"code":"S1","material":"nylon","size_mm":0.15,
        "metres_left":10,"readings":[{"lab":[50,0,0],"covariance":[[1,0,0],[0,1,0],[0,0,1]]}]}]})";
    const std::string at = " --shop " + quoted(folder.path);
    const Ended kept = bindhue_command("job new trout-4 --note 'by the door' --bands " + quoted(bands) + " --photo " + photo("door.jpg") + at);
    CHECK(kept.err == "");
    REQUIRE(kept.code == 0);
    CHECK(std::filesystem::exists(folder.path / "jobs/trout-4/photo-1.jpg"));
    CHECK(json::parse(text_of(folder.path / "jobs/trout-4/reading.json"))["bands"].size() == 7);
    const Ended again = bindhue_command("job new trout-4 --bands " + quoted(bands) + at);
    CHECK(again.code == 3);
    explained(again);

    const Ended list = bindhue_command("job show" + at);
    CHECK_THAT(list.out, Catch::Contains("trout-4") && Catch::Contains("by the door"));
    CHECK_THAT(bindhue_command("job show trout-4" + at).out, Catch::Contains("runs out: 7.2 m short"));
    CHECK(json::parse(bindhue_command("job show --json" + at).out)["jobs"][0]["done"] == false);

    // Two wraps and two trims were read: that is what was asked for.
    const json audit = json::parse(bindhue_command("audit --jobs --json" + at).out);
    CHECK(audit["asked"]["looks"] == 4);
    CHECK(audit["stock"][0]["spool"] == "S1");
    CHECK(audit["stock"][0]["runs_out"] == true);

    const Ended finished = bindhue_command("job done trout-4" + at);
    CHECK(finished.code == 0);
    CHECK_THAT(finished.out, Catch::Contains("10.0 m were left, now 0.0 m"));
    CHECK(json::parse(bindhue_command("spool show S1 --json" + at).out)["spools"][0]["metres_left"] == 0);
    CHECK(bindhue_command("job done trout-4" + at).code == 3);
    CHECK(json::parse(bindhue_command("audit --jobs --json" + at).out)["stock"].empty());
    for (const char* wrong : {"job new ../x --bands ", "job new x --photo /nowhere.jpg --bands "}) {
        const Ended refused = bindhue_command(wrong + quoted(bands) + at);
        CHECK(refused.code == 3);
        explained(refused);
    }
    CHECK(std::filesystem::exists(folder.path / "jobs/trout-4"));
    CHECK_FALSE(std::filesystem::exists(folder.path / "jobs/x"));
}

TEST_CASE("A damaged rack is told and put back, and an export does not write over the shop's own files") {
    const TemporaryFolder folder;
    const auto shop = folder.path / "shop", table = folder.path / "t.csv";
    const std::string at = " --shop " + quoted(shop);
    std::ofstream(table) << "code,material,size_mm,L,a,b\nA,nylon,0.15,50,0,0\n";
    REQUIRE(bindhue_command("spool import " + quoted(table) + at).code == 0);
    std::ofstream(table) << "code,material,size_mm,L,a,b\nB,nylon,0.15,60,0,0\n";
    REQUIRE(bindhue_command("spool import " + quoted(table) + at).code == 0);
    CHECK(bindhue_command("shop check" + at).code == 0);

    const std::string sound = text_of(shop / "spools.json");
    const Ended refused = bindhue_command("spool export " + quoted(shop / "spools.json") + at);
    CHECK(refused.code == 3);
    explained(refused);
    CHECK(text_of(shop / "spools.json") == sound);

    std::ofstream(shop / "spools.json", std::ios::trunc) << "half";
    const Ended damaged = bindhue_command("shop check" + at);
    CHECK(damaged.code == 3);
    CHECK_THAT(damaged.out, Catch::Contains("bindhue shop restore spools.json"));
    CHECK(json::parse(bindhue_command("shop check --json" + at).out)["sound"] == false);
    const Ended restored = bindhue_command("shop restore" + at);
    CHECK(restored.code == 0);
    CHECK_THAT(restored.out, Catch::Contains("spools.json.aside"));
    CHECK(json::parse(bindhue_command("spool list --json" + at).out)["spools"].size() == 1);
    CHECK_THAT(bindhue_command("shop restore" + at).out, Catch::Contains("Every file reads"));
    CHECK(bindhue_command("shop restore nothing.json" + at).code == 3);
}

TEST_CASE("Spools are enrolled from a photo, read again they have not drifted, and another lot has") {
    const TemporaryFolder folder;
    const std::string how = " --json --camera one --taken-under door --shop " + quoted(folder.path);
    const auto enrol = [&](const std::string& file, const std::string& more) {
        return bindhue_command(std::string("spool enrol ").append(photo(file + ".jpg")).append(how).append(" ").append(more));
    };
    const std::string of_new = " --material silk --size-mm 0.1 --lot 1";
    const Ended fresh = enrol("shelf", "--code red,pale,green" + of_new);
    REQUIRE(fresh.code == 0);
    const json first = json::parse(fresh.out);
    CHECK(first["format"] == "bindhue-spool-enrol");
    CHECK(first["kept"] == true);

    // What was stored holds the truth in its 95 % region (chi squared 7.815, three degrees of freedom).
    const json stored = json::parse(text_of(folder.path / "spools.json"))["spools"];
    const json truth = sample_truth("shelf")["bands"];
    REQUIRE(stored.size() == 3);
    for (std::size_t i = 0; i < 3; ++i) {
        const json& reading = stored[i]["readings"][0];
        INFO(stored[i]["code"]);
        CHECK(reading["camera"] == "one");
        CHECK(reading["light"] == "door");
        CHECK(reading["source"] == "photo shelf.jpg");
        Reading read;
        read.lab = Lab<D50>::from(reading["lab"].get<Vector3>());
        JsonDocument six = *JsonDocument::parse(reading["covariance"].dump(), "");
        read.covariance = covariance_at(six.root());
        CHECK(mahalanobis_squared(Lab<D50>::from(truth[2 * i + 1]["lab"].get<Vector3>()), read) < 7.815);
    }

    // In the second photo another thread stands for another lot of the one in the middle.
    const Ended later = enrol("shelf-later", "--code red,pale,green");
    CHECK(later.code == 4);
    CHECK_THAT(later.err, Catch::Contains("nothing was kept: pale by"));
    CHECK_THAT(later.err, Catch::Contains("another dye lot is another spool"));
    const json second = json::parse(later.out);
    CHECK(second["kept"] == false);
    const auto drift = [&](std::size_t i) { return second["spools"][i]["drift"]; };
    CHECK(drift(0)["beyond_chance"] == false);
    CHECK(drift(1)["beyond_chance"] == true);
    CHECK(drift(2)["beyond_chance"] == false);
    for (std::size_t i = 0; i < 3; ++i) CHECK(drift(i)["same_kind"] == true);
    const auto true_lab = [](const char* scene) { return Lab<D50>::from(sample_truth(scene)["bands"][3]["lab"].get<Vector3>()); };
    const double apart = ciede2000(true_lab("shelf"), true_lab("shelf-later"));
    CHECK(drift(1)["interval"][0] < apart);
    CHECK(drift(1)["interval"][1] > apart);
    CHECK(json::parse(text_of(folder.path / "spools.json"))["spools"] == stored);

    CHECK(enrol("shelf-later", "--code red,-,green").code == 0);
    CHECK(enrol("shelf-later", "--code=-,pale-2,-" + of_new).code == 0);
    const json spools = json::parse(text_of(folder.path / "spools.json"))["spools"];
    REQUIRE(spools.size() == 4);
    CHECK(spools[0]["readings"].size() == 2);
    CHECK(spools[1]["readings"].size() == 1);

    const Ended uneven = enrol("shelf", "--code red,pale");
    CHECK(uneven.code == 3);
    explained(uneven);
    CHECK_THAT(uneven.err, Catch::Contains("2 codes, and 3 bands of thread"));
}

TEST_CASE("A spool is added by its numbers and corrected without losing its readings") {
    const TemporaryFolder folder;
    const std::string shop = " --shop " + quoted(folder.path), add = "spool add N-7 --material silk --size-mm 0.1 --lab 45.2,18,-12.5" + shop;
    REQUIRE(bindhue_command(add + " --uncertainty 0.3 --name Heather").code == 0);
    explained(bindhue_command(add));
    explained(bindhue_command("spool add N-8 --size-mm 0.1 --lab 45.2,18,-12.5" + shop));
    explained(bindhue_command("spool add N-8 --material wool --size-mm 0.1 --lab 45.2,18,-12.5" + shop));
    explained(bindhue_command("spool add N-8 --material silk --size-mm 0.1 --lab 145.2,18,-12.5" + shop));
    CHECK(bindhue_command("spool edit N-7" + shop).code == 2);
    explained(bindhue_command("spool edit N-9 --lot 4" + shop));
    REQUIRE(bindhue_command("spool edit N-7 --lot 4 --metres 42 --new-code N-70" + shop).code == 0);
    const json spools = json::parse(text_of(folder.path / "spools.json"))["spools"];
    REQUIRE(spools.size() == 1);
    CHECK(spools[0]["code"] == "N-70");
    CHECK(spools[0]["name"] == "Heather");
    CHECK(spools[0]["lot"] == "4");
    CHECK(spools[0]["metres_left"] == 42);
    CHECK(spools[0]["readings"][0]["lab"] == json{45.2, 18, -12.5});
    CHECK(spools[0]["readings"][0]["covariance"][0].get<double>() == Approx(0.09));
}

TEST_CASE("A rack goes out as CGATS, JSON and a table, and each comes in by what it is, whatever it is called") {
    const TemporaryFolder folder;
    const auto at = [&](const std::string& name) { return quoted(folder.path / name); };
    REQUIRE(bindhue_command("spool export " + at("rack.cgats") + demo_shop).code == 0);
    REQUIRE(bindhue_command("spool export " + at("rack.csv") + demo_shop).code == 0);
    REQUIRE(bindhue_command("spool export " + at("cgats.csv") + " --format cgats" + demo_shop).code == 0);
    REQUIRE(bindhue_command("spool export " + at("table.json") + " --format csv" + demo_shop).code == 0);
    REQUIRE(bindhue_command("spool export " + at("json.cgats") + " --format json" + demo_shop).code == 0);
    CHECK(text_of(folder.path / "cgats.csv").starts_with("CGATS.17"));
    CHECK(text_of(folder.path / "table.json").starts_with("code,"));
    CHECK(text_of(folder.path / "json.cgats").starts_with("{"));
    CHECK(text_of(folder.path / "rack.cgats").starts_with("CGATS.17"));
    std::filesystem::rename(folder.path / "table.json", folder.path / "table.cgats");
    std::string first;
    for (const char* name : {"rack.cgats", "rack.csv", "cgats.csv", "table.cgats", "json.cgats"}) {
        INFO(name);
        const std::filesystem::path shop = folder.path / (std::string("shop of ") + name);
        const Ended in = bindhue_command("spool import " + at(name) + " --shop " + quoted(shop));
        CHECK(in.code == 0);
        CHECK(in.err.empty());
        json rack = json::parse(text_of(shop / "spools.json"));
        rack.erase("note");  // a table has none
        if (first.empty()) first = rack.dump();
        CHECK(rack.dump() == first);
    }
    // Nothing is taken from a bad one.
    std::string text = text_of(folder.path / "rack.cgats");
    text.replace(text.find("88.3"), 4, "88,3");
    std::ofstream(folder.path / "bad.cgats") << text;
    const std::filesystem::path shop = folder.path / "shop of rack.csv";
    const std::string before = text_of(shop / "spools.json");
    const Ended bad = bindhue_command("spool import " + at("bad.cgats") + " --shop " + quoted(shop));
    CHECK(bad.code == 3);
    explained(bad);
    CHECK_THAT(bad.err, Catch::Contains("column LAB_L"));
    CHECK(text_of(shop / "spools.json") == before);
    const Ended lacking = bindhue_command("spool import " + at("rack.csv") + " --material wool --shop " + quoted(shop));
    CHECK(lacking.code == 3);
    explained(lacking);
}
