// Photos with truth from outside the project, where they are at hand: a folder "shared/practice" beside it.
#include <algorithm>
#include <filesystem>
#include <iostream>

#include "catch.hpp"
#include "practice_photos.hpp"
#include "ripplegauge/measure/photo_check.hpp"

using namespace ripplegauge;
namespace fs = std::filesystem;

namespace {

const std::vector<std::string> all_folders{"single", "odd",   "hail", "pairs", "marked",
                                           "faults", "setup", "bay",  "line",  "views"};

}  // namespace

TEST_CASE("practice photos: check says what measure does", "[practice][slow]") {
  for (const fs::path& file : practice_files(all_folders)) {
    const PracticePhoto p = read_practice(file);
    INFO(p.name);
    const Reading reading = measure(p.photo, p.request).reading;
    const PhotoCheck check = check_photo(p.photo, p.request);
    CHECK(check.refusal.has_value() == reading.refusal.has_value());
    if (check.refusal && reading.refusal) CHECK(check.refusal->code == reading.refusal->code);
    CHECK(check.spots == static_cast<int>(reading.dents.size()));
  }
}

TEST_CASE("practice photos: no all-clear over a dent that would have shown", "[practice][slow]") {
  for (const fs::path& file : practice_files(all_folders)) {
    const PracticePhoto p = read_practice(file);
    const Reading reading = measure(p.photo, p.request).reading;
    if (reading.status != Status::no_dent) continue;
    INFO(p.name);
    REQUIRE(reading.setup.judged);
    for (const auto& dent : p.dents) {
      const auto& rim = dent.at("rim");
      const double width_mm = rim.at("eq_diameter"), depth_mm = dent.at("depth");
      if (reading.setup.judged->covered_share(rim.at("cx"), rim.at("cy"), width_mm) < 0.5) continue;
      REQUIRE_FALSE(reading.setup.smallest_visible.empty());
      const auto& limits = reading.setup.smallest_visible;
      const auto nearest = std::min_element(limits.begin(), limits.end(), [&](const auto& a, const auto& b) {
        return std::abs(a.width_mm - width_mm) < std::abs(b.width_mm - width_mm);
      });
      CHECK(depth_mm < 1.5 * nearest->depth_mm);
    }
  }
}

TEST_CASE("practice photos: no tape makes a depth wrong", "[practice][slow]") {
  int depths = 0, missed_without = 0, missed_with = 0;
  for (const fs::path& file : practice_files({"single", "pairs", "setup", "marked"})) {
    PracticePhoto p = read_practice(file);
    if (p.faulty || p.dents.size() != 1) continue;
    const double right_mm = p.request.board_distance_mm.value_or(300), depth_mm = p.dents[0].at("depth");
    const auto misses = [&](std::optional<double> tape_mm) {
      p.request.board_distance_mm = tape_mm;
      const Reading reading = measure(p.photo, p.request).reading;
      if (reading.dents.size() != 1 || !reading.dents[0].depth_mm) return false;
      const Quantity& q = *reading.dents[0].depth_mm;
      return !(q.low <= depth_mm && depth_mm <= q.high);
    };
    const bool without = misses(std::nullopt);
    missed_without += without;
    for (const double factor : {0.3, 0.6, 0.85, 0.95, 1.05, 1.15, 1.75, 3.0}) {
      INFO(p.name << ", tape " << factor);
      const bool with = misses(factor * right_mm);
      ++depths;
      missed_with += with && !without;
      CHECK((!with || without));
    }
  }
  if (depths > 0)
    std::cout << "tapes: " << depths << " depths, " << missed_with << " missed because of the tape, "
              << missed_without << " photos missed without\n";
}
