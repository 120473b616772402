// Which part of the kit fits a spot. Each choice also says what an ideal part would be, so that an empty kit
// still gives an answer.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "advice/kit.hpp"
#include "advice/rules.hpp"
#include "ripplegauge/core/reading.hpp"
#include "severity/severity.hpp"

namespace ripplegauge {

/// A spot with all that choices depend on.
struct Spot {
  const Dent& dent;
  const SeverityAssessment& severity;
  const PanelFacts& facts;
  double thickness_mm = 0;  ///< given, or usual for the material
};

struct TabChoice {
  TabShape shape = TabShape::round;
  TabMaterial material = TabMaterial::rigid;   ///< the better one for this spot
  double max_length_mm = 0, max_width_mm = 0;  ///< the face may not be larger
  std::optional<Tab> tab;                      ///< the largest of the kit that fits; absent when none does
  int in_row = 1;                              ///< so many of them along the crease
  bool small_for_spot = false;                 ///< a larger face would fit, the kit has none
  bool none_fits = false;                      ///< hardly any face is as small as this spot asks for
  bool preparation_decides = false;            ///< the face is among the smallest that exist
  std::string material_reason;
  std::vector<std::string> alternatives;
  std::string missing;
};

struct PullerChoice {
  PullerKind kind = PullerKind::light_slide_hammer;  ///< the better one for this spot
  std::optional<Puller> puller;                      ///< of the kit: that kind, else what also does
  double feet_apart_mm = 0;                          ///< least clear width between a lifter's feet
  std::string reason;
  std::vector<std::string> alternatives;
  std::string missing;
};

struct TipChoice {
  double width_mm = 0;  ///< of the high spot, or of the raised ring
  Hardness hardness = Hardness::soft;
  HammerWeight weight = HammerWeight::light;
  std::optional<Tip> tip;
  std::optional<Hammer> hammer;
  std::string hardness_reason, weight_reason;
  std::string missing;
};

/// "a wide lifter".
std::string words_of(PullerKind kind);

TabChoice choose_tab(const Spot& spot, const Kit& kit, const AdviceRules& rules);
PullerChoice choose_puller(const Spot& spot, const TabChoice& tab, const Kit& kit, const AdviceRules& rules);
/// `width_mm` is the raised width: the spot's diameter, or less for a ring round a low.
TipChoice choose_tip(const Spot& spot, double width_mm, const Kit& kit, const AdviceRules& rules);

struct GlueChoice {
  Glue glue;
  bool of_kit = false;
  std::string not_now;  ///< what to do first, where no glue is made for this air; else empty
  std::vector<std::string> alternatives;
};

/// The kit's glue for this air temperature, hot before cold; else the nearest one, with what has to be done
/// before it can be used. Without a kit the common glue of the rules. Air that nobody told counts as 20 °C.
GlueChoice choose_glue(const PanelFacts& facts, const Kit& kit, const AdviceRules& rules);
/// Little tabs: little glue.
bool is_small(const TabChoice& tab, const AdviceRules& rules);

bool holds(const Condition& condition, const Spot& spot, double diameter_mm);

}  // namespace ripplegauge
