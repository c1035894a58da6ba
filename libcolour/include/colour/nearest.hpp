// Which of many colours are nearest to one, by CIEDE2000: exact, and much faster than asking them all.
//
// CIEDE2000 is no metric, so no tree may prune by the triangle inequality. This one prunes by a lower bound on
// the difference from the target to any colour of a box, which holds for the formula's own terms (the names
// are those of Sharma, Wu and Dalal, see colour/difference.hpp):
// - dC'^2 + dH'^2 is the squared distance d'^2 in the plane of (a', b), exactly, whichever way round the hue goes.
// - |dC'| is at most the largest gap g between the two chromas, and SC and SH are at most what the largest mean
//   chroma makes them, with T <= 1.573. If SH <= SC the two terms are at least g^2 / SC^2 + (d'^2 - g^2) / SH^2.
// - The rotation RT makes the chroma and hue terms at least (1 - |RT| / 2) times their sum without it; |RT| is
//   bounded by the largest mean chroma and by how near to 275 degrees the mean hue can be.
// - SL is largest at an end of the range of the mean lightness.
#pragma once

#include <cstddef>
#include <cstdint>
#include <limits>
#include <span>
#include <vector>

#include "colour/spaces.hpp"

namespace bindhue {

struct Neighbour {
    std::size_t index = 0;  // into the colours that the index was made of
    double delta_e = 0;     // CIEDE2000, weights 1
};

class NearestColours {
  public:
    // L, a and b within +-200. Some 0.5 s for a million.
    explicit NearestColours(std::span<const Lab<D50>> colours);

    std::size_t size() const { return order_.size(); }

    // The `count` nearest of those no farther than `within`, nearest first; equally near ones by their index.
    std::vector<Neighbour> nearest(const Lab<D50>& target, std::size_t count,
                                   double within = std::numeric_limits<double>::infinity()) const;

    // All that are no farther than `within`, in no order.
    std::vector<Neighbour> all_within(const Lab<D50>& target, double within) const;

  private:
    struct Box {
        double L_low, L_high, a_low, a_high, b_low, b_high, C_low, C_high;
        double hue_low, hue_high;  // degrees from 275, -180..180, of (s a, b) for all s of 1 to 1.5
    };
    struct Node {
        Box box;
        std::uint32_t first, last;  // of order_
        std::uint32_t right;        // the left child follows its parent; 0: a leaf
    };
    struct Query;

    std::uint32_t build(std::span<const Lab<D50>> colours, std::uint32_t first, std::uint32_t last);
    Box box_of(std::uint32_t first, std::uint32_t last) const;
    template <class Leaf>
    void search(const Lab<D50>& target, const double& limit, Leaf leaf) const;

    std::vector<Node> nodes_;
    std::vector<std::uint32_t> order_;  // position in the planes -> index of the colour
    std::vector<double> L_, a_, b_;     // planes in the order of the leaves
};

}  // namespace bindhue
