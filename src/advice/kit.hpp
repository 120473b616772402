// What the workshop has on its shelf. Data from a file; any list may be empty.
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "advice/cooling.hpp"
#include "core/enum_words.hpp"

namespace ripplegauge {

enum class TabShape { round, long_shape };
enum class TabMaterial { rigid, soft };
enum class PullerKind { light_slide_hammer, narrow_lifter, wide_lifter, heavy_slide_hammer, lateral_tension };
enum class Hardness { soft, medium, hard };
enum class HammerWeight { light, heavy };

/// The face is what touches the panel; length = width for a round one.
struct Tab {
  std::string name;
  TabShape shape = TabShape::round;
  TabMaterial material = TabMaterial::rigid;
  double length_mm = 0, width_mm = 0;
};

struct Puller {
  std::string name;
  PullerKind kind = PullerKind::light_slide_hammer;
  std::optional<double> free_width_mm;  ///< clear space between a lifter's feet
};

/// Hot glue is melted in a gun and pulled while the warmed panel cools; cold glue is pressed on as it is.
struct Glue {
  std::string name;
  bool cold = false;
  double gun_c = 0, warm_panel_c = 0;  ///< hot glue only; the panel's temperature for the gluing
  double press_s = 0;                  ///< cold glue only: how long to press the tab on
  TemperatureRange pull;               ///< panel temperature for the pull
  TemperatureRange air;                ///< weather the glue is made for
};

struct Tip {
  std::string name;
  double width_mm = 0;
  Hardness hardness = Hardness::medium;
};

struct Hammer {
  std::string name;
  HammerWeight weight = HammerWeight::light;
};

struct Kit {
  std::string name;
  std::vector<Tab> tabs;
  std::vector<Puller> pullers;
  std::vector<Glue> glues;
  std::vector<Tip> tips;
  std::vector<Hammer> hammers;
};

template <>
struct EnumWords<TabShape> {
  static constexpr std::pair<TabShape, const char*> list[] = {{TabShape::round, "round"},
                                                              {TabShape::long_shape, "long"}};
};
template <>
struct EnumWords<TabMaterial> {
  static constexpr std::pair<TabMaterial, const char*> list[] = {{TabMaterial::rigid, "rigid"},
                                                                 {TabMaterial::soft, "soft"}};
};
template <>
struct EnumWords<PullerKind> {
  static constexpr std::pair<PullerKind, const char*> list[] = {
      {PullerKind::light_slide_hammer, "light_slide_hammer"},
      {PullerKind::narrow_lifter, "narrow_lifter"},
      {PullerKind::wide_lifter, "wide_lifter"},
      {PullerKind::heavy_slide_hammer, "heavy_slide_hammer"},
      {PullerKind::lateral_tension, "lateral_tension"}};
};
template <>
struct EnumWords<Hardness> {
  static constexpr std::pair<Hardness, const char*> list[] = {
      {Hardness::soft, "soft"}, {Hardness::medium, "medium"}, {Hardness::hard, "hard"}};
};
template <>
struct EnumWords<HammerWeight> {
  static constexpr std::pair<HammerWeight, const char*> list[] = {{HammerWeight::light, "light"},
                                                                  {HammerWeight::heavy, "heavy"}};
};

}  // namespace ripplegauge
