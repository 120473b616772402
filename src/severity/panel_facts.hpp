// What only the person at the panel can know. Everything may be left out; what is unknown is treated
// cautiously.
#pragma once

#include <optional>
#include <string>
#include <utility>

#include "core/enum_words.hpp"

namespace ripplegauge {

enum class Material { unknown, mild_steel, high_strength_steel, aluminium };
enum class Paint { unknown, original, repainted, damaged };  ///< damaged: cracked or lifting
enum class Coating { unknown, none, wax_or_sealant, ceramic };
enum class Place { unknown, open, body_line, edge, brace };
enum class Access { unknown, reachable, closed };  ///< from behind

struct NumberRange {
  double low = 0, high = 0;
};

struct PanelFacts {
  Material material = Material::unknown;
  std::optional<double> thickness_mm;  ///< of the bare sheet
  Paint paint = Paint::unknown;
  Coating coating = Coating::unknown;
  Place place = Place::unknown;
  Access access = Access::unknown;
  std::optional<double> air_c, panel_c;

  static constexpr NumberRange thickness_range_mm{0.3, 4}, air_range_c{-40, 60}, panel_range_c{-40, 120};

  /// Throws UsageError that names the value and the rule.
  void validate() const;
};

template <>
struct EnumWords<Material> {
  static constexpr std::pair<Material, const char*> list[] = {
      {Material::mild_steel, "mild_steel"},
      {Material::high_strength_steel, "high_strength_steel"},
      {Material::aluminium, "aluminium"},
      {Material::unknown, "not_sure"}};
};
template <>
struct EnumWords<Paint> {
  static constexpr std::pair<Paint, const char*> list[] = {{Paint::original, "original"},
                                                           {Paint::repainted, "repainted"},
                                                           {Paint::damaged, "damaged"},
                                                           {Paint::unknown, "not_sure"}};
};
template <>
struct EnumWords<Coating> {
  static constexpr std::pair<Coating, const char*> list[] = {{Coating::none, "none"},
                                                             {Coating::wax_or_sealant, "wax_or_sealant"},
                                                             {Coating::ceramic, "ceramic"},
                                                             {Coating::unknown, "not_sure"}};
};
template <>
struct EnumWords<Place> {
  static constexpr std::pair<Place, const char*> list[] = {{Place::open, "open"},
                                                           {Place::body_line, "body_line"},
                                                           {Place::edge, "edge"},
                                                           {Place::brace, "brace"},
                                                           {Place::unknown, "not_sure"}};
};
template <>
struct EnumWords<Access> {
  static constexpr std::pair<Access, const char*> list[] = {
      {Access::reachable, "reachable"}, {Access::closed, "closed"}, {Access::unknown, "not_sure"}};
};

}  // namespace ripplegauge
