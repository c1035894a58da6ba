#define CATCH_CONFIG_MAIN
#include <catch2/catch.hpp>

#include "support/source_dir.hpp"

std::string in_source(const std::string& below_top) { return BINDHUE_SOURCE_DIR "/" + below_top; }

#ifdef BINDHUE_COMMAND
std::string bindhue_program() { return BINDHUE_COMMAND; }
#endif
