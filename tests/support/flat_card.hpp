// A card drawn from its layout in the colours that it says, and pictures of it from any side: exact, but with nothing of what a real
// photograph does to colour. For geometry, and for photos that are right already.
#pragma once

#include <algorithm>
#include <cmath>

#include <opencv2/imgproc.hpp>

#include "card/pose.hpp"
#include "colour/adaptation.hpp"
#include "photo/photo.hpp"
#include "shop/card_layout.hpp"
#include "shop/fiducial.hpp"

inline cv::Scalar bgr_of(const bindhue::Lab<bindhue::D50>& lab) {
    const bindhue::EncodedSrgb v = bindhue::to_display(lab);
    return {255 * v.b, 255 * v.g, 255 * v.r};
}

// The card's face, at so many pixels a millimetre; the opening shows grey.
inline cv::Mat flat_card(const bindhue::capture::CardLayout& layout, double px_per_mm) {
    const auto rect = [&](double x, double y, double w, double h) {
        const int left = static_cast<int>(std::lround(x * px_per_mm)),
                  top = static_cast<int>(std::lround(y * px_per_mm));
        return cv::Rect(left, top, static_cast<int>(std::lround((x + w) * px_per_mm)) - left,
                        static_cast<int>(std::lround((y + h) * px_per_mm)) - top);
    };
    cv::Mat out(static_cast<int>(std::lround(layout.height_mm * px_per_mm)),
                static_cast<int>(std::lround(layout.width_mm * px_per_mm)), CV_8UC3, bgr_of({94, 0, 0}));
    for (const auto& m : layout.markers) {
        const auto bits = bindhue::capture::marker_pattern(layout.family, m.id);
        const double cell = m.rect.width_mm / bits.side;
        for (int row = 0; row < bits.side; ++row)
            for (int column = 0; column < bits.side; ++column)
                if (bits.black[static_cast<std::size_t>(row * bits.side + column)])
                    out(rect(m.rect.x_mm + column * cell, m.rect.y_mm + row * cell, cell, cell)) =
                        bgr_of({12, 0, 0});
    }
    for (const auto& p : layout.patches)
        out(rect(p.rect.x_mm, p.rect.y_mm, p.rect.width_mm, p.rect.height_mm)) = bgr_of(p.lab);
    if (layout.opening)
        out(rect(layout.opening->x_mm, layout.opening->y_mm, layout.opening->width_mm,
                 layout.opening->height_mm)) = cv::Scalar(110, 115, 120);
    return out;
}

// From where a card is looked at: tilted about its middle by so many degrees, towards a direction in its plane, then turned.
struct Standpoint {
    cv::Size size{2000, 1500};
    double px_per_mm = 9, tilt_deg = 0, tilt_towards_deg = 0, turned_deg = 0, focal_px = 2600;
    cv::Point2d shift_px{0, 0};  // of the card's middle from the picture's
};

struct FlatShot {
    bindhue::capture::Photo photo;
    bindhue::capture::CardCorners corners;
    cv::Matx33d to_pixel;  // from millimetres on the card

    cv::Point2d pixel(double x_mm, double y_mm) const {
        const cv::Vec3d q = to_pixel * cv::Vec3d(x_mm, y_mm, 1);
        return {q[0] / q[2], q[1] / q[2]};
    }
};

inline FlatShot shoot(const bindhue::capture::CardLayout& layout, const Standpoint& from) {
    constexpr double degree = CV_PI / 180;
    const auto about_z = [](double angle) {
        return cv::Matx33d(std::cos(angle), -std::sin(angle), 0, std::sin(angle), std::cos(angle), 0, 0, 0,
                           1);
    };
    const double towards = from.tilt_towards_deg * degree, tilt = from.tilt_deg * degree;
    const cv::Matx33d lean(1, 0, 0, 0, std::cos(tilt), -std::sin(tilt), 0, std::sin(tilt), std::cos(tilt));
    const cv::Matx33d r = about_z(from.turned_deg * degree) * about_z(towards) * lean * about_z(-towards);
    const double w = layout.width_mm, h = layout.height_mm;
    // Columns: where a step along the card's x, along its y, and its origin lie.
    const cv::Vec3d x(r(0, 0), r(1, 0), r(2, 0)), y(r(0, 1), r(1, 1), r(2, 1)),
        origin = cv::Vec3d(0, 0, from.focal_px / from.px_per_mm) - x * (w / 2) - y * (h / 2);
    const cv::Matx33d camera(from.focal_px, 0, (from.size.width - 1) / 2.0 + from.shift_px.x, 0,
                             from.focal_px, (from.size.height - 1) / 2.0 + from.shift_px.y, 0, 0, 1);
    FlatShot out;
    out.to_pixel = camera * cv::Matx33d(x[0], y[0], origin[0], x[1], y[1], origin[1], x[2], y[2], origin[2]);

    // Drawn fine enough for whole pixels at half millimetres, softened, and then looked at.
    const double fine = 20;
    cv::Mat face = flat_card(layout, fine);
    cv::copyMakeBorder(face, face, 40, 40, 40, 40, cv::BORDER_CONSTANT, cv::Scalar(80, 90, 100));
    cv::GaussianBlur(face, face, {}, 0.5 * fine / from.px_per_mm);
    const cv::Matx33d to_mm(1 / fine, 0, -39.5 / fine, 0, 1 / fine, -39.5 / fine, 0, 0, 1);
    out.photo.bgr = cv::Mat(from.size, CV_8UC3, cv::Scalar(80, 90, 100));
    cv::warpPerspective(face, out.photo.bgr, cv::Mat(out.to_pixel * to_mm), from.size, cv::INTER_LINEAR,
                        cv::BORDER_TRANSPARENT);
    out.photo.source = "flat";
    out.corners = {out.pixel(0, 0), out.pixel(w, 0), out.pixel(w, h), out.pixel(0, h)};
    return out;
}
