// From a height map to the numbers of a reading, and from relative spreads to intervals.
#include "spot_numbers.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "dents/near_line.hpp"
#include "dents/spot_fit.hpp"
#include "ripplegauge/core/findings.hpp"

namespace ripplegauge {
namespace {

double longest_reach(const SpotVector& s) { return 1.7 * half_length_mm(s); }

}  // namespace

SpotNumbers numbers_of(const SpotGeometry& g, const Relief& map) {
  SpotNumbers numbers;
  numbers << g.diameter_mm, g.depth_mm, g.length_mm, g.width_mm, g.half_diameter_mm,
      averaged_curvature(map, g, bend_length_mm);
  return numbers;
}

SpotNumbers off_by(const SpotNumbers& numbers, const SpotNumbers& own) {
  return (numbers.array() / own.array().max(1e-6) - 1).matrix();
}

double reach_of(std::span<const SpotVector> parts) {
  const SpotVector& first = parts.front();
  double reach = longest_reach(first);
  for (const SpotVector& part : parts.subspan(1))
    reach = std::max(reach, std::hypot(part[s_x] - first[s_x], part[s_y] - first[s_y]) + longest_reach(part));
  return reach;
}

Relief draw_at(std::span<const SpotVector> spots, std::span<const SpotVector> parts, int cells) {
  return draw_spots(spots, parts.front()[s_x], parts.front()[s_y], reach_of(parts), cells);
}

SpotVector ellipse_of(const SpotGeometry& g, const SpotVector& like) {
  SpotVector s = like;
  s[s_x] = g.x_mm, s[s_y] = g.y_mm, s[s_angle] = g.angle_deg * std::numbers::pi / 180;
  s[s_log_a] = std::log(0.5 * g.length_mm);
  s[s_log_b] = std::log(0.5 * std::max(g.width_mm, 0.1 * g.length_mm));
  s[s_height] = 0;
  return s;
}

ShapeDoubt unexplained_doubt(double explained, double explained_at_start) {
  // What the re-drawn stripes leave over is shape that the surface does not have: relative uncertainty times
  // that share. And the more of it the spot left that the surface started from, the likelier a wrong fringe,
  // which a surface smooths over but never leaves: times share (share / doubt)^2. Fits that explained 0.7
  // were off by tens of per cent. Sized on ray-traced photos.
  constexpr double on_diameter = 0.1, on_depth = 0.3, doubt = 0.08;
  const double left = 1 - std::clamp(explained, 0.0, 1.0),
               left_at_start = 1 - std::clamp(explained_at_start, 0.0, 1.0);
  const double unexplained = std::hypot(left, left_at_start * std::pow(left_at_start / doubt, 2));
  return {on_diameter * unexplained, on_depth * unexplained};
}

ShapeDoubt line_doubt(const ResidualField& field, const SpotVector& spot) {
  // Sized on rendered photos, with another rounding of the line than the model's; what the middle adds, on
  // lines that a blow has flattened: their crest is no spot of the family.
  constexpr double on_diameter = 0.05, on_depth = 0.08, middle_on_depth = 0.1, middle = 0.5;
  const double share = share_on_line(field, spot);
  return {on_diameter * share,
          std::hypot(on_depth * share, middle_on_depth * share_on_line(field, spot, middle))};
}

void add_shape_terms(const ShapeDoubt& shape, const ShapeDoubt& unexplained, const ShapeDoubt& by_line,
                     const ShapeDoubt& model, std::vector<BudgetTerm>& budget) {
  const auto add = [&](const char* name, const char* note, const ShapeDoubt& doubt) {
    budget.push_back({name, note, 100 * doubt.diameter, 100 * doubt.depth});
  };
  add("shape", "free surface against parametric spot", shape);
  add("unexplained stripes", "what the re-drawn stripes leave over", unexplained);
  if (by_line.depth > 0) add("body line", "its own rounding hides part of the spot", by_line);
  add("model", "sized on ray-traced photos", model);
}

Quantity interval(double value, double relative) {
  const double factor = std::exp(coverage_factor_95 * relative);
  return {value, value / factor, value * factor};
}

double relative_uncertainty(const Quantity& q) { return std::log(q.high / q.low) / (2 * coverage_factor_95); }

Dent dent_of(const SpotAnswer& answer) {
  const SpotGeometry& g = answer.shape;
  const double u_d = answer.u_diameter, u_h = answer.u_depth;
  const SpotNumbers& spread = answer.spread;
  Dent dent;
  dent.kind = g.kind;
  dent.x_mm = g.x_mm, dent.y_mm = g.y_mm;
  dent.diameter_mm = interval(g.diameter_mm, u_d);
  dent.length_mm = interval(g.length_mm, std::hypot(u_d, spread[2]));
  dent.width_mm = interval(g.width_mm, std::hypot(u_d, spread[3]));
  dent.half_diameter_mm = interval(g.half_diameter_mm, std::hypot(u_d, spread[4]));
  dent.angle_deg = g.angle_deg;
  dent.depth_mm = interval(g.depth_mm, u_h);
  dent.max_slope_mrad = interval(1e3 * g.max_slope, std::hypot(u_h, u_d));
  if (answer.largest_curvature > 0)
    dent.min_radius_mm = interval(1 / answer.largest_curvature, std::hypot(u_h, 2 * u_d, 0.05));
  // How the slope changes is known as well as the slope is, and as the shape is.
  if (answer.averaged_curvature > 0)
    dent.bend_radius_mm = interval(1 / answer.averaged_curvature, std::hypot(u_h, u_d, spread[5]));
  dent.volume_mm3 = interval(g.volume_mm3, std::hypot(u_h, 2 * u_d));
  dent.outline = outline_polygon(answer.map, g);
  constexpr int section_points = 81;
  dent.deepest = g.deepest;
  dent.section = section_through(answer.map, g.deepest, g.angle_deg, 0.8 * g.length_mm, section_points);
  dent.cross_section =
      section_through(answer.map, g.deepest, g.angle_deg + 90, 0.8 * g.width_mm, section_points);
  return dent;
}

Relief one_map(const std::vector<const Relief*>& maps) {
  Relief map;
  if (maps.empty()) return map;
  double x0 = 1e9, y0 = 1e9, x1 = -1e9, y1 = -1e9;
  for (const Relief* m : maps) {
    x0 = std::min(x0, m->x0_mm), y0 = std::min(y0, m->y0_mm);
    x1 = std::max(x1, m->x0_mm + (m->columns - 1) * m->step_mm);
    y1 = std::max(y1, m->y0_mm + (m->rows - 1) * m->step_mm);
  }
  map.step_mm = std::max(0.1, std::max(x1 - x0, y1 - y0) / 800);
  map.x0_mm = x0, map.y0_mm = y0;
  map.columns = static_cast<int>((x1 - x0) / map.step_mm) + 1;
  map.rows = static_cast<int>((y1 - y0) / map.step_mm) + 1;
  map.height_mm.assign(static_cast<std::size_t>(map.columns) * map.rows, 0.0F);
  for (const Relief* m : maps)
    for (int r = 0; r < map.rows; ++r)
      for (int c = 0; c < map.columns; ++c)
        map.at(r, c) += static_cast<float>(height_at(*m, x0 + c * map.step_mm, y0 + r * map.step_mm));
  return map;
}

}  // namespace ripplegauge
