// Several photos of one place, read as one: nearer to the truth than each by itself, and as sure as that.
#include "ripplegauge/measure/together.hpp"

#include <algorithm>
#include <array>
#include <boost/math/distributions/binomial.hpp>
#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>
#include <numeric>
#include <vector>

#include "catch.hpp"
#include "cramer_rao.hpp"
#include "random_scene.hpp"
#include "ripplegauge/core/errors.hpp"

using namespace ripplegauge;

namespace {

/// The same place with the board turned between the photos.
rendered::Scene turned(const rendered::Dent& dent, double spin_deg) {
  rendered::Scene scene = rendered::usual_scene(dent);
  rendered::place_board(scene, dent.x_mm, dent.y_mm, rendered::usual_distance_mm, spin_deg);
  return scene;
}

PhotoOfPlace taken(const rendered::Scene& scene, double noise, unsigned seed) {
  PhotoOfPlace photo{rendered::usual_photo(scene, rendered::render(scene), noise, seed),
                     rendered::usual_request(scene)};
  photo.photo.name = "photo " + std::to_string(seed);
  return photo;
}

constexpr double two_sided_95 = 1.96;

double half_width(const Quantity& q) { return 0.5 * std::log(q.high / q.low); }

}  // namespace

TEST_CASE("three photos say one dent more closely than each by itself", "[together]") {
  const rendered::Dent dent = rendered::simple_dent();
  std::vector<PhotoOfPlace> photos;
  unsigned seed = 1;
  for (const double spin_deg : {-60.0, 0.0, 60.0})
    photos.push_back(taken(turned(dent, spin_deg), 0.01, seed++));
  const TogetherMeasurement read = measure_together(photos);
  REQUIRE(read.joint.reading.dents.size() == 1);
  REQUIRE(read.singles.size() == 3);
  REQUIRE(read.joint.reading.set.size() == 3);
  const Dent& joint = read.joint.reading.dents[0];
  std::vector<double> depth;
  for (const Reading& single : read.singles) {
    REQUIRE(single.dents.size() == 1);
    depth.push_back(half_width(*single.dents[0].depth_mm));
  }
  std::sort(depth.begin(), depth.end());
  CHECK(half_width(*joint.depth_mm) < 0.8 * depth[1]);
  CHECK(joint.depth_mm->low < 0.12);
  CHECK(joint.depth_mm->high > 0.12);
  CHECK(joint.diameter_mm.value == Approx(std::sqrt(19 * 16.0)).epsilon(0.005));
  CHECK(std::hypot(joint.x_mm - dent.x_mm, joint.y_mm - dent.y_mm) < 0.2);
  for (const PhotoOfSet& p : read.joint.reading.set) CHECK(p.left_out.empty());
  for (const auto& outlines : read.outlines_px) CHECK(outlines.size() == 1);
}

TEST_CASE("a photo that shows another dent than the others is left out by name", "[together]") {
  rendered::Dent dent = rendered::simple_dent();
  std::vector<PhotoOfPlace> photos{taken(turned(dent, -40), 0.01, 1), taken(turned(dent, 20), 0.01, 2)};
  dent.height_mm *= 1.5;  // pulled at the wrong way in between
  photos.push_back(taken(turned(dent, 60), 0.01, 3));
  SECTION("two against one") {
    const Reading joint = measure_together(photos).joint.reading;
    REQUIRE(joint.set.size() == 3);
    CHECK(joint.set[0].left_out.empty());
    CHECK(joint.set[1].left_out.empty());
    CHECK_FALSE(joint.set[2].left_out.empty());
    REQUIRE(joint.dents.size() == 1);
    CHECK(joint.dents[0].depth_mm->value == Approx(0.12).epsilon(0.03));
  }
  SECTION("one against one") {
    photos.erase(photos.begin());
    const Reading joint = measure_together(photos).joint.reading;
    REQUIRE(joint.refusal);
    CHECK(joint.refusal->code == "photos_contradict");
    CHECK(joint.dents.empty());
  }
}

TEST_CASE("photos of two panels are not one place", "[together]") {
  const rendered::Dent dent = rendered::simple_dent();
  rendered::Dent other = dent;
  other.x_mm += 8;
  other.y_mm += 6;
  std::vector<PhotoOfPlace> photos{taken(turned(dent, -40), 0.01, 1), taken(turned(other, 20), 0.01, 2)};
  SECTION("one against one") {
    const Reading joint = measure_together(photos).joint.reading;
    REQUIRE(joint.refusal);
    CHECK(joint.refusal->code == "photos_contradict");
  }
  SECTION("two against one") {
    photos.push_back(taken(turned(dent, 50), 0.01, 3));
    const Reading joint = measure_together(photos).joint.reading;
    REQUIRE(joint.set.size() == 3);
    CHECK(joint.set[0].left_out.empty());
    CHECK_FALSE(joint.set[1].left_out.empty());
    CHECK(joint.set[2].left_out.empty());
    CHECK(joint.dents.size() == 1);
  }
}

TEST_CASE("a photo without card is left out, and its reason told", "[together]") {
  const rendered::Dent dent = rendered::simple_dent();
  std::vector<PhotoOfPlace> photos{taken(turned(dent, -40), 0.01, 1), taken(turned(dent, 20), 0.01, 2)};
  photos[1].photo.grey.setTo(90);
  const Reading joint = measure_together(photos).joint.reading;
  REQUIRE(joint.set.size() == 2);
  CHECK(joint.set[0].left_out.empty());
  CHECK_FALSE(joint.set[1].left_out.empty());
  CHECK(joint.dents.size() == 1);
}

TEST_CASE("one photo, or nine, are no set", "[together]") {
  const PhotoOfPlace photo{};
  CHECK_THROWS_AS(measure_together(std::vector{photo}), UsageError);
  CHECK_THROWS_AS(measure_together(std::vector(9, photo)), UsageError);
}

namespace {

/// How sets drawn at random were read: how many, how many intervals hold the truth, and how far off they are.
struct SetsRead {
  int found = 0, diameter_inside = 0, depth_inside = 0;
  double diameter_square = 0, depth_square = 0;  ///< sums of squares of errors over stated uncertainty
  std::vector<double> narrower;                  ///< half-width of depth over that of each single reading
};

/// Counts one quantity of one set against its truth: 1 where its interval holds it.
int count(const Quantity& read, double truth, double& square) {
  square += std::pow(std::log(read.value / truth) / (half_width(read) / two_sided_95), 2);
  return rendered::holds(read, truth) ? 1 : 0;
}

SetsRead read_sets(unsigned sets, std::size_t photos) {
  SetsRead all;
  for (unsigned seed = 1; seed <= sets; ++seed) {
    const auto set = rendered::random_set(seed, photos);
    std::vector<PhotoOfPlace> taken;
    for (std::size_t i = 0; i < photos; ++i)
      taken.push_back({set[i].photo(static_cast<unsigned>(10 * seed + i)), set[i].request});
    const TogetherMeasurement read = measure_together(taken);
    if (read.joint.reading.dents.size() != 1) continue;
    ++all.found;
    const Dent& dent = read.joint.reading.dents[0];
    all.diameter_inside += count(dent.diameter_mm, set[0].diameter_mm, all.diameter_square);
    all.depth_inside += count(*dent.depth_mm, set[0].depth_mm, all.depth_square);
    for (const Reading& single : read.singles)
      if (single.dents.size() == 1)
        all.narrower.push_back(half_width(*dent.depth_mm) / half_width(*single.dents[0].depth_mm));
  }
  return all;
}

}  // namespace

TEST_CASE("intervals of sets hold the truth and shrink", "[together][coverage][slow]") {
  constexpr unsigned sets = 40;
  const std::size_t photos = GENERATE(2U, 3U, 5U);
  SetsRead read = read_sets(sets, photos);
  REQUIRE(read.found >= 0.9 * sets);
  REQUIRE_FALSE(read.narrower.empty());
  const auto middle = read.narrower.begin() + static_cast<std::ptrdiff_t>(read.narrower.size() / 2);
  std::nth_element(read.narrower.begin(), middle, read.narrower.end());
  WARN(read.found << " of " << sets << " sets of " << photos << ": intervals that hold: diameter "
                  << read.diameter_inside << ", depth " << read.depth_inside
                  << "; error over stated uncertainty: " << std::sqrt(read.diameter_square / read.found)
                  << " and " << std::sqrt(read.depth_square / read.found)
                  << "; depth's interval over a single one's, median: " << *middle);
  // 90 to 98 in 100 are asked for; fails where 90 in 100 would give so few once in a hundred studies.
  using boost::math::binomial_distribution;
  constexpr double least = 0.9, chance = 0.01;
  CHECK(cdf(binomial_distribution<>(read.found, least), read.diameter_inside) > chance);
  CHECK(cdf(binomial_distribution<>(read.found, least), read.depth_inside) > chance);
  if (photos == 3) CHECK(*middle <= 0.7);
}

namespace {

/// How far the picture of the stripes moves over a dent, at most, in one of the photos, cycles.
double largest_move(const std::vector<rendered::RandomPhoto>& set) {
  double most = 0;
  for (const rendered::RandomPhoto& photo : set) {
    const rendered::Dent& dent = photo.scene.dents[0];
    most = std::max(most, dent.steepest() * rendered::cycles_per_slope(photo.scene, dent.x_mm, dent.y_mm));
  }
  return most;
}

double quantile_of_all(std::vector<double> values, double share) {
  REQUIRE_FALSE(values.empty());
  std::sort(values.begin(), values.end());
  return values[static_cast<std::size_t>(share * static_cast<double>(values.size() - 1))];
}

/// Readings of one quantity of one dent against their own intervals: mean square of what they are off their
/// mean, in standard uncertainties, by degrees of freedom.
double scatter_over_stated(const std::vector<Quantity>& readings) {
  double mean = 0, squares = 0;
  const double count = static_cast<double>(readings.size());
  for (const Quantity& q : readings) mean += std::log(q.value) / count;
  for (const Quantity& q : readings)
    squares += std::pow((std::log(q.value) - mean) / (half_width(q) / two_sided_95), 2);
  return squares / (count - 1);
}

}  // namespace

TEST_CASE("five views of one dent: singles scatter as they state, three together are near the truth",
          "[together][views][slow]") {
  constexpr unsigned sets = 20, first_seed = 500;
  constexpr double half_a_period = 0.5;
  const std::vector<std::array<std::size_t, 3>> triples{{0, 1, 2}, {1, 3, 4}};
  std::vector<double> off_diameter, off_depth, scatter_diameter, scatter_depth;
  for (unsigned seed = first_seed; seed < first_seed + sets; ++seed) {
    const auto set = rendered::random_set(seed, 5);
    if (largest_move(set) < half_a_period) continue;
    std::vector<PhotoOfPlace> photos;
    std::vector<Quantity> diameters, depths;
    for (std::size_t i = 0; i < set.size(); ++i) {
      photos.push_back({set[i].photo(static_cast<unsigned>(10 * seed + i)), set[i].request});
      const Reading single = measure(photos.back().photo, photos.back().request).reading;
      if (single.dents.size() != 1) continue;
      diameters.push_back(single.dents[0].diameter_mm);
      if (single.dents[0].depth_mm) depths.push_back(*single.dents[0].depth_mm);
    }
    if (diameters.size() > 2) scatter_diameter.push_back(scatter_over_stated(diameters));
    if (depths.size() > 2) scatter_depth.push_back(scatter_over_stated(depths));
    for (const auto& [a, b, c] : triples) {
      const Reading joint = measure_together(std::vector{photos[a], photos[b], photos[c]}).joint.reading;
      if (joint.dents.size() != 1) continue;
      off_diameter.push_back(std::abs(joint.dents[0].diameter_mm.value / set[0].diameter_mm - 1));
      off_depth.push_back(std::abs(joint.dents[0].depth_mm->value / set[0].depth_mm - 1));
    }
  }
  const auto mean = [](const std::vector<double>& v) {
    return std::accumulate(v.begin(), v.end(), 0.0) / static_cast<double>(v.size());
  };
  const double p95_diameter = quantile_of_all(off_diameter, 0.95),
               p95_depth = quantile_of_all(off_depth, 0.95);
  WARN(off_diameter.size() << " threes: diameter " << 100 * quantile_of_all(off_diameter, 0.5)
                           << " % in the median, " << 100 * p95_diameter << " % at 95; depth "
                           << 100 * quantile_of_all(off_depth, 0.5) << " %, " << 100 * p95_depth
                           << " %; singles' scatter over stated: diameter "
                           << std::sqrt(mean(scatter_diameter)) << ", depth "
                           << std::sqrt(mean(scatter_depth)));
  CHECK(p95_diameter < 0.01);
  CHECK(p95_depth < 0.03);
  // What is common to all views (card, paint) is in their intervals and not in their scatter.
  CHECK(mean(scatter_diameter) < 1.5);
  CHECK(mean(scatter_depth) < 1.5);
  CHECK(mean(scatter_diameter) > 0.05);
  CHECK(mean(scatter_depth) > 0.05);
}

TEST_CASE("noise moves a joint reading little more than it must", "[together][cramer_rao][slow]") {
  constexpr double noise = 0.01;
  constexpr int draws = 12;
  const rendered::Dent dent = rendered::simple_dent();
  const std::vector<rendered::Scene> scenes{turned(dent, -40), turned(dent, 40)};
  const rendered::Bound bound = rendered::cramer_rao(scenes, noise);
  std::vector<double> diameter, depth;
  for (unsigned i = 0; i < draws; ++i) {
    std::vector<PhotoOfPlace> photos{taken(scenes[0], noise, 100 + 2 * i),
                                     taken(scenes[1], noise, 101 + 2 * i)};
    const Reading joint = measure_together(photos).joint.reading;
    REQUIRE(joint.dents.size() == 1);
    diameter.push_back(std::log(joint.dents[0].diameter_mm.value));
    depth.push_back(std::log(joint.dents[0].depth_mm->value));
  }
  const auto deviation = [](const std::vector<double>& v) {
    double mean = 0, square = 0;
    for (const double x : v) mean += x / static_cast<double>(v.size());
    for (const double x : v) square += (x - mean) * (x - mean) / (static_cast<double>(v.size()) - 1);
    return std::sqrt(square);
  };
  const double by_diameter = deviation(diameter) / bound.diameter, by_depth = deviation(depth) / bound.depth;
  INFO("scatter over bound: diameter " << by_diameter << ", depth " << by_depth);
  const boost::math::chi_squared law(draws - 1);
  const double chance_above = std::sqrt(quantile(law, 0.99) / (draws - 1)),
               chance_below = std::sqrt(quantile(law, 0.001) / (draws - 1));
  CHECK(by_diameter < 3 * chance_above);
  CHECK(by_depth < 3 * chance_above);
  CHECK(by_diameter > chance_below);
  CHECK(by_depth > chance_below);
}
