#include "reading/reading.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>

#include "card/pose.hpp"
#include "card/view.hpp"
#include "colour/brightener.hpp"
#include "photo/container.hpp"
#include "photo/photo.hpp"
#include "reading/band_colour.hpp"
#include "reading/linearity.hpp"
#include "reading/read_region.hpp"
#include "reading/read_rod.hpp"
#include "shop/camera_light_file.hpp"

namespace bindhue::capture {
namespace {

// Check patches say how well the card's values describe this print in this light. Above these the reading
// would be a guess.
constexpr double worst_check_median = 4.0, worst_check_median_nominal = 8.0;

// Where prints of one ink are this far apart (CameraFit::prints_disagree), no smooth light lies on the card, and none can be told for the rod. Rendered photos that are read within their regions, phones that
// even out bright and dark among them, had 0.085 at most (159 of them); half a card in a hard shadow 0.18.
constexpr double worst_prints_disagree = 0.12;

// Of an encoded photo: where the card's white stands. Below the first noise and rounding hide where bands end and what colour they have, which no region tells; below
// the second thread looks like film now and then. Chosen on rendered phone photos at 0.03 to 0.25 of their exposure (white at 0.13 to 0.5 and more; usual ones have about 0.7 and more).
constexpr double least_white = 0.37, fair_white = 0.5;

CardReport report(const CardLayout& layout, const CardView& view, const CameraFit& fit) {
    CardReport out;
    out.layout = layout.name;
    out.trust = layout.trust;
    out.check_median = fit.check_median;
    out.check_max = fit.check_max;
    out.held_out_median = fit.held_out_median;
    out.held_out_p95 = fit.held_out_p95;
    out.colour_model = name(fit.model);
    out.light = fit.light;
    out.prints_disagree = fit.prints_disagree;
    const Vector3 white = fit.response_to(XYZ<D50>::white()).vector();
    for (std::size_t k = 0; k < 3; ++k) out.veil[k] = fit.flare[k] / white[k];
    out.px_per_mm = view.pose.px_per_mm;
    out.tilt_deg = view.pose.tilt_deg;
    out.dropped = view.notes;
    for (const PatchResult& p : fit.patches)
        if (!p.dropped.empty()) out.dropped.push_back("patch " + p.id + ": " + p.dropped);
    const auto corners = [&](const CardRect& r) {
        std::vector<PixelPoint> seen;
        for (const CardSpace corner : {CardSpace{r.x_mm, r.y_mm, 0}, CardSpace{r.right_mm(), r.y_mm, 0},
                                       CardSpace{r.right_mm(), r.bottom_mm(), 0}, CardSpace{r.x_mm, r.bottom_mm(), 0}}) {
            const cv::Point2d at = view.pose.project(corner);
            seen.push_back({at.x, at.y});
        }
        return seen;
    };
    out.outline = corners(layout.outline());
    if (layout.opening) out.opening = corners(*layout.opening);
    return out;
}

}  // namespace

std::string_view name(BandRole role) {
    switch (role) {
        case BandRole::wrap:
            return "wrap";
        case BandRole::trim:
            return "trim";
        case BandRole::blank:
            return "blank";
    }
    return "";
}

std::string_view name(ReadStep step) {
    switch (step) {
        case ReadStep::decoding:
            return "decoding the photo";
        case ReadStep::finding_card:
            return "finding the card";
        case ReadStep::fitting_colours:
            return "fitting the camera's colours to the card";
        case ReadStep::reading_rod:
            return "reading the rod";
    }
    return "";
}

std::string in_words(const LooksReading& looks) {
    const Lab<D50>&face = looks.face.lab, &flop = looks.flop.lab;
    char text[320];
    std::snprintf(text, sizeof text,
                  "metallic thread: its colour goes with the angle, from L* %.0f a* %.0f b* %.0f where it mirrors the lamps to L* %.0f a* %.0f b* %.0f away from there, "
                  "and the band's colour lies midway. Compare at three angles; a photo of card and rod turned to the lamps may show more",
                  face.L, face.a, face.b, flop.L, flop.a, flop.b);
    return text;
}

std::vector<std::string> WrapReading::warnings_on(std::span<const std::size_t> resting_on) const {
    std::vector<std::string> out = warnings;
    for (const std::size_t band : resting_on)
        for (const std::string& warning : bands[band].warnings)
            if (warning != pitch_not_resolved) out.push_back("band " + std::to_string(band + 1) + ": " + warning);
    return out;
}

std::optional<Reading> WrapReading::blank() const {
    std::optional<Reading> out;
    double longest = 0;
    for (const BandReading& band : bands)
        if (band.role == BandRole::blank && band.length_mm > longest) {
            longest = band.length_mm;
            out = band.colour;
        }
    return out;
}

namespace {

void begin(const ReadOptions& options, ReadStep step) {
    if (options.on_step) options.on_step(step);
}

Result<WrapReading> read(Result<Photo> photo, const ReadOptions& options) {
    if (!photo) return photo.error();
    begin(options, ReadStep::finding_card);
    std::optional<CardCorners> corners;
    if (options.corners) {
        corners.emplace();
        for (std::size_t i = 0; i < 4; ++i)
            (*corners)[i] = {(*options.corners)[i].x_px, (*options.corners)[i].y_px};
    }
    const Result<CardPose> pose = find_card(*photo, options.layout, corners);
    if (!pose) return pose.error();
    const Result<CardView> view = sample_card(*photo, options.layout, *pose);
    if (!view) return view.error();
    const Result<bool> linear = holds_linear(*photo, *view);
    if (!linear) return linear.error();
    if (*linear && !photo->linear) {
        photo->linear = true;
        Result<WrapReading> out = read(std::move(photo), options);
        if (out) out->warnings.insert(out->warnings.begin(), "the card's grey steps say that the photo holds linear values, and it is read so");
        return out;
    }

    const Vector3 of_white = view->white.value_or(Vector3{1, 1, 1});
    const double white = photo->linear ? 1.0 : (of_white[0] + of_white[1] + of_white[2]) / 3;
    const auto of_scale = [](double level) { return std::to_string(std::lround(100 * level)) + " % of the scale"; };
    if (white < least_white)
        return Error{Reason::cannot_measure, "the photo is too dark: the card's white stands at " + of_scale(white) + ", where noise and rounding hide thread", photo->source,
                     "take it again with more light or more exposure, so that the card's white is light but not blown out, or read a raw file"};

    begin(options, ReadStep::fitting_colours);
    FitOptions fit_options;
    fit_options.linear = photo->linear;
    fit_options.trust = options.layout.trust;
    fit_options.prior = &built_in_camera_light();
    fit_options.context = {photo->camera.empty() ? options.camera : photo->camera, options.layout.name, options.light};
    const Result<CameraFit> fit = fit_camera(view->patches, fit_options);
    if (!fit) {
        Error error = fit.error();
        error.where = error.where.empty() ? photo->source : photo->source + ", " + error.where;
        return error;
    }

    WrapReading out;
    out.photo = photo->source;
    out.card = report(options.layout, *view, *fit);
    const double worst =
        options.layout.trust == Trust::nominal ? worst_check_median_nominal : worst_check_median;
    if (out.card.check_median > worst)
        return Error{
            Reason::cannot_measure,
            "the card's check patches are read " + std::to_string(out.card.check_median).substr(0, 4) +
                " CIEDE2000 wrong (median): this reading could not be trusted",
            photo->source, "check that the layout belongs to this card, keep shadows and glare off it, and use one light"};
    if (fit->prints_disagree > worst_prints_disagree)
        return Error{Reason::cannot_measure,
                     "prints of one ink read " + std::to_string(std::lround(100 * fit->prints_disagree)) + " % apart on the card: the light on it is not one smooth light", photo->source,
                     "keep hard shadows (yours, the phone's, the rod's) and glare off the card, switch off what evens out bright and dark (HDR, scene modes), "
                     "and where dark bars cross the picture, as under a lamp that flickers, take daylight or another lamp"};
    if (options.layout.trust == Trust::nominal)
        out.warnings.push_back(
            "the card's values are nominal: good for comparing readings made with this one card, not as "
            "absolute colours");
    if (fit->glowing_white) {
        // Of a middle grey: what a bench sees most.
        const long bluer = std::lround(shift_without_ultraviolet({50, 0, 0}, *fit->glowing_white)[2]);
        out.warnings.push_back("the card's paper holds optical brightener (its white is at b* " + std::to_string(std::lround(fit->glowing_white->b)) +
                               "), which makes blue of ultraviolet: by a lamp that has none, as white LEDs, all is read bluer than it is, a grey by up to b* " + std::to_string(bluer) +
                               ". Regions are wider for it; read by the daylight of an open window, and print the next card on paper without brightener");
    }
    if (out.card.light && out.card.light->grade == LightGrade::poor)
        out.warnings.push_back("this light (like " + out.card.light->name +
                               ") shows colours poorly: read by daylight or a better lamp, or add a photo under another light");
    if (local_tone(*fit) > 0)
        out.warnings.push_back("prints of one ink read unlike on the two sides of the card (" +
                               std::to_string(std::lround(100 * fit->prints_disagree)) +
                               " % of their light): a shadow, or a phone that evens out bright and dark. Regions are "
                               "wider for it; switch such help off (HDR, scene modes), or keep a raw file");
    if (white < fair_white)
        out.warnings.push_back("the photo is dark (the card's white stands at " + of_scale(white) + "): give it more light or more exposure");
    if (view->clipped_white_share > 0)
        out.warnings.push_back("some of the card's white is blown out: expose less");

    begin(options, ReadStep::reading_rod);
    if (options.region) {
        Result<BandReading> region = read_region(*photo, options, *pose, *fit);
        if (!region) return region.error();
        out.bands.push_back(std::move(*region));
    } else if (const Status status = read_rod(*photo, options, *pose, *fit, out); !status) {
        return status.error();
    }
    if (photo->bgr.depth() == CV_8U) {
        out.picture = photo->bgr;
    } else {
        photo->bgr.convertTo(out.picture, CV_8U, 255.0 / photo->full_scale());
    }
    return out;
}

}  // namespace

Result<WrapReading> read_photo(const std::filesystem::path& path, const ReadOptions& options) {
    begin(options, ReadStep::decoding);
    return read(load_photo(path, {options.linear}), options);
}

Result<WrapReading> read_photo(std::span<const std::uint8_t> bytes, const std::string& source,
                               const ReadOptions& options) {
    begin(options, ReadStep::decoding);
    return read(decode_photo(bytes, source, {options.linear}), options);
}

std::string_view usual_ending(std::span<const std::uint8_t> bytes) {
    const Result<Container> file = read_container(bytes, "");
    if (!file) return "";
    switch (file->format) {
        case ImageFormat::jpeg:
            return ".jpg";
        case ImageFormat::png:
            return ".png";
        case ImageFormat::tiff:
            return ".tif";
        case ImageFormat::heif:
            return ".heic";
        case ImageFormat::raw:
            return ".raw";
    }
    return "";
}

}  // namespace bindhue::capture
