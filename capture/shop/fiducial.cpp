#include "shop/fiducial.hpp"

#include <array>
#include <opencv2/aruco.hpp>

namespace bindhue::capture {
namespace {

struct Family {
    FiducialFamily family;
    std::string_view name;
    int dictionary;
    int count;
};

constexpr std::array families{
    Family{FiducialFamily::aruco_4x4_50, "aruco-4x4-50", cv::aruco::DICT_4X4_50, 50},
    Family{FiducialFamily::aruco_4x4_100, "aruco-4x4-100", cv::aruco::DICT_4X4_100, 100},
    Family{FiducialFamily::aruco_4x4_250, "aruco-4x4-250", cv::aruco::DICT_4X4_250, 250},
    Family{FiducialFamily::aruco_5x5_50, "aruco-5x5-50", cv::aruco::DICT_5X5_50, 50},
    Family{FiducialFamily::aruco_5x5_100, "aruco-5x5-100", cv::aruco::DICT_5X5_100, 100},
    Family{FiducialFamily::aruco_5x5_250, "aruco-5x5-250", cv::aruco::DICT_5X5_250, 250},
    Family{FiducialFamily::aruco_6x6_50, "aruco-6x6-50", cv::aruco::DICT_6X6_50, 50},
    Family{FiducialFamily::aruco_6x6_100, "aruco-6x6-100", cv::aruco::DICT_6X6_100, 100},
    Family{FiducialFamily::aruco_6x6_250, "aruco-6x6-250", cv::aruco::DICT_6X6_250, 250},
    Family{FiducialFamily::apriltag_16h5, "apriltag-16h5", cv::aruco::DICT_APRILTAG_16h5, 30},
    Family{FiducialFamily::apriltag_25h9, "apriltag-25h9", cv::aruco::DICT_APRILTAG_25h9, 35},
    Family{FiducialFamily::apriltag_36h11, "apriltag-36h11", cv::aruco::DICT_APRILTAG_36h11, 587},
};

const Family& entry(FiducialFamily family) {
    for (const Family& f : families)
        if (f.family == family) return f;
    return families.front();
}

}  // namespace

std::string_view name(FiducialFamily family) { return entry(family).name; }
int marker_count(FiducialFamily family) { return entry(family).count; }
int opencv_dictionary(FiducialFamily family) { return entry(family).dictionary; }

bool parse_fiducial_family(std::string_view text, FiducialFamily& family) {
    for (const Family& f : families)
        if (f.name == text) {
            family = f.family;
            return true;
        }
    return false;
}

std::string fiducial_family_names() {
    std::string all;
    for (const Family& f : families) all.append(all.empty() ? "" : ", ").append(f.name);
    return all;
}

MarkerPattern marker_pattern(FiducialFamily family, int id) {
    const cv::Ptr<cv::aruco::Dictionary> dictionary =
        cv::aruco::getPredefinedDictionary(opencv_dictionary(family));
    const int side = dictionary->markerSize + 2;
    cv::Mat image;
    cv::aruco::drawMarker(dictionary, id, side, image);  // one pixel to a cell
    MarkerPattern pattern{side, {}};
    for (int row = 0; row < side; ++row)
        for (int column = 0; column < side; ++column)
            pattern.black.push_back(image.at<unsigned char>(row, column) == 0);
    return pattern;
}

}  // namespace bindhue::capture
