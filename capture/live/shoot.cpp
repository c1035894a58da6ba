#include "live/shoot.hpp"

#include <algorithm>
#include <chrono>
#include <initializer_list>
#include <string_view>

#include "live/frame_stack.hpp"
#include "media/media.hpp"
#include "shop/atomic_file.hpp"

namespace bindhue::capture {

namespace {

constexpr std::size_t rod_every = 8;  // frames

}  // namespace

Result<Shot> shoot(FrameSource& source, const ShootOptions& options, const std::function<void(const ShootProgress&)>& on_frame) {
    using Clock = std::chrono::steady_clock;
    const auto began = Clock::now();
    FrameStack stack(options.layout);
    ShootProgress progress;
    std::vector<Advice> last, no_rod;  // no_rod: what the last look for it found
    std::size_t rod_seen_at = 0;       // the frame of that look; 0: none yet
    bool in_time = true, linear = false;
    while (in_time) {
        Result<std::optional<Photo>> frame = source.next();
        if (!frame) return frame.error();
        if (!*frame) break;
        ++progress.frame;
        const bool rod_due = rod_seen_at == 0 || progress.frame - rod_seen_at >= rod_every || stack.frames() + 1 >= options.frames;
        Preview preview = look_at(**frame, options.layout, rod_due ? RodCheck::yes : RodCheck::no);
        const bool other_faults = std::any_of(preview.advice.begin(), preview.advice.end(), [](const Advice& a) { return a.fault != Fault::no_rod; });
        if (!preview.pose) {
            rod_seen_at = 0;
        } else if (rod_due && !other_faults) {
            rod_seen_at = progress.frame;
            no_rod = preview.advice;
        } else if (!other_faults) {
            preview.advice = no_rod;
        }
        if (preview.good()) {
            linear = (*frame)->linear;
            if (!stack.add(**frame, *preview.pose)) preview.advice.push_back({Fault::moving, "the camera moved", "hold still, or put it on a stand"});
        } else {
            stack.clear();
        }
        progress.good = stack.frames();
        progress.advice = std::move(preview.advice);
        if (!progress.advice.empty()) last = progress.advice;
        if (on_frame) on_frame(progress);
        if (stack.frames() >= options.frames) return Shot{stack.mean(), linear, stack.frames(), progress.frame};
        in_time = std::chrono::duration<double>(Clock::now() - began).count() < options.timeout_s;
    }
    if (progress.frame == 0)
        return Error{Reason::bad_format, "There is no frame in it.", "", "Check that the camera works, or that the file is whole."};
    std::string what = in_time ? "the source ended" : "time was up";
    what += " after " + std::to_string(progress.frame) + " frames, before " + std::to_string(options.frames) + " good ones in a row were seen";
    std::string mend = "give it more frames";
    if (!last.empty()) {
        mend.clear();
        for (const Advice& a : last) {
            what += "; " + a.what;
            mend += (mend.empty() ? "" : "; ") + a.mend;
        }
    }
    return Error{Reason::cannot_measure, what, "", mend};
}

namespace {

bool ends_in_one_of(const std::string& path, std::initializer_list<std::string_view> endings) {
    return std::any_of(endings.begin(), endings.end(), [&](std::string_view e) { return path.size() > e.size() && path.ends_with(e); });
}

bool is_png(const std::string& path) { return ends_in_one_of(path, {".png", ".PNG"}); }

}  // namespace

Status can_save_shot(const std::string& path) {
    if (is_png(path) || ends_in_one_of(path, {".tif", ".tiff", ".TIF", ".TIFF"})) return ok();
    return Error{Reason::bad_value, "The picture is written as PNG or TIFF.", path, "End the name in .png or .tiff."};
}

Status save_shot(const Shot& shot, const std::string& path) {
    if (const Status ending = can_save_shot(path); !ending) return ending;
    const Result<const Media*> part = media();
    if (!part) return part.error();
    const std::vector<std::uint8_t> bytes = (*part)->encode(is_png(path) ? ".png" : ".tiff", shot.picture);
    if (bytes.empty()) return Error{Reason::storage, "The picture can't be encoded.", path, "Try the other ending."};
    return save_file(path, std::string_view(reinterpret_cast<const char*>(bytes.data()), bytes.size()));
}

}  // namespace bindhue::capture
