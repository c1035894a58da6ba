// The families of square fiducials that a card may carry, and the pattern of each marker.
//
// The families are open: S. Garrido-Jurado et al., "Automatic generation and detection of highly reliable
// fiducial markers under occlusion", Pattern Recognition 47 (2014) 2280-2292; E. Olson, "AprilTag: a robust
// and flexible visual fiducial system", ICRA 2011. The patterns are those of OpenCV's predefined
// dictionaries.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace bindhue::capture {

enum class FiducialFamily {
    aruco_4x4_50,
    aruco_4x4_100,
    aruco_4x4_250,
    aruco_5x5_50,
    aruco_5x5_100,
    aruco_5x5_250,
    aruco_6x6_50,
    aruco_6x6_100,
    aruco_6x6_250,
    apriltag_16h5,
    apriltag_25h9,
    apriltag_36h11,
};

std::string_view name(FiducialFamily family);  // "aruco-4x4-50", as a card file writes it
bool parse_fiducial_family(std::string_view text, FiducialFamily& family);  // false if unknown
std::string fiducial_family_names();                                        // all, for messages
int marker_count(FiducialFamily family);                                    // ids are 0 .. count - 1

// The number by which OpenCV knows the family (cv::aruco::PREDEFINED_DICTIONARY_NAME).
int opencv_dictionary(FiducialFamily family);

// Square grid of cells, the black border of one cell included; row by row from the upper left.
struct MarkerPattern {
    int side = 0;             // cells
    std::vector<bool> black;  // side * side
};

// Precondition: 0 <= id < marker_count(family).
MarkerPattern marker_pattern(FiducialFamily family, int id);

}  // namespace bindhue::capture
