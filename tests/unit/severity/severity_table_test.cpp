// What each kind of spot is graded: a table to read. All spots are invented unless they say otherwise.
#include "catch.hpp"
#include "files/severity_file.hpp"
#include "severity/severity.hpp"
#include "unit/advice/sample_readings.hpp"

using namespace ripplegauge;
using sample::about;

namespace {

const SeverityRules& rules() {
  static const std::string data = RIPPLEGAUGE_SOURCE_DIR "/calibration/";
  static const SeverityRules read = read_severity_rules(data + "severity.json", data + "materials.json");
  return read;
}

struct Case {
  const char* what;
  Kind kind;
  double length_mm, width_mm, depth_mm;
  double bend_mm;  ///< radius over 5 mm; 0: as a Gaussian spot of this size has it
  double share;    ///< half of each interval
  const char* spoken;
  Pulling pulling;
};

constexpr Kind L = Kind::low, H = Kind::high;
constexpr Pulling yes = Pulling::promising, doubt = Pulling::doubtful, beyond = Pulling::beyond;

constexpr Case cases[] = {
    // Hail and dings. That depth for width and the tightness of the bend decide, not the width alone, is
    // common practice, no published source.
    {"hail, pea-sized, faint", L, 7, 7, 0.03, 0, 0.03, "shallow", yes},
    {"hail, small", L, 6.7, 6.7, 0.060, 145, 0.05, "shallow", yes},
    {"hail, wider and four times as deep", L, 14, 14, 0.238, 67, 0.03, "moderate", yes},
    {"hail, wide and soft", L, 25, 25, 0.10, 0, 0.03, "shallow", yes},
    {"hail, middling", L, 12, 12, 0.16, 0, 0.03, "moderate", yes},
    {"hail, nut-sized, hard", L, 35, 35, 1.2, 0, 0.03, "sharp", yes},
    {"hail on a slope, a little oval", L, 15, 12, 0.10, 0, 0.05, "shallow", yes},
    {"a palm pressed in", L, 65, 65, 0.5, 0, 0.03, "shallow", yes},
    {"a door's edge, soft", L, 20, 20, 0.25, 0, 0.03, "moderate", yes},
    {"a door's edge, hard", L, 12, 12, 0.35, 0, 0.03, "sharp", yes},
    {"a stone", L, 6, 6, 0.35, 0, 0.03, "severe", yes},
    {"shallow, but with a sharp line in it", L, 24, 24, 0.2, 30, 0.03, "sharp", yes},
    {"a corner hit it", L, 15, 15, 0.5, 13, 0.03, "severe", doubt},
    {"folded", L, 15, 15, 1.2, 7, 0.05, "severe", beyond},
    {"deep and round", L, 40, 40, 2.4, 0, 0.03, "severe", yes},
    {"deep as it is wide allows, stretched", L, 30, 30, 3.5, 0, 0.03, "severe", beyond},
    {"a soft push with the hip", L, 120, 120, 0.6, 0, 0.03, "moderate", yes},
    {"a whole door pushed in", L, 300, 300, 2.5, 0, 0.03, "sharp", yes},
    // Creases: stiff along their line, so graded sooner; common practice, no published source.
    {"a shallow crease", L, 60, 20, 0.12, 0, 0.03, "shallow", yes},
    {"a crease", L, 60, 10, 0.14, 60, 0.03, "moderate", yes},
    {"a round dent as deep for its width as the next crease", L, 20, 20, 0.44, 0, 0.03, "moderate", yes},
    {"that crease", L, 60, 20, 0.44, 0, 0.03, "sharp", yes},
    {"a key's crease", L, 100, 12, 0.6, 18, 0.03, "severe", yes},
    {"a crease folded along its line", L, 80, 9, 0.7, 11, 0.03, "severe", beyond},
    // What the measurement does not support is not said.
    {"one edge of the interval reaches sharp", L, 20, 20, 0.48, 0, 0.06, "moderate, perhaps sharp", yes},
    {"the value is past sharp, the interval is not", L, 20, 20, 0.52, 0, 0.06, "moderate, perhaps sharp",
     yes},
    // Highs: what tapping down takes; common practice, no published source.
    {"a faint high", H, 8.6, 8.6, 0.032, 379, 0.04, "shallow", yes},
    {"a pimple after a pull", H, 6.5, 6.5, 0.067, 97, 0.05, "moderate", yes},
    {"a rim round a low", H, 18, 18, 0.13, 226, 0.05, "moderate", yes},
    {"a high of a hard push from behind", H, 11, 11, 0.47, 28, 0.03, "sharp", yes},
    {"a proud area", H, 30, 30, 0.26, 0, 0.03, "sharp", yes},
    {"metal that has grown", H, 8, 8, 0.6, 14, 0.03, "severe", yes},
};

Dent dent_of(const Case& one) {
  Dent dent = sample::spot(one.kind, std::sqrt(one.length_mm * one.width_mm), one.depth_mm);
  dent.length_mm = about(one.length_mm, 0.5 * one.share);
  dent.width_mm = about(one.width_mm, 0.5 * one.share);
  dent.diameter_mm = about(dent.diameter_mm.value, 0.5 * one.share);
  dent.depth_mm = about(one.depth_mm, one.share);
  const double bend_mm =
      one.bend_mm > 0 ? one.bend_mm : estimated_bend_radius_mm(dent.width_mm, *dent.depth_mm).value;
  dent.bend_radius_mm = about(bend_mm, one.share);
  dent.stretch = estimated_stretch(dent.width_mm, *dent.depth_mm).value;
  return dent;
}

PanelFacts steel() {
  PanelFacts facts;
  facts.material = Material::mild_steel;
  facts.thickness_mm = 0.7;
  return facts;
}

}  // namespace

TEST_CASE("each kind of spot has its grade", "[severity]") {
  STATIC_REQUIRE(std::size(cases) >= 30);
  for (const Case& one : cases) {
    INFO(one.what);
    const SeverityAssessment result = assess_severity(dent_of(one), steel(), rules());
    INFO(result.reason);
    CHECK(result.spoken == one.spoken);
    CHECK(result.pulling == one.pulling);
  }
}

TEST_CASE("a nudge within the interval changes a clear grade to no other", "[severity]") {
  for (const Case& one : cases) {
    const Dent dent = dent_of(one);
    const SeverityAssessment result = assess_severity(dent, steel(), rules());
    if (result.straddles) continue;
    for (const double nudge : {-1.0, -0.5, 0.5, 1.0}) {
      INFO(one.what << ", nudged by " << nudge);
      const double factor = 1 + nudge * one.share;
      Dent nudged = dent;
      for (Quantity* q : {&*nudged.depth_mm, &*nudged.bend_radius_mm})
        *q = {q->value * factor, q->low * factor, q->high * factor};
      const SeverityAssessment again = assess_severity(nudged, steel(), rules());
      CHECK(*again.grade <= *result.grade);
      CHECK(*rules().grade_index(again.worst_word) >= *result.grade);
      CHECK(*rules().grade_index(again.worst_word) - *again.grade <= 1);
    }
  }
}
