#include "shop/colour_json.hpp"

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

}  // namespace bindhue::capture
