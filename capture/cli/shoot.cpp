#include <iostream>

#include "cli/command.hpp"
#include "live/shoot.hpp"
#include "sheet/swatch.hpp"

namespace bindhue::capture::cli {
namespace {

struct ShootCommand {
    std::string layout, from, out = "shot.png";
    int camera = -1;
    std::size_t frames = 12;
    double timeout_s = 120;
    std::vector<int> size{1920, 1080};
    bool linear = false, replace = false, json = false;

    int run() const {
        if (!may_write(out, replace)) return wrong_usage;
        if (const Status ending = can_save_shot(out); !ending) {
            fail(ending.error());
            return wrong_usage;
        }
        ShootOptions options;
        options.frames = frames;
        options.timeout_s = timeout_s;
        Result<CardLayout> card = card_from(layout);
        if (!card) return fail(card.error());
        options.layout = std::move(*card);
        const Result<std::unique_ptr<FrameSource>> source = from.empty() ? open_camera(camera, size[0], size[1]) : open_frames(from, linear);
        if (!source) return fail(source.error());
        std::string said;
        const Result<Shot> shot = shoot(**source, options, [&](const ShootProgress& progress) { json ? print_line(progress) : tell(progress, said); });
        if (!shot) {
            Error error = shot.error();
            if (error.where.empty()) error.where = from.empty() ? "camera " + std::to_string(camera) : from;
            return fail(error);
        }
        if (const Status saved = save_shot(*shot, out); !saved) return fail(saved.error());
        if (json) {
            std::cout << nlohmann::ordered_json{{"format", "bindhue-shoot"}, {"version", 1}, {"state", "saved"}, {"photo", out}, {"linear", shot->linear}, {"frames", shot->frames}, {"seen", shot->seen}}.dump()
                      << '\n';
        } else {
            std::cout << out << " written: the mean of " << shot->frames << " frames, 16 bits. Read it with: bindhue read " << out << (layout.empty() ? "" : " --card " + layout)
                      << (shot->linear ? " --linear" : "") << '\n';
        }
        return done;
    }

  private:
    static void print_line(const ShootProgress& progress) {
        nlohmann::ordered_json mend = nlohmann::ordered_json::array();
        for (const Advice& a : progress.advice) mend.push_back({{"fault", name(a.fault)}, {"what", a.what}, {"mend", a.mend}});
        std::cout << nlohmann::ordered_json{{"format", "bindhue-shoot"}, {"version", 1}, {"state", progress.advice.empty() ? "hold" : "mend"}, {"frame", progress.frame}, {"good", progress.good}, {"mend", mend}}.dump()
                  << std::endl;
    }

    // Only what is new, so that it can be read while the hands are busy.
    static void tell(const ShootProgress& progress, std::string& said) {
        std::string now;
        for (const Advice& a : progress.advice) now += harmless(a.what) + ": " + harmless(a.mend) + '\n';
        if (now.empty()) now = "good: hold still\n";
        if (now != said) std::cout << now << std::flush;
        said = now;
    }
};

}  // namespace

void add_shoot(CLI::App& app, int& exit_code) {
    auto command = std::make_shared<ShootCommand>();
    CLI::App* shoot = app.add_subcommand("shoot", "Watch the card through a camera, say what to mend, and keep the mean of good frames as a photo of 16 bits");
    CLI::Option* camera = shoot->add_option("--camera", command->camera, "Number of the camera; 0 is the first")->check(CLI::Range(0, 99));
    CLI::Option* from = shoot->add_option("--from", command->from, "A video file, or a sequence of pictures named as shot-%04d.png, instead of a camera");
    camera->excludes(from);
    shoot->add_option("--card", command->layout, "Layout file of the card (default: our bench card, nominal values)");
    shoot->add_option("--out", command->out, "Photo to write: .png or .tiff by its ending")->capture_default_str();
    shoot->add_flag("--replace", command->replace, "Replace the file if it is there; the version before is kept as FILE.previous");
    shoot->add_option("--frames", command->frames, "Good frames in a row to average")->check(CLI::Range(1, 200))->capture_default_str();
    shoot->add_option("--timeout", command->timeout_s, "Seconds after which to give up")->check(CLI::Range(1.0, 86400.0))->capture_default_str();
    shoot->add_option("--size", command->size, "Width and height to ask the camera for")->expected(2)->delimiter('x')->check(CLI::Range(160, 10000))->capture_default_str();
    shoot->add_flag("--linear", command->linear, "The pictures of the sequence hold linear camera RGB (16 bits, no tone curve)");
    shoot->add_flag("--json", command->json, "A line for each frame, for machines");
    shoot->footer("Example: bindhue shoot --camera 0 --card my-card.json --out door.png\n"
                  "         bindhue shoot --from clip.mp4 --out door.png");
    shoot->callback([command, camera, from, &exit_code] {
        if (camera->count() + from->count() != 1) throw CLI::RequiredError("one of --camera and --from");
        exit_code = command->run();
    });
}

}  // namespace bindhue::capture::cli
