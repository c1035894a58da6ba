// Rows of numbers from a text file under tests/; lines that start with # are comments.
#pragma once

#include <fstream>
#include <sstream>
#include <string>
#include <vector>

#include "support/source_dir.hpp"

inline std::vector<std::vector<double>> read_rows(const std::string& path_below_tests) {
    std::ifstream file(in_source("tests/" + path_below_tests));
    std::vector<std::vector<double>> rows;
    for (std::string line; std::getline(file, line);) {
        if (line.empty() || line[0] == '#') continue;
        std::istringstream fields(line);
        std::vector<double> row;
        for (double v; fields >> v;) row.push_back(v);
        rows.push_back(row);
    }
    return rows;
}
