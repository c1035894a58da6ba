#include <opencv2/imgcodecs.hpp>

#include "photo/decoders.hpp"

namespace bindhue::capture {

Result<Decoded> decode_tiff(std::span<const std::uint8_t> bytes, const std::string& where) {
    Decoded out;
    try {
        const cv::Mat view(1, static_cast<int>(bytes.size()), CV_8U, const_cast<std::uint8_t*>(bytes.data()));
        out.bgr = cv::imdecode(view, cv::IMREAD_ANYDEPTH | cv::IMREAD_COLOR);
    } catch (const cv::Exception&) {
        out.bgr.release();
    }
    if (out.bgr.empty() || (out.bgr.depth() != CV_8U && out.bgr.depth() != CV_16U))
        return Error{Reason::bad_format, "the TIFF is damaged or of a kind that can't be decoded", where,
                     "save it again as RGB with 8 or 16 bits, without layers"};
    return out;
}

}  // namespace bindhue::capture
