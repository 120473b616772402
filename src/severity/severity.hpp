// How much work a spot is, from what a photo resolves: how deep for its width, how tightly bent on average
// over the length of a tab's face, how far stretched, round or crease, how large. A grade is never worse than
// the intervals support. The thresholds are data, with a reason each.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "core/enum_words.hpp"
#include "ripplegauge/core/reading.hpp"
#include "severity/panel_facts.hpp"
#include "severity/sheet_metal.hpp"

namespace ripplegauge {

/// What a spot is judged by.
enum class Measure {
  depth_over_width_percent,
  bend_radius_mm,        ///< smallest radius of bend, averaged over bend_length_mm
  stretch_over_yield,    ///< arc over chord along the worst section, in multiples of the metal's yield strain
  stretch_percent,       ///< the same as a share
  paint_strain_percent,  ///< bending strain at the paint, from bend_radius_mm
  diameter_mm,
  height_mm,      ///< of a high, depth of a low
  max_slope_mrad  ///< what the eye sees
};

template <>
struct EnumWords<Measure> {
  static constexpr std::pair<Measure, const char*> list[] = {
      {Measure::depth_over_width_percent, "depth_over_width_percent"},
      {Measure::bend_radius_mm, "bend_radius_mm"},
      {Measure::stretch_over_yield, "stretch_over_yield"},
      {Measure::stretch_percent, "stretch_percent"},
      {Measure::paint_strain_percent, "paint_strain_percent"},
      {Measure::diameter_mm, "diameter_mm"},
      {Measure::height_mm, "height_mm"},
      {Measure::max_slope_mrad, "max_slope_mrad"}};
};

/// Name and unit as a person reads them: "radius of bend over 5 mm", "mm".
std::string spoken_name(Measure measure);
std::string unit_of(Measure measure);
/// A small radius is worse than a large one; all other measures are worse when they are larger.
bool smaller_is_worse(Measure measure);

struct MeasuredValue {
  Quantity quantity;
  bool estimated = false;  ///< from width and depth, where the relief itself does not tell
};

/// Where each grade but the first begins, mildest first.
struct GradeRule {
  Measure of = Measure::depth_over_width_percent;
  std::vector<double> thresholds;
  std::vector<double> crease_thresholds;  ///< for creases; empty: as for round spots
  std::string reason;
};

enum class Pulling { promising, doubtful, beyond };

template <>
struct EnumWords<Pulling> {
  static constexpr std::pair<Pulling, const char*> list[] = {
      {Pulling::promising, "promising"}, {Pulling::doubtful, "doubtful"}, {Pulling::beyond, "beyond"}};
};

/// From where on pulling alone will probably not do.
struct LimitRule {
  Measure of = Measure::stretch_percent;
  double threshold = 0;
  Pulling then = Pulling::beyond;  ///< or doubtful, where a person has to look
  bool only_long = false;          ///< only for creases
  bool highs_too = false;          ///< else only for lows, which are pulled
  std::string says;                ///< what it means, for the user: "the metal is stretched"
  std::string reason;
};

struct SizeClass {
  std::string name;
  double from_mm = 0;  ///< inclusive lower edge of the diameter
};

struct SeverityRules {
  std::string name;
  std::vector<std::string> grades;           ///< plain words, mildest first
  std::vector<GradeRule> criteria;           ///< of lows: what pulling takes
  std::vector<GradeRule> criteria_of_highs;  ///< what tapping down takes
  std::vector<LimitRule> limits;
  double long_from_ratio = 0;   ///< length over width from which a spot counts as a crease
  std::string edge_from_grade;  ///< near an edge, pulling is doubtful at once and beyond hope from this grade
  std::vector<SizeClass> sizes;  ///< smallest first
  std::vector<SheetMetal> metals;

  /// Position of a grade's word in `grades`; empty for a word that is not there.
  std::optional<int> grade_index(const std::string& grade) const;
  const SheetMetal& metal(Material material) const;
};

/// One measure of one spot, graded.
struct Finding {
  Measure of = Measure::depth_over_width_percent;
  Quantity value;
  bool estimated = false;        ///< from diameter and depth instead of from the relief
  int grade = -1;                ///< of the value
  int mildest = -1, worst = -1;  ///< of the two ends of the interval
  bool straddles() const { return mildest != worst; }
};

/// Why pulling is doubtful or will not do.
struct Doubt {
  std::string about;  ///< the measure's name, or "paint" or "place" when the user said so
  std::string text;   ///< a whole sentence, with the number and its limit
  std::optional<Quantity> value;
  std::string unit;
  bool estimated = false;
};

struct SeverityAssessment {
  std::optional<int> grade;  ///< the worst that the intervals support; absent when no depth is known
  std::string word;          ///< its word; "not graded" when absent
  std::string worst_word;    ///< the worst that the intervals allow; the same when nothing straddles
  bool straddles = false;
  std::string spoken;  ///< "moderate, perhaps sharp"
  std::string
      reason;  ///< "moderate, perhaps sharp: radius of bend over 5 mm 45 mm (38-52); sharp begins ..."
  std::vector<Finding> findings;
  Pulling pulling = Pulling::promising;
  std::vector<Doubt> doubts;  ///< empty when pulling is promising
  bool is_long = false;       ///< a crease
  bool may_be_long = false;   ///< the interval of length over width crosses the limit
  Quantity length_over_width;
  std::string size_class;
  std::string size_class_also;  ///< the other class that the interval reaches; empty when it reaches none

  bool beyond_pulling() const { return pulling == Pulling::beyond; }
};

/// Absent where the reading does not hold enough.
std::optional<MeasuredValue> value_of(Measure of, const Dent& dent, const PanelFacts& facts,
                                      const SeverityRules& rules);

SeverityAssessment assess_severity(const Dent& dent, const PanelFacts& facts, const SeverityRules& rules);

/// Grades the spots, as the workshop's rules have it.
void grade(Reading& reading, const PanelFacts& facts, const SeverityRules& rules);

/// "22.4 mm (21.9–22.9)": as many digits as the interval deserves.
std::string shown(const Quantity& quantity, const std::string& unit);
/// The number alone, no more than `decimals` digits after the point, no trailing zeros.
std::string shown(double number, int decimals);

}  // namespace ripplegauge
