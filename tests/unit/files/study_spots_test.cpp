#include <algorithm>

#include "catch.hpp"
#include "files/study_file.hpp"
#include "unit/compare/scene.hpp"

using namespace ripplegauge;
using namespace ripplegauge::test;
using Catch::Matchers::ContainsSubstring;

namespace {

const std::vector<Dent> hail = {spot(Kind::low, 20, 60, 0.3, 18), spot(Kind::low, 55, 45, 0.2, 12),
                                spot(Kind::low, 80, 75, 0.15, 14), spot(Kind::low, 38, 88, 0.1, 9)};

LabelledReading labelled(const std::string& part, const std::string& person, const std::string& trial,
                         std::vector<Dent> dents) {
  return {{part, person, trial}, reading(dents)};
}

double value_of(const StudyGroup& group, const std::string& part, const std::string& person) {
  for (const StudyValue& value : group.values)
    if (value.part == part && value.person == person) return value.value;
  return -1;
}

/// As if the card lay elsewhere: shifted and turned by 90 degrees.
std::vector<Dent> seen_from_elsewhere(std::vector<Dent> dents) {
  for (Dent& dent : dents) {
    const double x = dent.x_mm;
    dent.x_mm = 110 - dent.y_mm;
    dent.y_mm = 20 + x;
  }
  return dents;
}

}  // namespace

TEST_CASE("several spots of a part are told apart, in whatever order readings have them", "[study]") {
  std::vector<Dent> other = hail;
  std::reverse(other.begin(), other.end());
  for (Dent& dent : other) dent.depth_mm = within(1.1 * dent.depth_mm->value, 5);
  const StudyGroup group =
      study_of("readings", {labelled("roof", "a", "1", hail), labelled("roof", "b", "1", other)},
               StudyQuantity::depth_mm);
  REQUIRE(group.values.size() == 8);
  for (std::size_t i = 0; i < hail.size(); ++i) {
    const std::string part = study_spot_name("roof", i);
    CHECK(value_of(group, part, "a") == Approx(hail[i].depth_mm->value));
    CHECK(value_of(group, part, "b") == Approx(1.1 * hail[i].depth_mm->value));
  }
  REQUIRE(group.notes.size() == 1);
  CHECK_THAT(group.notes[0], ContainsSubstring("roof#2 at x 55, y 45 mm"));
}

TEST_CASE("with the card laid anew spots are told by their pattern, or the reading is left out", "[study]") {
  const StudyGroup group = study_of(
      "readings",
      {labelled("roof", "a", "1", hail), labelled("roof", "b", "1", seen_from_elsewhere(hail)),
       labelled("roof", "c", "1", {seen_from_elsewhere(hail).front()}), labelled("roof", "d", "1", {})},
      StudyQuantity::diameter_mm);
  CHECK(group.values.size() == 8);
  for (std::size_t i = 0; i < hail.size(); ++i)
    CHECK(value_of(group, study_spot_name("roof", i), "b") == Approx(hail[i].diameter_mm.value));
  REQUIRE(group.notes.size() == 3);
  CHECK_THAT(group.notes[1], ContainsSubstring("roof/c_1 is left out: which"));
  CHECK_THAT(group.notes[2], ContainsSubstring("roof/d_1 is left out: it shows no spot"));
}

TEST_CASE("a part with one spot keeps its name, wherever the card lies", "[study]") {
  const StudyGroup group = study_of(
      "readings",
      {labelled("door", "a", "1", {hail[0]}), labelled("door", "b", "1", {spot(Kind::low, 90, 10, 0.31, 18)}),
       labelled("wing", "a", "1", {})},
      StudyQuantity::depth_mm);
  REQUIRE(group.values.size() == 2);
  CHECK(group.values[0].part == "door");
  CHECK(group.values[1].part == "door");
  CHECK(group.notes.empty());
}
