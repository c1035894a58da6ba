#include <png.h>

#include <bit>
#include <csetjmp>
#include <cstring>

#include "photo/container.hpp"
#include "photo/decoders.hpp"

namespace bindhue::capture {
namespace {

struct State {
    std::span<const std::uint8_t> bytes;
    std::size_t at = 0;
    png_structp png = nullptr;
    png_infop info = nullptr;
    std::jmp_buf escape;
};

[[noreturn]] void stop(png_structp png, png_const_charp) {
    std::longjmp(static_cast<State*>(png_get_error_ptr(png))->escape, 1);
}

// libpng's warnings are about what is written round the pixels (a profile's name, a second time stamp); lost
// pixels are errors.
void say_nothing(png_structp, png_const_charp) {}

void give(png_structp png, png_bytep to, png_size_t count) {
    State& state = *static_cast<State*>(png_get_io_ptr(png));
    if (count > state.bytes.size() - state.at) png_error(png, "end of data");
    std::memcpy(to, state.bytes.data() + state.at, count);
    state.at += count;
}

// No object with a destructor lives in these frames, which longjmp may leave.
bool open(State& state) {
    if (setjmp(state.escape) != 0) return false;
    png_set_read_fn(state.png, &state, give);
    png_set_keep_unknown_chunks(state.png, PNG_HANDLE_CHUNK_NEVER, nullptr, 0);
    png_read_info(state.png, state.info);
    if (png_get_color_type(state.png, state.info) == PNG_COLOR_TYPE_PALETTE)
        png_set_palette_to_rgb(state.png);
    png_set_expand_gray_1_2_4_to_8(state.png);
    png_set_gray_to_rgb(state.png);
    png_set_strip_alpha(state.png);
    png_set_bgr(state.png);
    if constexpr (std::endian::native == std::endian::little) png_set_swap(state.png);
    png_set_interlace_handling(state.png);
    png_read_update_info(state.png, state.info);
    return png_get_channels(state.png, state.info) == 3;
}

bool read_rows(State& state, png_bytepp rows) {
    if (setjmp(state.escape) != 0) return false;
    png_read_image(state.png, rows);
    png_read_end(state.png, nullptr);
    return true;
}

}  // namespace

Result<Decoded> decode_png(std::span<const std::uint8_t> bytes, const std::string& where) {
    const Error damaged{Reason::bad_format, "the PNG is damaged", where,
                        "copy the photo again, or save it again as PNG, TIFF or JPEG"};
    State state;
    state.bytes = bytes;
    state.png = png_create_read_struct(PNG_LIBPNG_VER_STRING, &state, stop, say_nothing);
    if (state.png == nullptr) return damaged;
    const struct Closer {
        State& state;
        ~Closer() { png_destroy_read_struct(&state.png, &state.info, nullptr); }
    } closer{state};
    state.info = png_create_info_struct(state.png);
    if (state.info == nullptr || !open(state)) return damaged;
    const std::uint32_t width = png_get_image_width(state.png, state.info),
                        height = png_get_image_height(state.png, state.info);
    const int bits = png_get_bit_depth(state.png, state.info);
    if (const Status fits = check_size(width, height, bits, bytes.size(), where); !fits) return fits.error();
    Decoded out;
    out.bgr.create(static_cast<int>(height), static_cast<int>(width), bits == 16 ? CV_16UC3 : CV_8UC3);
    std::vector<png_bytep> rows;
    for (int y = 0; y < out.bgr.rows; ++y) rows.push_back(out.bgr.ptr(y));
    if (!read_rows(state, rows.data())) return damaged;
    return out;
}

}  // namespace bindhue::capture
