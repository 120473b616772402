#include "ripplegauge/quote/counts.hpp"

#include <sstream>

#include "catch.hpp"
#include "made_up.hpp"
#include "ripplegauge/quote/text.hpp"

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

TEST_CASE("text takes as many cells as a terminal gives it", "[counts]") {
  CHECK(display_width("bonnet") == 6);
  CHECK(display_width("Kotflügel") == 9);
  CHECK(display_width("u\xCC\x88") == 1);     // u with a combining diaeresis
  CHECK(display_width("\xE5\xB1\x8B") == 2);  // a wide ideograph
  CHECK(display_width("\xFF\xFE") == 2);      // no UTF-8: two replacement characters
  CHECK(padded_left("Tür", 5) == "  Tür");
  CHECK(padded_right("Tür", 5) == "Tür  ");
}

TEST_CASE("text wraps at spaces and inside words only when it must", "[counts]") {
  CHECK(wrapped("left front door", 10) == std::vector<std::string>{"left front", "door"});
  CHECK(wrapped("", 10).empty());
  CHECK(wrapped("abcdefghij klm", 4) == std::vector<std::string>{"abcd", "efgh", "ij", "klm"});
  for (const std::string& line : wrapped("Kotflügelöffnungen überall", 5)) CHECK(display_width(line) <= 5);
  CHECK(wrapped("\xE5\xB1\x8B\xE5\xB1\x8B", 1).size() ==
        2);  // wider than the line: one a line, no endless loop
}
