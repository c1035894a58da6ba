#include "reading/assign_card.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <functional>

#include <opencv2/imgcodecs.hpp>

#include "colour/difference.hpp"
#include "support/flat_card.hpp"
#include "support/temporary_folder.hpp"

using namespace bindhue;
using namespace bindhue::capture;
using Catch::Matchers::Contains;

namespace {

// The bench card under other markers, said to be measured.
CardLayout target_card() {
    CardLayout out = bench_card();
    out.name = "target";
    out.trust = Trust::measured;
    for (CardMarker& m : out.markers) m.id += 10;
    // What no screen shows can't be drawn: it is another colour then.
    for (CardPatch& p : out.patches) p.lab.a *= 0.55, p.lab.b *= 0.55;
    return out;
}

// A print that came out otherwise than designed.
CardLayout printed_card() {
    CardLayout out = bench_card();
    for (CardPatch& p : out.patches) {
        if (p.role == PatchRole::trap) continue;
        p.lab.L = 2 + 0.95 * p.lab.L;
        p.lab.a = 0.5 * p.lab.a + 2;
        p.lab.b *= 0.5;
    }
    return out;
}

using Light = std::function<double(double, double)>;  // over the picture, x and y from 0 to 1

double to_linear(double v) { return v <= 0.04045 ? v / 12.92 : std::pow((v + 0.055) / 1.055, 2.4); }
double to_encoded(double v) { return v <= 0.0031308 ? 12.92 * v : 1.055 * std::pow(v, 1 / 2.4) - 0.055; }

// Both flat on a table, the target on the left: a photo in sRGB without any noise.
cv::Mat both(const CardLayout& target, const CardLayout& card, const Light& light) {
    constexpr double px_per_mm = 7;
    const cv::Mat left = flat_card(target, px_per_mm), right = flat_card(card, px_per_mm);
    constexpr int gap = 70;
    cv::Mat out(left.rows + 2 * gap, left.cols + right.cols + 3 * gap, CV_8UC3, cv::Scalar(90, 100, 110));
    left.copyTo(out(cv::Rect(gap, gap, left.cols, left.rows)));
    right.copyTo(out(cv::Rect(2 * gap + left.cols, gap, right.cols, right.rows)));
    for (int y = 0; y < out.rows; ++y)
        for (int x = 0; x < out.cols; ++x)
            for (int c = 0; c < 3; ++c) {
                auto& v = out.at<cv::Vec3b>(y, x)[c];
                v = cv::saturate_cast<uchar>(255 * to_encoded(light(static_cast<double>(x) / out.cols, static_cast<double>(y) / out.rows) * to_linear(v / 255.0)));
            }
    return out;
}

Result<Assigned> assign(const cv::Mat& picture, const CardLayout& target, const std::function<void(AssignOptions&)>& change = {}) {
    const TemporaryFolder folder;
    const auto path = folder.path / "both.png";
    REQUIRE(cv::imwrite(path.string(), picture));
    AssignOptions options;
    options.card = bench_card();
    options.target = target;
    options.date = "2026-11-26";
    if (change) change(options);
    return assign_card(path, options);
}

std::string refused(const Result<Assigned>& result) {
    REQUIRE_FALSE(result);
    CHECK_FALSE(result.error().mend.empty());
    return result.error().where + " | " + result.error().what + " | " + result.error().mend;
}

std::vector<double> errors_of(const Assigned& assigned, const CardLayout& truth) {
    std::vector<double> out;
    for (const PatchValue& v : assigned.values.patches) out.push_back(ciede2000(v.lab, truth.patch(v.id)->lab));
    std::sort(out.begin(), out.end());
    return out;
}

double even(double, double) { return 0.85; }

}  // namespace

TEST_CASE("A print beside a measured card takes its values from the photo, each with its uncertainty") {
    const CardLayout target = target_card(), truth = printed_card();
    for (const Light& light : {Light(even), Light([](double x, double y) { return 0.95 - 0.3 * x + 0.05 * y; })}) {
        const auto assigned = assign(both(target, truth, light), target);
        if (!assigned) FAIL(assigned.error().what);
        CHECK(assigned->values.trust == Trust::assigned);
        CHECK(assigned->values.from.file == "both.png");
        CHECK(assigned->values.from.target == "target");
        CHECK(assigned->values.patches.size() == 70);
        CHECK(assigned->target_checks == 12);
        CHECK(assigned->target_error_median < 0.6);
        const auto errors = errors_of(*assigned, truth);
        CHECK(errors[35] < 0.5);
        CHECK(errors[66] < 1.5);
        for (const PatchValue& v : assigned->values.patches) {
            REQUIRE(v.covariance);
            CHECK(mahalanobis_squared(truth.patch(v.id)->lab, {v.lab, *v.covariance, {}}) < 11.34);
        }
        const auto card = with_values(bench_card(), assigned->values);
        REQUIRE(card);
        CHECK(card->trust == Trust::assigned);
        CHECK_THAT(card->source, Contains("read beside target: both.png"));
    }
}

TEST_CASE("The share of the light that falls on the card is told, and light too unlike is refused") {
    const CardLayout target = target_card(), truth = printed_card();
    const auto slope = assign(both(target, truth, [](double x, double) { return 0.9 - 0.3 * x; }), target);
    REQUIRE(slope);
    CHECK(slope->light_ratio == Approx((0.9 - 0.3 * 0.75) / (0.9 - 0.3 * 0.25)).margin(0.02));
    CHECK(slope->light_error < 0.02);
    CHECK_THAT(refused(assign(both(target, truth, [](double x, double) { return 0.95 - 0.75 * x; }), target)), Contains("times the light") && Contains("close together"));
    const auto shadow = [](double x, double y) { return x > 0.62 && x < 0.8 && y < 0.5 ? 0.45 : 0.85; };
    CHECK_THAT(refused(assign(both(target, truth, shadow), target)), Contains("shadow"));
}

TEST_CASE("Two prints of one design are told apart by the half of the picture they lie in") {
    CardLayout target = target_card();
    for (CardMarker& m : target.markers) m.id -= 10;
    const CardLayout truth = printed_card();
    const cv::Mat picture = both(target, truth, even);
    CHECK_THAT(refused(assign(picture, target)), Contains("same fiducials") && Contains("--target-at"));
    const auto assigned = assign(picture, target, [](AssignOptions& o) { o.target_side = TargetSide::left; });
    if (!assigned) FAIL(assigned.error().what);
    CHECK(errors_of(*assigned, truth)[35] < 0.5);
}

TEST_CASE("Corners given by hand do for a target without fiducials") {
    CardLayout target = target_card();
    const CardLayout truth = printed_card();
    const cv::Mat picture = both(target, truth, even);
    target.markers.clear();
    CHECK_THAT(refused(assign(picture, target)), Contains("the target") && Contains("corners"));
    const auto assigned = assign(picture, target, [](AssignOptions& o) {
        o.target_corners = {{{70, 70}, {70 + 1120, 70}, {70 + 1120, 70 + 770}, {70, 70 + 770}}};
    });
    if (!assigned) FAIL(assigned.error().what);
    CHECK(errors_of(*assigned, truth)[35] < 0.6);
}

TEST_CASE("A target that is no measured one, is not there, or is read wrongly is refused") {
    CardLayout target = target_card();
    const CardLayout truth = printed_card();
    const cv::Mat picture = both(target, truth, even);
    CardLayout guessed = target;
    guessed.trust = Trust::assigned;
    CHECK_THAT(refused(assign(picture, guessed)), Contains("assigned") && Contains("instrument"));
    CHECK_THAT(refused(assign(picture(cv::Rect(1300, 0, picture.cols - 1300, picture.rows)), target)), Contains("the target") && Contains("no calibration card"));
    // Values of another print: a fit would follow them as far as it can, but not the check patches.
    CardLayout other = target;
    for (std::size_t i = 0; i < other.patches.size(); ++i) other.patches[i].lab.b += i % 2 == 0 ? 9 : -9;
    CHECK_THAT(refused(assign(picture, other)), Contains("target"));
}

TEST_CASE("Patches of the card that are hidden are all told, and nothing is assigned") {
    const CardLayout target = target_card();
    cv::Mat picture = both(target, printed_card(), even);
    // Over A2 and A3, half of each.
    cv::rectangle(picture, cv::Rect(2 * 70 + 1120 + 35 * 7, 70 + 6 * 7, 10 * 7, 10 * 7), cv::Scalar(40, 60, 200), cv::FILLED);
    CHECK_THAT(refused(assign(picture, target)), Contains("the card") && Contains("2 of its patches can't be read: A2, A3"));
}
