// error: (invalid initialization|no matching function|no known conversion|could not convert)
#include "colour/adaptation.hpp"

using namespace bindhue;

EncodedSrgb show(const Lab<IlluminantA>& c) { return to_display(c); }
