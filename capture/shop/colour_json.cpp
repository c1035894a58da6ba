#include "shop/colour_json.hpp"

#include <array>
#include <utility>

namespace bindhue::capture {

Lab<D50> lab_at(const JsonCursor& at) {
    at.size(3, 3);
    return {at[0].number(0, 110), at[1].number(-200, 200), at[2].number(-200, 200)};
}

Matrix3 matrix_at(const JsonCursor& at) {
    Matrix3 out;
    at.size(3, 3);
    for (std::size_t row = 0; row < 3; ++row) {
        at[row].size(3, 3);
        for (std::size_t column = 0; column < 3; ++column)
            out(row, column) = at[row][column].number(-1e6, 1e6);
    }
    return out;
}

Json matrix_json(const Matrix3& m) {
    Json out = Json::array();
    for (std::size_t row = 0; row < 3; ++row) out.push_back({m(row, 0), m(row, 1), m(row, 2)});
    return out;
}

namespace {

// Where the six stand; below the diagonal, which is what `validate` looks at.
constexpr std::array<std::pair<std::size_t, std::size_t>, 6> places{{{0, 0}, {1, 1}, {2, 2}, {1, 0}, {2, 0}, {2, 1}}};

}  // namespace

Matrix3 covariance_at(const JsonCursor& at) {
    Matrix3 out;
    at.size(places.size(), places.size());
    for (std::size_t i = 0; i < places.size(); ++i) {
        const auto& [row, column] = places[i];
        out(row, column) = out(column, row) = at[i].number(-1e6, 1e6);
    }
    return out;
}

Json covariance_json(const Matrix3& covariance) {
    Json out = Json::array();
    for (const auto& [row, column] : places) out.push_back(covariance(row, column));
    return out;
}

Amber amber_at(const JsonCursor& at) {
    return {at["depth_440"].number(0, 3), at["tail_nm"].number(5, 500), at["depth_sd"].number(0, 3), at["tail_log_sd"].number(0, 3), at["correlation"].number(-1, 1)};
}

Json amber_json(const Amber& amber) {
    return {{"depth_440", amber.depth_440}, {"tail_nm", amber.tail_nm}, {"depth_sd", amber.depth_sd}, {"tail_log_sd", amber.tail_log_sd}, {"correlation", amber.correlation}};
}

}  // namespace bindhue::capture
