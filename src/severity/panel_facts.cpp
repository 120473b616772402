// Which values a panel's facts can have.
#include "severity/panel_facts.hpp"

#include <string>

#include "ripplegauge/core/errors.hpp"
#include "severity/severity.hpp"

namespace ripplegauge {
namespace {

void check(const std::optional<double>& value, const char* name, const NumberRange& range, const char* unit) {
  if (!value || (*value >= range.low && *value <= range.high)) return;  // NaN fails both
  throw UsageError(std::string(name) + " is " + shown(*value, 2) + ", but it must lie between " +
                   shown(range.low, 2) + " and " + shown(range.high, 2) + " " + unit);
}

}  // namespace

void PanelFacts::validate() const {
  check(thickness_mm, "sheet thickness", thickness_range_mm, "mm");
  check(air_c, "air temperature", air_range_c, "°C");
  check(panel_c, "panel temperature", panel_range_c, "°C");
}

}  // namespace ripplegauge
