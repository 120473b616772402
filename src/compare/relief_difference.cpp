// Two reliefs on one grid, the second moved by the card's motion: difference, scatter round a spot, sections.
#include "compare/relief_difference.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "core/expects.hpp"

namespace ripplegauge {

namespace {

constexpr double degree = std::numbers::pi / 180;
constexpr double infinite = std::numeric_limits<double>::infinity();
constexpr int most_grid_cells = 2000;  // along one side: more than a picture shows
constexpr double nan_value = std::numeric_limits<double>::quiet_NaN();
constexpr std::size_t fewest_for_scatter = 50;
constexpr int section_points = 121;

bool inside(PointMm point, const std::vector<PointMm>& outline) {
  bool in = false;
  for (std::size_t i = 0, j = outline.size() - 1; i < outline.size(); j = i++) {
    const PointMm a = outline[i], b = outline[j];
    if ((a.y_mm > point.y_mm) != (b.y_mm > point.y_mm) &&
        point.x_mm < a.x_mm + (point.y_mm - a.y_mm) / (b.y_mm - a.y_mm) * (b.x_mm - a.x_mm))
      in = !in;
  }
  return in;
}

/// The last grid line belongs to the relief. No comparison holds for NaN.
bool covers(const Relief& relief, PointMm point) {
  if (relief.empty() || !(relief.step_mm > 0)) return false;
  const double column = (point.x_mm - relief.x0_mm) / relief.step_mm;
  const double row = (point.y_mm - relief.y0_mm) / relief.step_mm;
  return column >= 0 && row >= 0 && column <= relief.columns - 1 && row <= relief.rows - 1;
}

std::vector<PointMm> corners_of(const Relief& relief) {
  if (relief.empty()) return {};
  const double x1 = relief.x0_mm + (relief.columns - 1) * relief.step_mm;
  const double y1 = relief.y0_mm + (relief.rows - 1) * relief.step_mm;
  return {{relief.x0_mm, relief.y0_mm}, {x1, relief.y0_mm}, {x1, y1}, {relief.x0_mm, y1}};
}

/// Linear between the points of a section; NaN outside.
double height_along(const std::vector<ProfilePoint>& section, double along_mm) {
  for (std::size_t i = 1; i < section.size(); ++i) {
    const ProfilePoint a = section[i - 1], b = section[i];
    if (along_mm < a.along_mm || along_mm > b.along_mm || !(b.along_mm > a.along_mm)) continue;
    return a.height_mm + (along_mm - a.along_mm) / (b.along_mm - a.along_mm) * (b.height_mm - a.height_mm);
  }
  return nan_value;
}

double median_of(std::vector<double>& values) {
  expects(!values.empty(), "values to take the middle of");
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

}  // namespace

double height_at(const Relief& relief, PointMm point) {
  if (!covers(relief, point)) return nan_value;
  const double column = (point.x_mm - relief.x0_mm) / relief.step_mm;
  const double row = (point.y_mm - relief.y0_mm) / relief.step_mm;
  const int c = std::min(static_cast<int>(column), std::max(0, relief.columns - 2));
  const int r = std::min(static_cast<int>(row), std::max(0, relief.rows - 2));
  const int c1 = std::min(c + 1, relief.columns - 1), r1 = std::min(r + 1, relief.rows - 1);
  const double u = column - c, v = row - r;
  // A point on a grid line needs no neighbour beyond it, even one that was not measured.
  const auto blend = [](double a, double b, double t) { return t == 0 ? a : t == 1 ? b : a + t * (b - a); };
  return blend(blend(relief.at(r, c), relief.at(r, c1), u), blend(relief.at(r1, c), relief.at(r1, c1), u), v);
}

double height_or_flat(const Relief& relief, PointMm point) {
  return covers(relief, point) ? height_at(relief, point) : 0;
}

ReliefPair on_one_grid(const Relief& before, const Relief& after, const CardMotion& motion) {
  double x0 = std::numeric_limits<double>::infinity(), y0 = x0, x1 = -x0, y1 = -x0;
  const auto include = [&](PointMm point) {
    x0 = std::min(x0, point.x_mm);
    y0 = std::min(y0, point.y_mm);
    x1 = std::max(x1, point.x_mm);
    y1 = std::max(y1, point.y_mm);
  };
  for (const PointMm corner : corners_of(before)) include(corner);
  for (const PointMm corner : corners_of(after)) include(motion.before_from_after(corner));
  ReliefPair pair;
  if (!(x1 > x0) || !(y1 > y0)) return pair;

  const double finest =
      std::min(before.empty() ? infinite : before.step_mm, after.empty() ? infinite : after.step_mm);
  // A moved card or a spot far away must not make a grid of any size.
  const double step = std::max(finest, std::max(x1 - x0, y1 - y0) / most_grid_cells);
  Relief grid;
  grid.x0_mm = x0;
  grid.y0_mm = y0;
  grid.step_mm = step;
  grid.columns = static_cast<int>((x1 - x0) / step + 1e-6) + 1;
  grid.rows = static_cast<int>((y1 - y0) / step + 1e-6) + 1;
  grid.height_mm.resize(static_cast<std::size_t>(grid.columns) * static_cast<std::size_t>(grid.rows));
  pair = {grid, grid};
  for (int row = 0; row < grid.rows; ++row) {
    for (int column = 0; column < grid.columns; ++column) {
      const PointMm point{x0 + column * step, y0 + row * step};
      pair.before.at(row, column) = static_cast<float>(height_or_flat(before, point));
      pair.after.at(row, column) = static_cast<float>(height_or_flat(after, motion.after_from_before(point)));
    }
  }
  return pair;
}

Relief difference_of(const ReliefPair& pair) {
  expects(pair.before.height_mm.size() == pair.after.height_mm.size(), "both reliefs on one grid");
  Relief difference = pair.after;
  for (std::size_t i = 0; i < difference.height_mm.size(); ++i)
    difference.height_mm[i] -= pair.before.height_mm[i];
  return difference;
}

Seen seen(const Relief& relief, PointMm centre, const Dent& spot, double least_share) {
  // The outline where there is one, else the circle of the same area, on a grid of 21 by 21 points.
  constexpr int steps = 10;
  double reach = 0.5 * spot.diameter_mm.value;
  for (const PointMm& point : spot.outline)
    reach = std::max(reach, std::hypot(point.x_mm - spot.x_mm, point.y_mm - spot.y_mm));
  int points = 0, covered = 0, measured = 0;
  for (int i = -steps; i <= steps; ++i) {
    for (int j = -steps; j <= steps; ++j) {
      const double dx = reach * i / steps, dy = reach * j / steps;
      const bool belongs = spot.outline.size() >= 3 ? inside({spot.x_mm + dx, spot.y_mm + dy}, spot.outline)
                                                    : std::hypot(dx, dy) <= 0.5 * spot.diameter_mm.value;
      if (!belongs) continue;
      const PointMm place{centre.x_mm + dx, centre.y_mm + dy};
      ++points;
      covered += covers(relief, place) ? 1 : 0;
      measured += std::isfinite(height_at(relief, place)) ? 1 : 0;
    }
  }
  if (points == 0 || covered < least_share * points) return Seen::unknown;
  return measured >= least_share * points ? Seen::yes : Seen::no;
}

std::optional<double> scatter_mm(const Relief& relief, PointMm centre, double radius_mm,
                                 const std::vector<Dent>& spots) {
  std::vector<double> heights;
  for (int row = 0; row < relief.rows; ++row) {
    for (int column = 0; column < relief.columns; ++column) {
      const PointMm point{relief.x0_mm + column * relief.step_mm, relief.y0_mm + row * relief.step_mm};
      const double height = relief.at(row, column);
      if (!std::isfinite(height) ||
          std::hypot(point.x_mm - centre.x_mm, point.y_mm - centre.y_mm) > radius_mm)
        continue;
      const bool in_a_spot = std::any_of(spots.begin(), spots.end(), [&](const Dent& spot) {
        return std::hypot(point.x_mm - spot.x_mm, point.y_mm - spot.y_mm) < 0.6 * spot.length_mm.value;
      });
      if (!in_a_spot) heights.push_back(height);
    }
  }
  if (heights.size() < fewest_for_scatter) return std::nullopt;
  const double middle = median_of(heights);
  for (double& height : heights) height = std::abs(height - middle);
  constexpr double deviation_per_median = 1.4826;  // of a normal distribution
  const double scatter = deviation_per_median * median_of(heights);
  return scatter > 0 ? std::optional(scatter) : std::nullopt;
}

std::vector<SectionPoint> compared_section(const Dent& before, const Relief& relief_before, const Dent* after,
                                           const Relief& relief_after, const CardMotion& motion,
                                           bool nothing_after) {
  const double reach = 1.5 * (before.length_mm.value > 0 ? before.length_mm.value : before.diameter_mm.value);
  const double cosine = std::cos(before.angle_deg * degree), sine = std::sin(before.angle_deg * degree);
  std::vector<SectionPoint> section;
  bool any = false;
  for (int i = 0; i < section_points; ++i) {
    SectionPoint point;
    point.along_mm = reach * (2.0 * i / (section_points - 1) - 1);
    const PointMm place{before.x_mm + cosine * point.along_mm, before.y_mm + sine * point.along_mm};
    point.before_mm = relief_before.empty() ? height_along(before.section, point.along_mm)
                                            : height_or_flat(relief_before, place);
    any = any || std::isfinite(point.before_mm);
    if (!relief_after.empty() || nothing_after)
      point.after_mm = height_or_flat(relief_after, motion.after_from_before(place));
    else if (after != nullptr)
      point.after_mm = height_along(after->section, point.along_mm);
    section.push_back(point);
  }
  if (!any) section.clear();
  return section;
}

}  // namespace ripplegauge
