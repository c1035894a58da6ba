#include <iostream>
#include <exception>

#include <opencv2/core/utils/logger.hpp>

#include "cli/command.hpp"
#include "cli/memory.hpp"

int main(int argc, char** argv) {
    using namespace bindhue::capture::cli;
    // What a decoder has to say of a damaged file is said by our own message.
    cv::utils::logging::setLogLevel(cv::utils::logging::LOG_LEVEL_SILENT);
    take_memory_in_large_pages();
    int exit_code = done;
    CLI::App app("Reads the colours of thread wraps from a photo taken with a calibration card, and ranks the spools in the rack by how\n"
                 "they will look when coated. A match is an estimate: make a test wrap on scrap of the same blank first.");
    app.name("bindhue");
    app.require_subcommand(1);
    app.failure_message([](const CLI::App* program, const CLI::Error& error) {
        return "bindhue: " + std::string(error.what()) + "\n  what to do: see bindhue " +
               (program->get_subcommands().empty() ? "" : program->get_subcommands().front()->get_name() + " ") + "--help\n";
    });
    add_read(app, exit_code);
    add_shoot(app, exit_code);
    add_match(app, exit_code);
    add_card(app, exit_code);
    add_audit(app, exit_code);
    add_spool(app, exit_code);
    add_shop(app, exit_code);
    add_coat(app, exit_code);
    add_job(app, exit_code);
    add_bench(app, exit_code);
    try {
        app.parse(argc, argv);
    } catch (const CLI::ParseError& error) {
        return app.exit(error) == 0 ? done : wrong_usage;
    } catch (const std::exception& error) {
        std::cerr << "bindhue: " << error.what() << "\n  what to do: check the disk and the memory, and try again\n";
        return storage_failed;
    }
    return exit_code;
}
