// Reads a flat, whole QR code by ISO/IEC 18004 (versions 1 to 5, error correction level L: one block), so that what our pages show is checked by
// other code than what drew it. Mends nothing: a code with one wrong module is not read.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

// dark[row][column], without the quiet zone.
inline std::optional<std::string> qr_text(const std::vector<std::vector<bool>>& dark) {
    const int n = static_cast<int>(dark.size()), version = (n - 17) / 4;
    if (version < 1 || version > 5 || n != 17 + 4 * version) return std::nullopt;
    const auto at = [&](int row, int column) { return dark[static_cast<std::size_t>(row)][static_cast<std::size_t>(column)]; };

    // Format: five bits of meaning and ten of BCH code beside the upper left finder, masked (clause "Format information").
    unsigned format = 0;
    const int places[15][2] = {{8, 0}, {8, 1}, {8, 2}, {8, 3}, {8, 4}, {8, 5}, {8, 7}, {8, 8}, {7, 8}, {5, 8}, {4, 8}, {3, 8}, {2, 8}, {1, 8}, {0, 8}};
    for (const auto& place : places) format = format << 1 | (at(place[0], place[1]) ? 1U : 0U);
    format ^= 0b101010000010010;
    unsigned rest = format;
    for (int bit = 14; bit >= 10; --bit)
        if (rest >> bit & 1U) rest ^= 0b10100110111U << (bit - 10);
    if (rest != 0 || format >> 13 != 0b01) return std::nullopt;  // 01: level L
    const unsigned mask = format >> 10 & 7U;

    const auto is_function = [&](int r, int c) {
        if (r == 6 || c == 6 || (r < 9 && c < 9) || (r < 9 && c >= n - 8) || (r >= n - 8 && c < 9)) return true;
        const int middle = n - 7;  // of the one alignment pattern of versions 2 to 6
        return version > 1 && r >= middle - 2 && r <= middle + 2 && c >= middle - 2 && c <= middle + 2;
    };
    const auto masked = [&](int r, int c) {
        switch (mask) {
            case 0: return (r + c) % 2 == 0;
            case 1: return r % 2 == 0;
            case 2: return c % 3 == 0;
            case 3: return (r + c) % 3 == 0;
            case 4: return (r / 2 + c / 3) % 2 == 0;
            case 5: return r * c % 2 + r * c % 3 == 0;
            case 6: return (r * c % 2 + r * c % 3) % 2 == 0;
            default: return ((r + c) % 2 + r * c % 3) % 2 == 0;
        }
    };
    const std::size_t total[] = {26, 44, 70, 100, 134}, data[] = {19, 34, 55, 80, 108};
    std::vector<std::uint8_t> words;
    int bits = 0;
    unsigned word = 0;
    bool upwards = true;
    for (int right = n - 1; right > 0; right -= 2, upwards = !upwards) {
        if (right == 6) --right;  // the timing pattern's column
        for (int i = 0; i < n; ++i)
            for (int c = right; c > right - 2; --c) {
                const int r = upwards ? n - 1 - i : i;
                if (is_function(r, c)) continue;
                word = word << 1 | (at(r, c) != masked(r, c) ? 1U : 0U);
                if (++bits % 8 == 0) {
                    words.push_back(static_cast<std::uint8_t>(word));
                    word = 0;
                }
            }
    }
    const auto v = static_cast<std::size_t>(version - 1);
    if (words.size() < total[v]) return std::nullopt;
    words.resize(total[v]);

    // Reed-Solomon over GF(256), 0x11D: a sound block is zero at the roots of its generator.
    const auto times = [](unsigned a, unsigned b) {
        unsigned out = 0;
        for (; b != 0; b >>= 1, a = a << 1 ^ (a & 0x80U ? 0x11DU : 0U))
            if (b & 1U) out ^= a;
        return out;
    };
    unsigned root = 1;
    for (std::size_t i = data[v]; i < total[v]; ++i, root = times(root, 2)) {
        unsigned value = 0;
        for (const std::uint8_t w : words) value = times(value, root) ^ w;
        if (value != 0) return std::nullopt;
    }

    // Byte mode: 0100, a count of eight bits, the bytes.
    const auto byte = [&](std::size_t nibble) { return static_cast<unsigned>((words[nibble / 2] << 8 | words[nibble / 2 + 1]) >> (nibble % 2 == 0 ? 8 : 4) & 0xFF); };
    if (words[0] >> 4 != 0b0100) return std::nullopt;
    const std::size_t count = byte(1);
    if (count + 2 > data[v]) return std::nullopt;
    std::string out;
    for (std::size_t i = 0; i < count; ++i) out += static_cast<char>(byte(3 + 2 * i));
    return out;
}
