// Files of the project that tests read, and the program that they run.
#pragma once

#include <string>

// Path of a file or folder, given below the top of the source tree. One object knows where that is (main.cpp), so that all others compile alike
// wherever a clone lies, and a compiler's cache serves them.
std::string in_source(const std::string& below_top);
// The tool, as its user runs it; where it is built.
std::string bindhue_program();
