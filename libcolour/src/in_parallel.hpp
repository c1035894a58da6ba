// A loop over the processor's cores, for work whose turns do not touch each other.
#pragma once

#include <algorithm>
#include <atomic>
#include <cstddef>
#include <thread>
#include <vector>

namespace bindhue {

template <class F>
void in_parallel(std::size_t count, F each) {
    constexpr std::size_t piece = 64;
    const std::size_t pieces = (count + piece - 1) / piece;
    std::atomic<std::size_t> next = 0;
    const auto work = [&] {
        for (std::size_t p = next++; p < pieces; p = next++)
            for (std::size_t i = p * piece; i < std::min(count, (p + 1) * piece); ++i) each(i);
    };
    const std::size_t cores = std::max(1u, std::thread::hardware_concurrency());
    std::vector<std::jthread> others;  // wait for their work to end
    for (std::size_t i = 1; i < std::min(cores, pieces); ++i) others.emplace_back(work);
    work();
}

}  // namespace bindhue
