// What the pictures share: signs and colours of spots, axes, quantities in words.
#include "drawing.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "core/crease.hpp"
#include "words/text.hpp"

namespace ripplegauge::picture_detail {
namespace {

int decimals_of(const Quantity& quantity) {
  const double half = quantity.half_width();
  if (!std::isfinite(half)) return quantity.value < 1 ? 3 : 1;
  return half >= 9.5 ? 0 : half >= 0.095 ? 1 : half >= 0.0095 ? 2 : 3;
}

}  // namespace

double round_step(double span, int count) {
  const double raw = span / count;
  const double power = std::pow(10.0, std::floor(std::log10(raw)));
  for (const double factor : {1.0, 2.0, 5.0})
    if (factor * power >= raw) return factor * power;
  return 10 * power;
}

std::string tick_text(double value, double step) {
  const int decimals = std::max(0, static_cast<int>(std::ceil(-std::log10(step) - 1e-9)));
  return figure(value, decimals);
}

AxisUnit height_unit(double largest_mm, double least_mm, const Wording& words) {
  if (words.units().inches || !(largest_mm < least_mm)) return length_unit(words.units());
  return {"µm", 1000};
}

const Rgb& colour_of(Kind kind) { return kind == Kind::low ? palette::low : palette::high; }

void set_dashes(cairo_t* cairo, Kind kind, double line_width) {
  const double dashes[] = {4 * line_width, 2.5 * line_width};
  cairo_set_dash(cairo, dashes, kind == Kind::high ? 2 : 0, 0);
}

void draw_badge(PixelCanvas& canvas, int number, Kind kind, double x, double y, double size) {
  cairo_t* cairo = canvas.cairo();
  set_colour(cairo, colour_of(kind));
  cairo_new_path(cairo);
  if (kind == Kind::low) {
    cairo_arc(cairo, x, y, 0.8 * size, 0, 2 * std::numbers::pi);
  } else {
    const double half = 0.98 * size;
    cairo_move_to(cairo, x, y - half);
    cairo_line_to(cairo, x + half, y);
    cairo_line_to(cairo, x, y + half);
    cairo_line_to(cairo, x - half, y);
    cairo_close_path(cairo);
  }
  cairo_fill(cairo);
  const double digits = number > 9 ? 0.78 * size : 0.95 * size;
  canvas.text(std::to_string(number), x, y + 0.36 * digits, {digits, palette::paper, Align::centre, true});
}

std::string with_interval(const Quantity& quantity, const char* unit, const Wording& words) {
  if (!std::isfinite(quantity.value)) return words("text.not_known");
  const int decimals = decimals_of(quantity);
  const auto figure_of = [&](double value) {
    return words.with_decimal_mark(fmt::format("{:.{}f}", value, decimals));
  };
  const std::string value = figure_of(quantity.value) + " " + unit;
  if (!std::isfinite(quantity.half_width())) return value;
  return words("text.interval",
               {{"value", value}, {"low", figure_of(quantity.low)}, {"high", figure_of(quantity.high)}});
}

std::string without_interval(const Quantity& quantity, const char* unit, const Wording& words) {
  if (!std::isfinite(quantity.value)) return "?";
  return words.with_decimal_mark(fmt::format("{:.{}f} {}", quantity.value, decimals_of(quantity), unit));
}

std::string kind_and_depth(const Dent& dent, const Wording& words) {
  const std::string kind = words(dent.kind == Kind::low ? "kind.low" : "kind.high");
  return dent.depth_mm ? words.with_units(kind + " " + without_interval(*dent.depth_mm, "mm", words)) : kind;
}

std::string size_in_short(const Dent& dent, const Wording& words) {
  std::string size = without_interval(dent.diameter_mm, "mm", words);
  if (is_crease(dent))
    size = without_interval(dent.length_mm, "×", words) + " " + without_interval(dent.width_mm, "mm", words);
  return words.with_units(size);
}

}  // namespace ripplegauge::picture_detail
