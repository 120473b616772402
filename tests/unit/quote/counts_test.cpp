#include "quote/counts.hpp"

#include <sstream>

#include "catch.hpp"
#include "made_up.hpp"
#include "words/text.hpp"

using namespace ripplegauge;
using made_up::by_hand;

TEST_CASE("a band's lower edge belongs to it", "[counts]") {
  const auto bands = made_up::plain_table().bands;
  CHECK(band_index(bands, 0) == 0);
  CHECK(band_index(bands, 19.999) == 0);
  CHECK(band_index(bands, 20.0) == 1);
  CHECK(band_index(bands, 40.0) == 2);
  CHECK(band_index(bands, 4000.0) == 2);
}

TEST_CASE("spots are counted by band and panel", "[counts]") {
  Job job;
  for (const double size_mm : {12.0, 19.0, 20.0, 45.0})
    add_by_hand(job, by_hand("bonnet", size_mm, ""), "now");
  add_by_hand(job, by_hand("roof", 22, ""), "now");
  panel_named(job, "boot");
  void_spot(job, 2, "a speck", "now");
  const SpotCounts counts = count_spots(job, merge_overlapping(job), made_up::plain_table().bands);
  REQUIRE(counts.panels.size() == 3);
  CHECK(counts.panels[0].by_band == std::vector<int>{1, 1, 1});
  CHECK(counts.panels[1].by_band == std::vector<int>{0, 1, 0});
  CHECK(counts.panels[2].total == 0);
  CHECK(counts.total == 4);
}

TEST_CASE("length counts where it is asked for and known", "[counts]") {
  JobSpot crease = by_hand("door", 18, "");
  CHECK(size_of(crease, SizeMeasure::length).value == 18);
  crease.length_mm = Quantity{45, 44, 46};
  CHECK(size_of(crease, SizeMeasure::length).value == 45);
  CHECK(size_of(crease, SizeMeasure::diameter).value == 18);
}

TEST_CASE("the bar chart fits the terminal and its bars are in proportion", "[counts]") {
  Job job;
  for (int i = 0; i < 40; ++i) add_by_hand(job, by_hand("roof", 5.0 + i, ""), "now");
  for (int i = 0; i < 10; ++i) add_by_hand(job, by_hand("Kotflügel vorn links", 8.0, ""), "now");
  panel_named(job, "bonnet");
  const std::string chart = bar_chart(count_spots(job, merge_overlapping(job), plain_bands()), 80);
  std::istringstream lines(chart);
  std::string line;
  std::vector<long> bars;
  while (std::getline(lines, line)) {
    CAPTURE(line);
    CHECK(display_width(line) <= 80);
    bars.push_back(std::count(line.begin(), line.end(), '#'));
  }
  std::erase(bars, 0);
  REQUIRE(bars.size() == 2);
  CHECK(bars[0] >= 8);
  CHECK(bars[1] == bars[0] / 4);
}
