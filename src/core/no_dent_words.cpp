// "No dent" is a measurement: it holds for an area, and for dents of a size.
#include "core/no_dent_words.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>

namespace ripplegauge {
namespace {

/// Two digits that count: a limit is no more exact than that.
std::string depth_text(double mm) {
  char text[32];
  std::snprintf(text, sizeof text, mm < 0.095 ? "%.3f" : "%.2f", mm);
  return text;
}

std::string whole_number(double value) {
  char text[32];
  std::snprintf(text, sizeof text, "%.0f", value);
  return text;
}

}  // namespace

std::string no_dent_headline(const Setup& setup) {
  constexpr double nearly_all = 0.9;
  if (!setup.judged) return "No dent found.";
  const std::string area = whole_number(0.01 * setup.judged->area_mm2) + " cm2";
  if (setup.judged->share > nearly_all) return "No dent on the " + area + " of panel round the card.";
  return "No dent on the " + area + " that could be checked: " + whole_number(100 * setup.judged->share) +
         " % of the panel round the card.";
}

std::string smallest_visible_words(const Setup& setup) {
  std::string text;
  for (const VisibleDent& dent : setup.smallest_visible)
    text += (text.empty() ? "A dent would have shown from " : ", ") + depth_text(dent.depth_mm) +
            " mm deep at " + whole_number(dent.width_mm) + " mm wide";
  return text.empty() ? text : text + ".";
}

std::string body_line_words(const BodyLine& line) {
  char text[200];
  std::snprintf(
      text, sizeof text,
      "Body line: the panel turns %s by %.1f degrees (%.1f to %.1f) within %.0f mm; dents are measured "
      "against it.",
      line.turn_deg.value > 0 ? "away" : "up", std::abs(line.turn_deg.value),
      std::min(std::abs(line.turn_deg.low), std::abs(line.turn_deg.high)),
      std::max(std::abs(line.turn_deg.low), std::abs(line.turn_deg.high)), line.width_mm.value);
  return text;
}

std::string flattened_words(const FlattenedLine& line, Kind kind) {
  return "flattened over " + whole_number(line.length_mm.value) + " mm, " + depth_text(line.depth_mm.value) +
         (kind == Kind::low ? " mm low" : " mm high");
}

}  // namespace ripplegauge
