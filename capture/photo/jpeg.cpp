#include <csetjmp>
#include <cstdio>

// Needs what stands above it, and what stands below needs it.
#include <jpeglib.h>

#include <jerror.h>

#include "photo/container.hpp"
#include "photo/decoders.hpp"

namespace bindhue::capture {
namespace {

// A picture in more scans than any camera writes would be decoded once for each.
constexpr int most_scans = 200;

struct State {
    jpeg_error_mgr errors;  // first: libjpeg hands a pointer to it back
    jpeg_progress_mgr progress;
    std::jmp_buf escape;
    jpeg_decompress_struct decoder;
    bool damaged = false;
    JDIMENSION damaged_row = 0;
    bool too_many_scans = false;
};

State& state_of(j_common_ptr decoder) { return *static_cast<State*>(decoder->client_data); }

[[noreturn]] void stop(j_common_ptr decoder) { std::longjmp(state_of(decoder).escape, 1); }

// Level -1 is a warning, and the decoder goes on with made-up data. Some warnings are of no consequence (a
// version number, a marker between others); these are not: pixels were lost.
void note(j_common_ptr decoder, int level) {
    if (level >= 0) return;
    switch (decoder->err->msg_code) {
        case JWRN_ARITH_BAD_CODE:
        case JWRN_BOGUS_PROGRESSION:
        case JWRN_EXTRANEOUS_DATA:
        case JWRN_HIT_MARKER:
        case JWRN_HUFF_BAD_CODE:
        case JWRN_JPEG_EOF:
        case JWRN_MUST_RESYNC:
            break;
        default:
            return;
    }
    State& state = state_of(decoder);
    if (!state.damaged) state.damaged_row = state.decoder.output_scanline;
    state.damaged = true;
}

void say_nothing(j_common_ptr) {}

void watch(j_common_ptr decoder) {
    State& state = state_of(decoder);
    if (state.decoder.input_scan_number <= most_scans) return;
    state.too_many_scans = true;
    stop(decoder);
}

// No object with a destructor lives in these frames, which longjmp may leave.
bool open(State& state, std::span<const std::uint8_t> bytes) {
    if (setjmp(state.escape) != 0) return false;
    jpeg_create_decompress(&state.decoder);
    state.decoder.client_data = &state;
    state.decoder.progress = &state.progress;
    jpeg_mem_src(&state.decoder, bytes.data(), static_cast<unsigned long>(bytes.size()));
    jpeg_read_header(&state.decoder, TRUE);
    return true;
}

bool read_rows(State& state, cv::Mat& bgr) {
    if (setjmp(state.escape) != 0) return false;
    state.decoder.out_color_space = JCS_EXT_BGR;
    jpeg_start_decompress(&state.decoder);
    if (state.decoder.output_width != static_cast<JDIMENSION>(bgr.cols) ||
        state.decoder.output_height != static_cast<JDIMENSION>(bgr.rows))
        return false;
    while (state.decoder.output_scanline < state.decoder.output_height) {
        JSAMPROW row = bgr.ptr(static_cast<int>(state.decoder.output_scanline));
        jpeg_read_scanlines(&state.decoder, &row, 1);
    }
    jpeg_finish_decompress(&state.decoder);
    return true;
}

}  // namespace

Result<Decoded> decode_jpeg(std::span<const std::uint8_t> bytes, const std::string& where) {
    const auto refused = [&](std::string what, std::string mend) {
        return Error{Reason::bad_format, std::move(what), where, std::move(mend)};
    };
    const std::string again = "copy the photo from the camera again, or take it again",
                      original = "use the photo as the camera wrote it";
    State state{};
    state.decoder.err = jpeg_std_error(&state.errors);
    state.errors.error_exit = stop;
    state.errors.emit_message = note;
    state.errors.output_message = say_nothing;
    state.progress.progress_monitor = watch;
    state.decoder.client_data = &state;
    const struct Closer {
        State& state;
        ~Closer() { jpeg_destroy_decompress(&state.decoder); }
    } closer{state};
    if (!open(state, bytes)) return refused("the JPEG's head is damaged", again);
    if (state.decoder.jpeg_color_space == JCS_CMYK || state.decoder.jpeg_color_space == JCS_YCCK)
        return refused("the JPEG holds printing inks (CMYK), not camera colours", original);
    if (const Status fits =
            check_size(state.decoder.image_width, state.decoder.image_height, 8, bytes.size(), where);
        !fits)
        return fits.error();
    Decoded out;
    out.bgr.create(static_cast<int>(state.decoder.image_height), static_cast<int>(state.decoder.image_width),
                   CV_8UC3);
    const bool whole = read_rows(state, out.bgr);
    if (state.too_many_scans) return refused("the JPEG comes in more scans than any camera writes", original);
    if (!whole || state.damaged) {
        const JDIMENSION row = state.damaged ? state.damaged_row : state.decoder.output_scanline;
        return refused(
            "the JPEG is damaged at about row " + std::to_string(row) + " of " + std::to_string(out.bgr.rows),
            again);
    }
    return out;
}

}  // namespace bindhue::capture
