#include "compare/peel.hpp"

#include <cmath>
#include <limits>
#include <random>

#include "catch.hpp"

using namespace ripplegauge;

namespace {

/// Waves of peel about 1.5 mm long, told by 60 of them; the same seed is the same panel.
struct Panel {
  struct Wave {
    double kx, ky, phase;
  };
  std::vector<Wave> waves;

  explicit Panel(unsigned seed) {
    std::mt19937 random(seed);
    std::uniform_real_distribution<double> angle(0, 6.283), length_mm(1.2, 2);
    for (int i = 0; i < 60; ++i) {
      const double k = 6.283 / length_mm(random), a = angle(random);
      waves.push_back({k * std::cos(a), k * std::sin(a), angle(random)});
    }
  }
  /// Slope along the x axis.
  double slope(double x_mm, double y_mm) const {
    double sum = 0;
    for (const Wave& w : waves) sum += w.kx * std::cos(w.kx * x_mm + w.ky * y_mm + w.phase);
    return sum / 100;
  }
};

/// Edges 3 mm apart that lean by `lean`, half as much noise as signal, the card `off_mm` from where it lay.
PeelPattern photo_of(const Panel& panel, double lean, double off_mm = 0, double sign = 1, unsigned seed = 7) {
  PeelPattern pattern{0.2, {10, 20}, 350, 350, {}, {sign, 0}};
  std::mt19937 random(seed);
  std::normal_distribution<double> noise(0, 0.05);
  for (int r = 0; r < pattern.rows; ++r)
    for (int c = 0; c < pattern.columns; ++c) {
      const double x = 10 + 0.2 * c, y = 20 + 0.2 * r;
      const bool edge = std::abs(std::remainder(x + lean * y, 3.0)) < 0.25;
      pattern.shift_cycles.push_back(
          edge ? static_cast<float>(sign * panel.slope(x + off_mm, y) + noise(random))
               : std::numeric_limits<float>::quiet_NaN());
    }
  return pattern;
}

}  // namespace

TEST_CASE("the same peel under the same card proves the place", "[peel]") {
  const Panel panel(1);
  const PeelPattern before = photo_of(panel, 0.2);
  CHECK(peel_agreement(before, {}, photo_of(panel, -0.3, 0, 1, 8), {}).proves_same_place());
  // A board turned the other way round moves its stripes the other way.
  CHECK(peel_agreement(before, {}, photo_of(panel, -0.3, 0, -1, 8), {}).proves_same_place());
  CHECK(peel_agreement(before, {}, photo_of(panel, -0.3, 0.5, 1, 8), {}).proves_same_place());
}

TEST_CASE("another panel, a shifted card or no peel proves nothing", "[peel]") {
  const Panel panel(1);
  const PeelPattern before = photo_of(panel, 0.2);
  for (unsigned other = 2; other < 12; ++other)
    CHECK_FALSE(peel_agreement(before, {}, photo_of(Panel(other), -0.3, 0, 1, 8), {}).proves_same_place());
  CHECK_FALSE(peel_agreement(before, {}, photo_of(panel, -0.3, 4, 1, 8), {}).proves_same_place());
  CHECK_FALSE(peel_agreement(before, {}, {}, {}).proves_same_place());
  CHECK_FALSE(peel_agreement({}, {}, before, {}).proves_same_place());
  PeelPattern flat = before;
  for (float& shift : flat.shift_cycles)
    if (std::isfinite(shift)) shift = 0;
  CHECK_FALSE(peel_agreement(flat, {}, flat, {}).proves_same_place());
}

TEST_CASE("what agrees inside of a spot alone does not count", "[peel]") {
  Dent dent;
  dent.x_mm = 45;
  dent.y_mm = 55;
  dent.diameter_mm = dent.length_mm = dent.width_mm = {30, 29, 31};
  const Panel one(1), other(2);
  const auto with_spot = [&](const Panel& panel, unsigned seed) {
    PeelPattern pattern = photo_of(panel, seed == 7 ? 0.2 : -0.3, 0, 1, seed);
    for (int r = 0; r < pattern.rows; ++r)
      for (int c = 0; c < pattern.columns; ++c) {
        float& shift = pattern.shift_cycles[static_cast<std::size_t>(r) * 350 + static_cast<std::size_t>(c)];
        const double x = 10 + 0.2 * c - dent.x_mm, y = 20 + 0.2 * r - dent.y_mm;
        if (std::isfinite(shift) && std::hypot(x, y) < 15) shift = static_cast<float>(std::sin(3 * x + y));
      }
    return pattern;
  };
  const PeelPattern before = with_spot(one, 7), after = with_spot(other, 8);
  CHECK(peel_agreement(before, {}, after, {}).in_place > 0.4);
  CHECK_FALSE(peel_agreement(before, {dent}, after, {}).proves_same_place());
  CHECK_FALSE(peel_agreement(before, {}, after, {dent}).proves_same_place());
}
