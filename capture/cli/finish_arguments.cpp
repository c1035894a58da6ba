#include "cli/finish_arguments.hpp"

namespace bindhue::capture::cli {

void FinishArguments::add_to(CLI::App& command) {
    command.add_option("--product", product, "The finish, as the shop calls it (default: the one that most of its coat tests were made with)");
    command.add_option("--build", build, "How thick a coat it leaves: thin or high");
    command.add_option("--coats", coats, "How many coats, preserver and finish together")->check(CLI::Range(1, max_coats));
}

Result<FinishUse> FinishArguments::use() const {
    const Result<Build> known = parse_build(build);
    if (!known) return Error{known.error().reason, known.error().what, "--build", known.error().mend};
    return FinishUse{product, *known, coats};
}

}  // namespace bindhue::capture::cli
