#include "reading/assign_card.hpp"

#include <algorithm>
#include <cmath>

#include <opencv2/core.hpp>

#include "card/pose.hpp"
#include "card/view.hpp"
#include "colour/difference.hpp"
#include "colour/quantile.hpp"
#include "photo/photo.hpp"
#include "reading/linearity.hpp"

namespace bindhue::capture {
namespace {

// Relative standard deviations of what one patch says of the light, beside its pixels' noise: by greys and by colours of known value (the fit's
// own error), and by two prints of one ink. Guesses.
constexpr double grey_spread = 0.012, colour_spread = 0.035, ink_spread = 0.010;
constexpr double dark_floor = 0.004;  // of white: flare that is left over, darkness that a file rounds
constexpr double field_linear = 0.3, field_curved = 0.1;  // widths of the priors, over both cards
constexpr double same_ink = 0.5;                          // Lab distance within which the design means one ink
constexpr double worst_out_of_plane = 0.05;               // relative, of a side's length
constexpr double most_clipped = 0.4;                      // share of the patches
constexpr int terms = 6;                                  // 1, u, v, u^2, uv, v^2

Error refuse(const std::string& photo, std::string what, std::string mend) { return {Reason::cannot_measure, std::move(what), photo, std::move(mend)}; }

std::optional<CardCorners> corners_of(const std::optional<std::array<PixelPoint, 4>>& given) {
    if (!given) return std::nullopt;
    CardCorners out;
    for (std::size_t i = 0; i < 4; ++i) out[i] = {(*given)[i].x_px, (*given)[i].y_px};
    return out;
}

bool share_fiducials(const CardLayout& one, const CardLayout& other) {
    return one.family == other.family && std::any_of(one.markers.begin(), one.markers.end(), [&](const CardMarker& m) {
               return std::any_of(other.markers.begin(), other.markers.end(), [&](const CardMarker& n) { return n.id == m.id; });
           });
}

TargetSide opposite(TargetSide side) {
    switch (side) {
        case TargetSide::left:
            return TargetSide::right;
        case TargetSide::right:
            return TargetSide::left;
        case TargetSide::above:
            return TargetSide::below;
        case TargetSide::below:
            return TargetSide::above;
    }
    return side;
}

// The photo with nothing but one half, at its place.
Photo only(const Photo& photo, TargetSide side) {
    Photo out = photo;
    out.bgr = cv::Mat(photo.bgr.size(), photo.bgr.type(), cv::Scalar::all(0));  // not Mat::zeros, which would write into the pixels that both share
    const int w = photo.bgr.cols, h = photo.bgr.rows;
    const cv::Rect half = side == TargetSide::left    ? cv::Rect(0, 0, w / 2, h)
                          : side == TargetSide::right ? cv::Rect(w / 2, 0, w - w / 2, h)
                          : side == TargetSide::above ? cv::Rect(0, 0, w, h / 2)
                                                      : cv::Rect(0, h / 2, w, h - h / 2);
    photo.bgr(half).copyTo(out.bgr(half));
    return out;
}

struct SeenCard {
    CardPose pose;
    CardView view;
};

Result<SeenCard> see(const Photo& photo, const CardLayout& layout, const std::string& what, const std::optional<CardCorners>& corners, const std::optional<TargetSide>& side) {
    const auto told = [&](Error error) {
        error.where = photo.source + ", " + what;
        return error;
    };
    const Result<CardPose> pose = side && !corners ? find_card(only(photo, *side), layout, corners) : find_card(photo, layout, corners);
    if (!pose) return told(pose.error());
    Result<CardView> view = sample_card(photo, layout, *pose);
    if (!view) return told(view.error());
    return SeenCard{*pose, std::move(*view)};
}

// Both cards in the target's millimetres.
class Plane {
  public:
    Plane(const CardLayout& target, const SeenCard& seen_target, const SeenCard& seen_card) : target_(target), seen_target_(seen_target), seen_card_(seen_card) {}

    CardPoint of_card(const CardPoint& on_card) const {
        return seen_target_.pose.place_under(seen_card_.pose.project({on_card.x_mm, on_card.y_mm, 0}), target_.outline().centre());
    }

    // Largest relative error of the card's sides and diagonals, as if it lay in the target's plane.
    double out_of_plane(const CardLayout& card) const {
        const std::array<CardPoint, 4> on_card{{{0, 0}, {card.width_mm, 0}, {card.width_mm, card.height_mm}, {0, card.height_mm}}};
        double worst = 0;
        for (std::size_t i = 0; i < 4; ++i)
            for (std::size_t k = 0; k < i; ++k) {
                const CardPoint a = of_card(on_card[i]), b = of_card(on_card[k]);
                const double length = std::hypot(a.x_mm - b.x_mm, a.y_mm - b.y_mm), want = std::hypot(on_card[i].x_mm - on_card[k].x_mm, on_card[i].y_mm - on_card[k].y_mm);
                worst = std::max(worst, std::abs(length / want - 1));
            }
        return worst;
    }

  private:
    const CardLayout& target_;
    const SeenCard &seen_target_, &seen_card_;
};

// One patch's word on the light: the logarithm of its response, over what it should be where that is known.
struct Witness {
    CardPoint place;
    Vector3 log_light{};
    double spread = 0;
    int ink = -1;  // of unknown value: those with the same number are alike
};

// The light over both cards, relative, its logarithm a polynomial of degree 2; robust least squares with priors.
class SharedLight {
  public:
    SharedLight(std::vector<Witness> witnesses, int inks) : witnesses_(std::move(witnesses)), unknowns_(terms + inks) {
        CardPoint low{1e9, 1e9}, high{-1e9, -1e9};
        for (const Witness& w : witnesses_) {
            low = {std::min(low.x_mm, w.place.x_mm), std::min(low.y_mm, w.place.y_mm)};
            high = {std::max(high.x_mm, w.place.x_mm), std::max(high.y_mm, w.place.y_mm)};
        }
        centre_ = {(low.x_mm + high.x_mm) / 2, (low.y_mm + high.y_mm) / 2};
        half_ = {std::max((high.x_mm - low.x_mm) / 2, 1.0), std::max((high.y_mm - low.y_mm) / 2, 1.0)};
        solve();
    }

    Vector3 at(const CardPoint& place) const {
        const auto b = basis(place);
        Vector3 out{};
        for (std::size_t c = 0; c < 3; ++c) {
            double sum = 0;
            for (int k = 0; k < terms; ++k) sum += b[static_cast<std::size_t>(k)] * answer_.at<double>(k, static_cast<int>(c));
            out[c] = std::exp(sum);
        }
        return out;
    }

    // Covariance of the three channels' relative errors at a place.
    Matrix3 covariance_at(const CardPoint& place) const {
        const auto b = basis(place);
        double share = 0;
        for (int i = 0; i < terms; ++i)
            for (int k = 0; k < terms; ++k) share += b[static_cast<std::size_t>(i)] * b[static_cast<std::size_t>(k)] * inverse_.at<double>(i, k);
        return share * scatter_;
    }

    // Standard deviation of the patches of unknown inks about the field, robust, mean of the channels.
    double unevenness() const { return unevenness_; }

  private:
    std::array<double, terms> basis(const CardPoint& p) const {
        const double u = (p.x_mm - centre_.x_mm) / half_.x_mm, v = (p.y_mm - centre_.y_mm) / half_.y_mm;
        return {1, u, v, u * u - 1.0 / 3, u * v, v * v - 1.0 / 3};
    }

    void solve() {
        const int n = static_cast<int>(witnesses_.size());
        cv::Mat design = cv::Mat::zeros(n, unknowns_, CV_64F), seen(n, 3, CV_64F);
        for (int i = 0; i < n; ++i) {
            const Witness& w = witnesses_[static_cast<std::size_t>(i)];
            const auto b = basis(w.place);
            for (int k = 0; k < terms; ++k) design.at<double>(i, k) = b[static_cast<std::size_t>(k)];
            if (w.ink >= 0) design.at<double>(i, terms + w.ink) = 1;
            for (int c = 0; c < 3; ++c) seen.at<double>(i, c) = w.log_light[static_cast<std::size_t>(c)];
        }
        std::vector<double> robust(witnesses_.size(), 1.0);
        for (int round = 0; round < 10; ++round) {
            cv::Mat weighted = design.clone();
            for (int i = 0; i < n; ++i) {
                const Witness& w = witnesses_[static_cast<std::size_t>(i)];
                weighted.row(i) *= robust[static_cast<std::size_t>(i)] / (w.spread * w.spread);
            }
            cv::Mat normal = design.t() * weighted;
            for (int k = 1; k < terms; ++k) normal.at<double>(k, k) += 1 / std::pow(k < 3 ? field_linear : field_curved, 2);
            for (int k = terms; k < unknowns_; ++k) normal.at<double>(k, k) += 1e-6;
            inverse_ = normal.inv(cv::DECOMP_SVD);
            answer_ = inverse_ * (weighted.t() * seen);
            const cv::Mat left = seen - design * answer_;
            scatter_ = {};
            double count = 1e-9;
            std::vector<double> of_inks;
            for (int i = 0; i < n; ++i) {
                const auto at = static_cast<std::size_t>(i);
                const Witness& w = witnesses_[at];
                double length = 0;
                for (int c = 0; c < 3; ++c) length += std::pow(left.at<double>(i, c) / w.spread, 2) / 3;
                robust[at] = length > 4 ? 2 / std::sqrt(length) : 1.0;  // Huber, at two spreads
                if (w.ink >= 0) of_inks.push_back(std::sqrt(length) * w.spread);
                for (int c = 0; c < 3; ++c)
                    for (int d = 0; d < 3; ++d)
                        scatter_(static_cast<std::size_t>(c), static_cast<std::size_t>(d)) += robust[at] * left.at<double>(i, c) * left.at<double>(i, d) / (w.spread * w.spread);
                count += robust[at];
            }
            // In units of the spreads; not trusted to be smaller than they say.
            scatter_ = (1 / std::max(1.0, count - unknowns_)) * scatter_ + Matrix3::identity();
            if (!of_inks.empty()) unevenness_ = 1.5 * median(std::move(of_inks));
        }
    }

    std::vector<Witness> witnesses_;
    int unknowns_;
    CardPoint centre_{}, half_{1, 1};
    cv::Mat answer_, inverse_;
    Matrix3 scatter_;
    double unevenness_ = 0;
};

bool clipped(const PatchSample& p) {
    bool any = false;
    for (std::size_t c = 0; c < 3; ++c) any = any || p.clipped_high[c] || p.clipped_low[c];
    return any;
}

// What the cards' patches say of the light. The response of each patch, tone and flare undone, must be positive to have a logarithm.
std::vector<Witness> witnesses_of(const SeenCard& target, const SeenCard& card, const Plane& plane, const CameraFit& fit, int& inks) {
    const Vector3 white = fit.response_to(XYZ<D50>::white()).vector();
    std::vector<Witness> out;
    const auto dark = [&](const Vector3& response) {
        double least = 1;
        for (std::size_t c = 0; c < 3; ++c) least = std::min(least, response[c] / white[c]);
        return least < 0.02 ? -1.0 : dark_floor / least;
    };
    for (const PatchSample& s : target.view.patches) {
        const bool used = std::any_of(fit.patches.begin(), fit.patches.end(), [&](const PatchResult& p) { return p.id == s.id && p.used; });
        if (!used || clipped(s)) continue;
        const Vector3 response = fit.undo(s.rgb, {}), wanted = fit.response_to(to_xyz(s.reference)).vector();
        const double by_dark = std::max(dark(response), dark(wanted));
        if (dark(response) < 0 || dark(wanted) < 0) continue;
        Witness w{*s.place, {}, std::hypot(s.role == PatchRole::grey ? grey_spread : colour_spread, by_dark), -1};
        for (std::size_t c = 0; c < 3; ++c) w.log_light[c] = std::log(response[c] / wanted[c]);
        out.push_back(w);
    }
    inks = 0;
    std::vector<Lab<D50>> known;
    std::vector<std::pair<std::size_t, Witness>> alone;  // the card's, by ink
    for (const PatchSample& s : card.view.patches) {
        if (s.role == PatchRole::trap || clipped(s)) continue;
        const Vector3 response = fit.undo(s.rgb, {});
        const double by_dark = dark(response);
        if (by_dark < 0) continue;
        std::size_t ink = 0;
        while (ink < known.size() && cie1976(known[ink], s.reference) > same_ink) ++ink;
        if (ink == known.size()) known.push_back(s.reference);
        Witness w{plane.of_card(*s.place), {}, std::hypot(ink_spread, by_dark), -1};
        for (std::size_t c = 0; c < 3; ++c) w.log_light[c] = std::log(response[c]);
        alone.emplace_back(ink, w);
    }
    std::vector<int> number(known.size(), -1);
    for (const auto& [ink, witness] : alone) {
        const auto prints = std::count_if(alone.begin(), alone.end(), [i = ink](const auto& other) { return other.first == i; });
        if (prints < 2) continue;
        if (number[ink] < 0) number[ink] = inks++;
        out.push_back(witness);
        out.back().ink = number[ink];
    }
    return out;
}

}  // namespace

Result<Assigned> assign_card(const std::filesystem::path& path, const AssignOptions& options) {
    if (options.target.trust != Trust::measured)
        return Error{Reason::bad_value, "The target's values are " + std::string(name(options.target.trust)) + ".", options.target.name.substr(0, 100),
                     "Give a target whose values an instrument measured: what is read beside a guess is a guess."};
    Result<Photo> photo = load_photo(path, {options.linear});
    if (!photo) return photo.error();
    if (!options.target_side && !(options.card_corners && options.target_corners) && share_fiducials(options.card, options.target))
        return refuse(photo->source, "the card and the target have the same fiducials, so that neither can be told from the other",
                      "lay each whole in one half of the picture, and say in which the target lies with --target-at");
    const std::optional<TargetSide>& side = options.target_side;
    Result<SeenCard> target = see(*photo, options.target, "the target", corners_of(options.target_corners), side);
    if (!target) return target.error();
    const Result<bool> linear = holds_linear(*photo, target->view);
    if (!linear) return linear.error();
    if (*linear && !photo->linear) {
        photo->linear = true;
        target = see(*photo, options.target, "the target", corners_of(options.target_corners), side);
        if (!target) return target.error();
    }
    const Result<SeenCard> card = see(*photo, options.card, "the card", corners_of(options.card_corners), side ? std::optional(opposite(*side)) : std::nullopt);
    if (!card) return card.error();
    const Plane plane(options.target, *target, *card);
    if (plane.out_of_plane(options.card) > worst_out_of_plane)
        return refuse(photo->source, "the two cards do not lie in one plane", "lay both flat on one table, side by side, and check that the layouts are theirs");

    FitOptions how;
    how.linear = photo->linear;
    how.trust = Trust::measured;
    // Not the spectral way, which is for thread: what prints one card is likest to what printed the other.
    const Result<CameraFit> fit = fit_camera(target->view.patches, how);
    if (!fit) {
        Error error = fit.error();
        error.where = error.where.empty() ? photo->source + ", the target" : photo->source + ", the target, " + error.where;
        return error;
    }

    Assigned out;
    out.dropped = card->view.notes;
    const bool has_checks = fit->check_median >= 0;
    out.target_error_median = has_checks ? fit->check_median : fit->held_out_median;
    out.target_error_max = has_checks ? fit->check_max : fit->held_out_p95;
    for (const PatchResult& p : fit->patches) out.target_checks += has_checks ? p.role == PatchRole::check : p.used;
    if (out.target_error_median > worst_target_error)
        return refuse(photo->source,
                      "the target's patches that the fit did not see are read " + std::to_string(out.target_error_median).substr(0, 4) + " CIEDE2000 wrong (median)",
                      "check that the layout is the target's, use one light, a raw or linear file if you can, and keep glare off");

    int inks = 0;
    const std::vector<Witness> witnesses = witnesses_of(*target, *card, plane, *fit, inks);
    const auto on_card = static_cast<std::size_t>(std::count_if(witnesses.begin(), witnesses.end(), [](const Witness& w) { return w.ink >= 0; }));
    if (on_card < 6)
        return refuse(photo->source, "too few of the card's patches are printed more than once in sight, so that its light can't be told",
                      "uncover both cards, and use a card that repeats its patches, as our bench card does");
    const SharedLight light(witnesses, inks);
    const CardPoint middle = plane.of_card(options.card.outline().centre());
    const Vector3 here = light.at(middle), there = light.at(options.target.outline().centre());
    const Matrix3 spread = light.covariance_at(middle);
    Vector3 ratio{};
    for (std::size_t c = 0; c < 3; ++c) ratio[c] = here[c] / there[c];
    out.light_ratio = (ratio[0] + ratio[1] + ratio[2]) / 3;
    out.light_error = std::sqrt((spread(0, 0) + spread(1, 1) + spread(2, 2)) / 3);
    const auto [least, most] = std::minmax_element(ratio.begin(), ratio.end());
    const std::string mend = "lay both cards close together, far from the lamp or window, in the light of one, and keep your own shadow off";
    if (out.light_ratio > worst_light_ratio || out.light_ratio < 1 / worst_light_ratio)
        return refuse(photo->source, "the card has " + std::to_string(out.light_ratio).substr(0, 4) + " times the light of the target", mend);
    if (*most / *least > 1 + worst_light_colour) return refuse(photo->source, "the card and the target lie in light of unlike colours", mend);
    if (light.unevenness() > worst_light_unevenness)
        return refuse(photo->source, "patches of the card that are printed alike do not look alike: a shadow or glare lies over it", mend);
    if (out.light_error > worst_light_error)
        return refuse(photo->source, "the light on the card can't be told from that on the target well enough", mend);

    out.values.trust = Trust::assigned;
    out.values.from.file = path.filename().string();
    out.values.from.date = options.date;
    out.values.from.instrument = photo->camera;
    out.values.from.target = options.target.name;
    std::vector<std::string> missing, blown, beyond;
    for (const CardPatch& patch : options.card.patches) {
        if (patch.role == PatchRole::trap) continue;
        const auto seen = std::find_if(card->view.patches.begin(), card->view.patches.end(), [&](const PatchSample& s) { return s.id == patch.id; });
        if (seen == card->view.patches.end()) {
            missing.push_back(patch.id);
            continue;
        }
        const auto& high = seen->clipped_high;
        if (high[0] && high[1] && high[2]) blown.push_back(patch.id);
        const CardPoint place = plane.of_card(patch.rect.centre());
        const Vector3 relative = light.at(place), slope = fit->tone.slope(seen->rgb);
        const Matrix3 field = light.covariance_at(place);
        Vector3 v = fit->undo(seen->rgb, {});
        Matrix3 covariance;
        for (std::size_t c = 0; c < 3; ++c) v[c] /= relative[c];
        for (std::size_t c = 0; c < 3; ++c) {
            for (std::size_t d = 0; d < 3; ++d) covariance(c, d) = field(c, d) * v[c] * v[d];
            covariance(c, c) += std::pow(seen->standard_error[c] * slope[c] / relative[c], 2);
        }
        const CameraRgb response = CameraRgb::from(v);
        const auto ends = fit->at_end_of_scale(response);
        // Fit and file may put the end of a channel a little otherwise; either says that the colour may lie beyond.
        for (std::size_t c = 0; c < 3; ++c)
            if ((seen->clipped_low[c] || seen->clipped_high[c]) && !ends[c]) covariance(c, c) += fit->beyond[c] * fit->beyond[c];
        if (clipped(*seen) || ends[0] || ends[1] || ends[2]) beyond.push_back(patch.id);
        const Reading reading = fit->read(response, covariance);
        out.values.patches.push_back({patch.id, reading.lab, reading.covariance, {}});
    }
    if (!missing.empty())
        return refuse(photo->source + ", the card", std::to_string(missing.size()) + " of its patches can't be read: " + listed(missing),
                      "show the whole card, clean, and keep glare off it");
    if (!blown.empty())
        return refuse(photo->source + ", the card", std::to_string(blown.size()) + " of its patches are blown out: " + listed(blown), "expose less");
    if (static_cast<double>(beyond.size()) > most_clipped * static_cast<double>(out.values.patches.size()))
        return refuse(photo->source + ", the card", "a channel is clipped at " + std::to_string(beyond.size()) + " of its patches: " + listed(beyond),
                      "take a raw or linear photo, which holds more vivid colours than a JPEG");
    if (!beyond.empty())
        out.warnings.push_back("a channel is clipped at " + std::to_string(beyond.size()) + " patches, whose values are the less sure: " + listed(beyond));
    return out;
}

}  // namespace bindhue::capture
