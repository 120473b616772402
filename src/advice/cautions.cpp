// The cautions of each kind of work, and how soon warm metal burns.
#include "advice/cautions.hpp"

#include "severity/severity.hpp"

namespace ripplegauge {
namespace {

struct ContactTime {
  double celsius;
  const char* time;
};

/// Time to a serious burn; attributed to the Shriners Burn Institute, as quoted on the IEEE EMC-PSTC mailing
/// list.
constexpr ContactTime contact_times[] = {
    {49, "five minutes"}, {52, "a minute and a half"}, {55, "half a minute"}, {57, "ten seconds"},
    {60, "five seconds"}, {66, "1.5 seconds"},         {68, "one second"}};
constexpr double lowest_of_concern_c = 43;  // ISO 13732-1, metal held for hours; from memory

}  // namespace

std::string burns_after(double celsius) {
  if (celsius < lowest_of_concern_c) return "";
  for (const ContactTime& row : contact_times)
    if (celsius <= row.celsius) return row.time;
  return "less than one second";
}

std::vector<Caution> cautions_for(const Work& work, const PanelFacts& facts) {
  std::vector<Caution> list;
  const auto add = [&list](const char* code, const char* before_step, std::string text, const char* source) {
    list.push_back({code, std::move(text), source, before_step});
  };
  if (work.pulling || work.tapping)
    add("eyes_and_ears", "",
        "Wear eye protection, from the first pull or tap to the last. Slide hammer and tapping are loud: ear "
        "protection from 85 dB(A) over a day, and each 3 dB more halves the time (100 dB(A): 15 minutes).",
        "NIOSH recommended exposure limits for noise");
  add("maker_and_law", "",
      "The vehicle maker's repair procedure and your local rules come first. When unsure, ask a licensed "
      "professional.",
      "common practice");
  if (facts.paint == Paint::damaged)
    add("broken_paint", "", "Cracked or lifting paint has sharp flakes: do not stroke it with bare fingers.",
        "common practice");
  if (work.pulling || work.tapping)
    add("shocks", work.pulling ? "pull" : "",
        "No blows near side-airbag sensors (in doors and pillars) as long as the ignition is on, nor beside "
        "glass: a sensor can take a blow for a crash, and a pane can crack. Where they sit and how to make "
        "them safe, the vehicle maker says.",
        "common practice");
  if (work.cutting)
    add("cutting", "prepare",
        "Cutting compound: keep the pad off edges and body lines, mind the paint's thickness, dust mask "
        "and no loose sleeves at a machine.",
        "common practice");
  if (!work.pulling) return list;
  add("isopropyl_alcohol", "prepare",
      "Isopropyl alcohol is highly flammable: its vapour lights from 12 °C on (flash point 11.7 °C), so on "
      "any warm panel; air with 2 % of it or more explodes. Air the room, no flame, no sparks, gun and "
      "heater put away first. Workplace limit 400 ppm.",
      "NIOSH Pocket Guide 0359");
  if (work.heat) {
    add("flame", "warm_tabs",
        "Flame or hot-air gun for the tabs: away from alcohol, its vapour and rags, from the paint and from "
        "your skin. Extinguisher within reach.",
        "common practice");
    add("hot_glue", "glue",
        "Hot glue and the gun's nozzle (about " + shown(work.glue_c, 0) +
            " °C) burn skin at once and stick: gloves, sleeves, and water at hand.",
        "glue guns of 190 to 210 °C, nozzle up to 195 °C: school safety sheets");
    if (const std::string time = burns_after(work.panel_c); !time.empty())
      add("warm_panel", "glue",
          "Metal at " + shown(work.panel_c, 0) + " °C can burn skin within " + time +
              "; hotter metal far sooner (60 °C: under five seconds). Measure, do not feel.",
          "contact burn times attributed to the Shriners Burn Institute; ISO 13732-1 for the method");
    add("heat_near_parts", "glue",
        "No heat near airbags and their gas generators (they may fire at about 177 °C, and never heat the "
        "steering wheel's hub), traction batteries (kept below 60 °C), fuel, sensors and radar covers, "
        "glass, plastics, seals and wiring.",
        "NHTSA/USFA rescue guideline; a county fire procedure; UN R100; a car maker's rule through I-CAR");
  }
  add("flying_parts", "pull",
      "A tab that snaps or lets go flies, and so do slide hammer and hardened glue: stand out of line.",
      "common practice");
  return list;
}

}  // namespace ripplegauge
