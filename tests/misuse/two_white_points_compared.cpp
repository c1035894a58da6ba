// error: no matching function for call to .*ciede2000
#include "colour/difference.hpp"

using namespace bindhue;

double compare(const Lab<D50>& a, const Lab<D65>& b) { return ciede2000(a, b); }
