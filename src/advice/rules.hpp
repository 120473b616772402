// The rules of thumb behind a plan. They are data: a workshop changes numbers, order and reasons in a file.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "advice/kit.hpp"
#include "severity/panel_facts.hpp"

namespace ripplegauge {

/// How much metal a lifter's foot stands on, outwards. Common practice, no published source.
inline constexpr double lifter_foot_mm = 25;

/// A number and why it is that number; the reason is shown to the user.
struct RuleNumber {
  double value = 0;
  std::string reason;
};

/// All that is given must hold; an empty condition always holds.
struct Condition {
  std::optional<double> diameter_from_mm, diameter_below_mm;
  std::optional<double> thickness_below_mm;
  std::optional<int> grade_at_least, grade_at_most;  ///< positions in SeverityRules::grades
  std::vector<Material> material;
  std::vector<Paint> paint;
  std::vector<Place> place;

  bool empty() const;
};

/// Of a list of rules the first whose condition holds decides; the last one has no condition. `otherwise` is
/// what will do when the kit lacks it, best first.
template <class T>
struct ChoiceRule {
  T pick{};
  Condition when;
  std::vector<T> otherwise;
  std::string reason;
};

struct AdviceRules {
  std::string name;

  // Tab
  RuleNumber face_share;              ///< face at most this share of the dent's lower bound
  RuleNumber small_face_share;        ///< a face below this share of the dent is small for it
  RuleNumber smallest_face_mm;        ///< of tabs that exist
  RuleNumber smallest_face_share;     ///< up to smallest_face_mm, this larger share is allowed
  RuleNumber preparation_decides_mm;  ///< a face up to this wide has little contact
  RuleNumber long_from_ratio;         ///< length over width from which a long tab is chosen
  RuleNumber row_gap_mm;              ///< between tabs that stand in a row
  RuleNumber small_face_mm;           ///< up to this face, little glue
  std::vector<ChoiceRule<TabMaterial>> tab_material;  ///< of a crease its width counts as the diameter

  RuleNumber feet_clear_mm;  ///< a lifter's feet stand at least so far outside of the spot's edge
  std::vector<ChoiceRule<PullerKind>> pullers;
  std::vector<ChoiceRule<Hardness>> tip_hardness;
  std::vector<ChoiceRule<HammerWeight>> hammers;

  Glue common_glue;  ///< used when the kit names no glue
  std::string glue_reason;

  // After the pull
  RuleNumber visible_slope_mrad;  ///< what is left is done when its steepest slope is below this
  RuleNumber good_gain_percent;   ///< a pull that took this much off the depth is worth repeating as it was
  RuleNumber poor_gain_percent;   ///< below this something has to change
};

}  // namespace ripplegauge
