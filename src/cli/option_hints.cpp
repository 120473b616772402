// Which options go with which refusal.
#include "option_hints.hpp"

#include <string_view>
#include <utility>

namespace ripplegauge::cli {

std::string remedy_with_options(const Refusal& refusal) {
  constexpr std::pair<std::string_view, std::string_view> options[] = {
      {"pitch_contradicted", "--board-pitch, --board-distance; of a tagged board --board"},
      {"card_unknown", "--card"},
      {"card_not_flat", "--card"},
      {"camera_profile_misfit", "--camera"},
      {"no_panel", "--panel-pattern"},
      {"out_of_memory", "--threads 1"}};
  for (const auto& [code, option] : options)
    if (refusal.code == code) return refusal.remedy + " Options: " + std::string(option) + ".";
  return refusal.remedy;
}

}  // namespace ripplegauge::cli
