#include "camera.hpp"

#include <algorithm>
#include <cmath>
#include <fstream>
#include <opencv2/imgcodecs.hpp>
#include <random>
#include <stdexcept>

namespace bindhue::render {
namespace {

std::size_t index(int x, int y, int width) {
    return static_cast<std::size_t>(y) * static_cast<std::size_t>(width) + static_cast<std::size_t>(x);
}

// Three passes of a running mean come close to a Gaussian, at any width for the same price.
void mean_along(std::vector<float>& plane, int width, int height, double radius, bool rows) {
    const int n = rows ? width : height, lines = rows ? height : width;
    const int whole = static_cast<int>(radius);
    const float edge = static_cast<float>(radius - whole), norm = static_cast<float>(1.0 / (2 * radius + 1));
    std::vector<float> line(static_cast<std::size_t>(n));
    for (int l = 0; l < lines; ++l) {
        const auto at = [&](int i) -> float& {
            i = std::clamp(i, 0, n - 1);
            return rows ? plane[index(i, l, width)] : plane[index(l, i, width)];
        };
        double run = 0;
        for (int i = -whole; i <= whole; ++i) run += at(i);
        for (int i = 0; i < n; ++i) {
            line[static_cast<std::size_t>(i)] =
                (static_cast<float>(run) + edge * (at(i - whole - 1) + at(i + whole + 1))) * norm;
            run += at(i + whole + 1) - at(i - whole);
        }
        for (int i = 0; i < n; ++i) at(i) = line[static_cast<std::size_t>(i)];
    }
}

void blur(std::vector<float>& plane, int width, int height, double sigma) {
    if (sigma <= 0.05) return;
    // Variance of a running mean of (real) width 2r + 1, three times over.
    const double radius = std::max(0.0, 0.5 * (std::sqrt(4 * sigma * sigma + 1) - 1));
    for (int pass = 0; pass < 3; ++pass)
        for (const bool rows : {true, false}) mean_along(plane, width, height, radius, rows);
}

std::vector<float> plane_of(const Picture& p, std::size_t c) {
    std::vector<float> plane(p.rgb.size() / 3);
    for (std::size_t i = 0; i < plane.size(); ++i) plane[i] = p.rgb[3 * i + c];
    return plane;
}

// Defocus, a halo of scattered light round what is bright, and veil: an even share of everything.
void through_lens(Picture& p, const Camera& camera) {
    constexpr int step = 8;
    const int w = (p.width + step - 1) / step, h = (p.height + step - 1) / step;
    for (std::size_t c = 0; c < 3; ++c) {
        auto plane = plane_of(p, c);
        // A lamp in the mirror would be thousands of times white; a lens spreads it, a sensor only saturates.
        double mean = 0;
        for (float& v : plane) {
            v = std::min(v, 60.0f);
            mean += v;
        }
        mean /= static_cast<double>(plane.size());
        std::vector<float> small(static_cast<std::size_t>(w) * static_cast<std::size_t>(h)), count(small);
        for (int y = 0; y < p.height; ++y)
            for (int x = 0; x < p.width; ++x) {
                small[index(x / step, y / step, w)] += plane[index(x, y, p.width)];
                count[index(x / step, y / step, w)] += 1;
            }
        for (std::size_t i = 0; i < small.size(); ++i) small[i] /= count[i];
        blur(small, w, h, 0.06 * w);
        blur(plane, p.width, p.height, camera.defocus_px);
        const auto keep = static_cast<float>(1 - camera.veil - camera.halo);
        for (int y = 0; y < p.height; ++y)
            for (int x = 0; x < p.width; ++x) {
                const float fx = std::clamp((static_cast<float>(x) + 0.5f) / step - 0.5f, 0.0f,
                                            static_cast<float>(w) - 1.001f);
                const float fy = std::clamp((static_cast<float>(y) + 0.5f) / step - 0.5f, 0.0f,
                                            static_cast<float>(h) - 1.001f);
                const int i = static_cast<int>(fx), j = static_cast<int>(fy);
                const float u = fx - static_cast<float>(i), v = fy - static_cast<float>(j);
                const float around =
                    (small[index(i, j, w)] * (1 - u) + small[index(i + 1, j, w)] * u) * (1 - v) +
                    (small[index(i, j + 1, w)] * (1 - u) + small[index(i + 1, j + 1, w)] * u) * v;
                p.at(x, y)[c] = keep * plane[index(x, y, p.width)] +
                                static_cast<float>(camera.halo) * around +
                                static_cast<float>(camera.veil * mean);
            }
    }
}

// Red at even x and y, blue at odd, green between.
std::size_t filter_at(int x, int y) { return (x & 1) == (y & 1) ? ((x & 1) ? 2u : 0u) : 1u; }

std::vector<float> expose(const Picture& p, const Camera& camera, std::uint64_t seed) {
    std::vector<float> mosaic(p.rgb.size() / 3);
    std::mt19937_64 random(seed);
    std::normal_distribution<float> normal;
    for (int y = 0; y < p.height; ++y)
        for (int x = 0; x < p.width; ++x) {
            const double electrons =
                std::max(0.0, camera.exposure * static_cast<double>(p.at(x, y)[filter_at(x, y)])) *
                camera.full_well;
            const double noisy = electrons + std::sqrt(electrons + camera.read_noise * camera.read_noise) *
                                                 static_cast<double>(normal(random));
            // Black is kept a little over nothing, as sensors do; development takes it off again and keeps
            // the noise under it.
            mosaic[index(x, y, p.width)] = static_cast<float>(std::min(1.0, noisy / camera.full_well));
        }
    return mosaic;
}

// Malvar, He, Cutler, "High-quality linear interpolation for demosaicing of Bayer-patterned color images",
// ICASSP 2004.
Picture demosaic(const std::vector<float>& m, int width, int height) {
    Picture p{width, height, std::vector<float>(3 * m.size())};
    const auto mirrored = [](int i, int n) { return i < 0 ? -i : i >= n ? 2 * n - 2 - i : i; };
    for (int y = 0; y < height; ++y)
        for (int x = 0; x < width; ++x) {
            const auto at = [&](int dx, int dy) {
                return m[index(mirrored(x + dx, width), mirrored(y + dy, height), width)];
            };
            const float here = at(0, 0);
            const float cross = at(-1, 0) + at(1, 0) + at(0, -1) + at(0, 1);
            const float far_x = at(-2, 0) + at(2, 0), far_y = at(0, -2) + at(0, 2);
            const float corners = at(-1, -1) + at(1, -1) + at(-1, 1) + at(1, 1);
            float* out = p.at(x, y);
            const std::size_t own = filter_at(x, y);
            out[own] = here;
            if (own == 1) {
                const float by_row =
                    (5 * here + 4 * (at(-1, 0) + at(1, 0)) - corners - far_x + 0.5f * far_y) / 8;
                const float by_column =
                    (5 * here + 4 * (at(0, -1) + at(0, 1)) - corners - far_y + 0.5f * far_x) / 8;
                const std::size_t beside = filter_at(x + 1, y);
                out[beside] = by_row;
                out[2 - beside] = by_column;
            } else {
                out[1] = (4 * here + 2 * cross - far_x - far_y) / 8;
                out[2 - own] = (6 * here + 2 * corners - 1.5f * (far_x + far_y)) / 8;
            }
        }
    return p;
}

using Matrix = std::array<std::array<double, 3>, 3>;

// What a maker's calibration would do: the camera's RGB (white balanced) to linear sRGB, white kept, fitted
// on the card's inks in this light; then more saturation.
Matrix to_screen(const Scene& scene, const CardPrint& card, const Sensor& sensor) {
    Spectrum lamp{};
    for (const auto& [name, amount] : scene.lights.front().spectrum) lamp = lamp + amount * light_named(name);
    const auto response = [&](const Spectrum& s) {
        std::array<double, 3> v{};
        for (std::size_t c = 0; c < 3; ++c)
            for (std::size_t b = 0; b < band_count; ++b) v[c] += lamp[b] * s[b] * sensor.rgb[c][b];
        return v;
    };
    // CIE XYZ (D50) to linear sRGB (IEC 61966-2-1), Bradford adapted.
    static constexpr Matrix screen{{{3.1338561, -1.6168667, -0.4906146},
                                    {-0.9787684, 1.9161415, 0.0334540},
                                    {0.0719453, -0.2289914, 1.4052427}}};
    const auto white = response(constant(1));
    Matrix m{};
    for (std::size_t row = 0; row < 3; ++row) {
        double aa = 1e-6, ab = 0, bb = 1e-6, ay = 0, by = 0;
        for (const Spectrum& print : card.prints) {
            const auto v = response(print);
            const auto xyz = xyz_d50(print);
            double wanted = 0;
            for (std::size_t k = 0; k < 3; ++k) wanted += screen[row][k] * xyz[k];
            const double g = v[1] / white[1], a = v[0] / white[0] - g, b = v[2] / white[2] - g,
                         y = wanted - g;
            aa += a * a, ab += a * b, bb += b * b, ay += a * y, by += b * y;
        }
        const double det = aa * bb - ab * ab;
        const double ka = (ay * bb - by * ab) / det, kb = (by * aa - ay * ab) / det;
        m[row] = {ka, 1 - ka - kb, kb};
    }
    static constexpr std::array<double, 3> luma{0.2126, 0.7152, 0.0722};
    Matrix vivid{};
    for (std::size_t row = 0; row < 3; ++row)
        for (std::size_t col = 0; col < 3; ++col)
            for (std::size_t k = 0; k < 3; ++k) {
                const double s = scene.output.saturation * (row == k ? 1.0 : 0.0) +
                                 (1 - scene.output.saturation) * luma[k];
                vivid[row][col] += s * m[k][col];
            }
    return vivid;
}

// The sRGB curve, mid tones lifted, then an S: no photo from a phone is plain sRGB.
double tone(double linear, double contrast) {
    const double x = std::clamp(linear, 0.0, 1.0);
    double y = x <= 0.0031308 ? 12.92 * x : 1.055 * std::pow(x, 1 / 2.4) - 0.055;
    y = std::pow(y, 0.94);
    return std::clamp(y + contrast * y * (1 - y) * (2 * y - 1), 0.0, 1.0);
}

std::vector<unsigned char> phone_jpeg(const Scene& scene, const Picture& p, const Matrix& matrix) {
    const Output& out = scene.output;
    std::vector<float> rgb(p.rgb.size()), luma(p.rgb.size() / 3);
    for (std::size_t i = 0; i < luma.size(); ++i) {
        for (std::size_t c = 0; c < 3; ++c) {
            double v = 0;
            for (std::size_t k = 0; k < 3; ++k) v += matrix[c][k] * static_cast<double>(p.rgb[3 * i + k]);
            rgb[3 * i + c] = static_cast<float>(tone(v, out.contrast));
        }
        luma[i] = 0.299f * rgb[3 * i] + 0.587f * rgb[3 * i + 1] + 0.114f * rgb[3 * i + 2];
    }
    if (out.local_tone > 0) {
        // Places that are dark on the large are brightened and bright ones darkened, as phones do with a scene of high contrast.
        auto large = luma;
        blur(large, p.width, p.height, 0.05 * p.width);
        for (std::size_t i = 0; i < luma.size(); ++i) {
            const float gain = static_cast<float>(std::pow(0.5 / std::max(large[i], 0.02f), out.local_tone));
            for (std::size_t c = 0; c < 3; ++c) rgb[3 * i + c] = std::clamp(rgb[3 * i + c] * gain, 0.0f, 1.0f);
            luma[i] *= gain;
        }
    }
    auto soft = luma;
    blur(soft, p.width, p.height, 1.2);
    cv::Mat image(p.height, p.width, CV_8UC3);
    for (std::size_t i = 0; i < luma.size(); ++i) {
        const float crisp = static_cast<float>(out.sharpening) * (luma[i] - soft[i]);
        for (std::size_t c = 0; c < 3; ++c)
            image.data[3 * i + 2 - c] =
                static_cast<unsigned char>(std::lround(255 * std::clamp(rgb[3 * i + c] + crisp, 0.0f, 1.0f)));
    }
    // The sensor lay the other way up: what is stored is turned back by whoever honours the orientation.
    cv::Mat turned = image;
    if (out.orientation == 3) cv::flip(image, turned, -1);
    if (out.orientation == 6) cv::transpose(image, turned), cv::flip(turned, turned, 0);
    if (out.orientation == 8) cv::transpose(image, turned), cv::flip(turned, turned, 1);
    std::vector<unsigned char> jpeg;
    cv::imencode(".jpg", turned, jpeg, {cv::IMWRITE_JPEG_QUALITY, out.quality});
    // EXIF (JEITA CP-3451): one directory of one entry, the orientation (tag 0x0112, SHORT).
    const std::vector<unsigned char> app1{
        0xFF, 0xE1, 0x00, 0x22, 'E', 'x', 'i', 'f', 0, 0,
        'M',  'M',  0,    42,   0,   0,   0,   8,   0, 1,
        0x01, 0x12, 0,    3,    0,   0,   0,   1,   0, static_cast<unsigned char>(out.orientation),
        0,    0,    0,    0,    0,   0};
    jpeg.insert(jpeg.begin() + 2, app1.begin(), app1.end());
    return jpeg;
}

std::vector<unsigned char> linear_file(const Output& out, const Picture& p) {
    cv::Mat image(p.height, p.width, CV_16UC3);
    auto* to = reinterpret_cast<std::uint16_t*>(image.data);
    const double levels = std::pow(2.0, out.bits) - 1;
    const int shift = 16 - out.bits;
    for (std::size_t i = 0; i < p.rgb.size() / 3; ++i)
        for (std::size_t c = 0; c < 3; ++c) {
            const double v = std::clamp(static_cast<double>(p.rgb[3 * i + c]), 0.0, 1.0);
            const auto level = static_cast<unsigned>(std::lround(v * levels));
            to[3 * i + 2 - c] = static_cast<std::uint16_t>(level << shift);
        }
    std::vector<unsigned char> file;
    if (out.file == "png") {
        cv::imencode(
            ".png", image, file,
            {cv::IMWRITE_PNG_COMPRESSION, 9, cv::IMWRITE_PNG_STRATEGY, cv::IMWRITE_PNG_STRATEGY_FILTERED});
    } else {
        cv::imencode(".tiff", image, file,
                     {cv::IMWRITE_TIFF_COMPRESSION, 8, 317, 2});  // deflate, differences along rows
    }
    return file;
}

}  // namespace

std::map<std::string, Sensor> sensors_from(const std::string& path) {
    std::ifstream in(path);
    if (!in)
        throw std::runtime_error(path +
                                 ": can't be read (run from the top of the project, or give --cameras)");
    std::map<std::string, Sensor> all;
    try {
        const auto json = nlohmann::json::parse(in);
        const auto& nm = json.at("wavelength_nm");
        if (nm.size() != band_count || nm.at(0) != 380 || nm.at(band_count - 1) != 780)
            throw std::runtime_error(path + ": wavelength_nm must run from 380 to 780 by 5");
        for (const auto& [name, camera] : json.at("cameras").items()) {
            Sensor s{name, {}};
            for (std::size_t c = 0; c < 3; ++c)
                s.rgb[c].at = camera.at(std::string(1, "RGB"[c])).get<std::array<double, band_count>>();
            all.emplace(name, s);
        }
    } catch (const nlohmann::json::exception& e) {
        throw std::runtime_error(path + ": not a list of cameras: " + e.what());
    }
    if (all.empty()) throw std::runtime_error(path + ": holds no camera");
    return all;
}

Developed develop(const Scene& scene, const Traced& traced, const CardPrint& card, const Sensor& sensor) {
    Picture light = traced.picture;
    through_lens(light, scene.camera);
    const auto mosaic = expose(light, scene.camera, scene.seed * 7919 + 17);
    Picture p = demosaic(mosaic, light.width, light.height);

    Developed out;
    std::mt19937_64 random(scene.seed * 104729 + 5);
    std::uniform_real_distribution<double> off(-1, 1);
    for (std::size_t c = 0; c < 3; ++c)
        out.white_balance_gains[c] =
            1 / traced.paper[c] * (c == 1 ? 1.0 : 1 + scene.camera.white_error * off(random));
    std::size_t clipped = 0;
    for (std::size_t i = 0; i < p.rgb.size() / 3; ++i) {
        bool full = false;
        for (std::size_t c = 0; c < 3; ++c) {
            float& v = p.rgb[3 * i + c];
            full = full || v >= 0.999f;
            v = std::min(1.0f, v * static_cast<float>(out.white_balance_gains[c]));
        }
        clipped += full;
    }
    out.clipped_share = static_cast<double>(clipped) / static_cast<double>(p.rgb.size() / 3);
    out.file = scene.output.kind == Kind::phone ? phone_jpeg(scene, p, to_screen(scene, card, sensor))
                                                : linear_file(scene.output, p);
    return out;
}

}  // namespace bindhue::render
