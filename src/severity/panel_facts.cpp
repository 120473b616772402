#include "ripplegauge/severity/panel_facts.hpp"

#include <string>

#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/severity/severity.hpp"

namespace ripplegauge {
namespace {

void check(const std::optional<double>& value, const char* name, double low, double high, const char* unit) {
  if (!value || (*value >= low && *value <= high)) return;  // NaN fails both
  throw UsageError(std::string(name) + " is " + shown(*value, 2) + ", but it must lie between " +
                   shown(low, 2) + " and " + shown(high, 2) + " " + unit);
}

}  // namespace

void PanelFacts::validate() const {
  check(thickness_mm, "sheet thickness", 0.3, 4.0, "mm");
  check(air_c, "air temperature", -40, 60, "°C");
  check(panel_c, "panel temperature", -40, 120, "°C");
}

}  // namespace ripplegauge
