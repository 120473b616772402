// How bad a spot is, from the shape of the metal: depth over width, slope, bend and stretch against what
// paint and metal stand. The thresholds are data.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "ripplegauge/core/enum_words.hpp"
#include "ripplegauge/core/reading.hpp"
#include "ripplegauge/severity/panel_facts.hpp"
#include "ripplegauge/severity/sheet_metal.hpp"

namespace ripplegauge {

/// What a spot is judged by.
enum class Measure {
  depth_over_width_percent,
  max_slope_mrad,
  min_radius_mm,         ///< of bend
  paint_strain_percent,  ///< bending strain at the paint
  bend_over_yield,       ///< the same strain in multiples of the metal's yield strain
  stretch_percent,       ///< arc over chord along the worst section
  stretch_over_yield     ///< the same in multiples of the yield strain
};

template <>
struct EnumWords<Measure> {
  static constexpr std::pair<Measure, const char*> list[] = {
      {Measure::depth_over_width_percent, "depth_over_width_percent"},
      {Measure::max_slope_mrad, "max_slope_mrad"},
      {Measure::min_radius_mm, "min_radius_mm"},
      {Measure::paint_strain_percent, "paint_strain_percent"},
      {Measure::bend_over_yield, "bend_over_yield"},
      {Measure::stretch_percent, "stretch_percent"},
      {Measure::stretch_over_yield, "stretch_over_yield"}};
};

/// Name and unit as a person reads them: "smallest radius of bend", "mm".
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
  std::string says;                ///< what it means, for the user: "the metal is stretched"
  std::string reason;
};

struct SizeClass {
  std::string name;
  double from_mm = 0;  ///< inclusive lower edge of the diameter
};

struct SeverityRules {
  std::string name;
  std::vector<std::string> grades;  ///< plain words, mildest first
  std::vector<GradeRule> criteria;
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
  std::optional<int> grade;              ///< absent when neither depth nor slope nor bend are known
  std::string word;                      ///< its word; "not graded" when absent
  std::string mildest_word, worst_word;  ///< what the intervals allow; all three equal when nothing straddles
  bool straddles = false;
  std::string reason;  ///< "sharp: smallest radius of bend 34 mm (30-39); sharp begins below 40 mm"
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

/// "22.4 mm (21.9–22.9)": as many digits as the interval deserves.
std::string shown(const Quantity& quantity, const std::string& unit);
/// The number alone, no more than `decimals` digits after the point, no trailing zeros.
std::string shown(double number, int decimals);

}  // namespace ripplegauge
