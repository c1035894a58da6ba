// The committed sample photographs and their truth.
#pragma once

#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <string>

#include <nlohmann/json.hpp>

#include "shop/card_layout.hpp"
#include "support/source_dir.hpp"

inline const std::filesystem::path samples = in_source("samples");

inline nlohmann::json sample_truth(const std::string& name) {
    std::ifstream in(samples / "photos" / (name + ".truth.json"));
    return nlohmann::json::parse(in);
}

inline bindhue::capture::CardLayout sample_layout() {
    const auto layout = bindhue::capture::load_card_layout(samples / "card.json");
    REQUIRE(layout);
    return *layout;
}
