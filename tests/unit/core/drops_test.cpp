#include "core/drops.hpp"

#include <vector>

#include "catch.hpp"

using namespace ripplegauge;

namespace {

Dent spot(double diameter_mm, double longer = 1.1) {
  Dent dent;
  dent.diameter_mm = {diameter_mm, diameter_mm, diameter_mm};
  dent.length_mm.value = diameter_mm * longer;
  dent.width_mm.value = diameter_mm;
  return dent;
}

}  // namespace

TEST_CASE("many small round spots look like drops, hail does not", "[findings]") {
  std::vector<Dent> dents{spot(36), spot(3.4), spot(5.1)};
  CHECK_FALSE(look_like_drops(dents));  // two may be anything
  dents.push_back(spot(5.8));
  CHECK(look_like_drops(dents));
  dents.back() = spot(5.8, 2);  // a scratch
  CHECK_FALSE(look_like_drops(dents));
  std::vector<Dent> hail{spot(5), spot(5.8), spot(4.4), spot(5.2), spot(5.9)};
  for (const double mm : {7.3, 8.0, 9.1, 10.5, 16.0}) hail.push_back(spot(mm));
  CHECK_FALSE(look_like_drops(hail));
  CHECK_FALSE(look_like_drops({}));
}
