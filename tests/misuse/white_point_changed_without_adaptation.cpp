// error: (could not convert|no viable conversion)
#include "colour/spaces.hpp"

using namespace bindhue;

Lab<D50> relabel(const Lab<D65>& c) { return to_lab(to_xyz(c)); }
