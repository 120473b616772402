// From heights to a spot's numbers: the contour at a tenth of its height, moments, sections, bends.
#include "relief/spot_geometry.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <numbers>

namespace ripplegauge {
namespace {

struct Region {
  double area_mm2 = 0, x_mm = 0, y_mm = 0, xx = 0, yy = 0, xy = 0, volume_mm3 = 0;
  bool touches_border = false;
  std::vector<std::uint8_t> inside;  ///< cells of the connected region
};

/// The connected region where sign * height >= level about the peak cell, with fractional cells on its edge.
Region region_above(const Relief& m, double sign, double level, int peak_row, int peak_column) {
  Region region;
  region.inside.assign(static_cast<std::size_t>(m.rows) * m.columns, 0);
  std::vector<int> open{peak_row * m.columns + peak_column};
  region.inside[static_cast<std::size_t>(open[0])] = 1;
  while (!open.empty()) {
    const int at = open.back();
    open.pop_back();
    const int r = at / m.columns, c = at % m.columns;
    const int next[4][2] = {{r + 1, c}, {r - 1, c}, {r, c + 1}, {r, c - 1}};
    for (const auto& n : next) {
      if (n[0] < 0 || n[1] < 0 || n[0] >= m.rows || n[1] >= m.columns) {
        region.touches_border = true;
        continue;
      }
      auto& mark = region.inside[static_cast<std::size_t>(n[0]) * m.columns + n[1]];
      if (mark || !(sign * m.at(n[0], n[1]) >= level)) continue;
      mark = 1;
      open.push_back(n[0] * m.columns + n[1]);
    }
  }
  double weight = 0, sx = 0, sy = 0, sxx = 0, syy = 0, sxy = 0, sz = 0;
  for (int r = 1; r + 1 < m.rows; ++r)
    for (int c = 1; c + 1 < m.columns; ++c) {
      const auto in = [&](int rr, int cc) {
        return region.inside[static_cast<std::size_t>(rr) * m.columns + cc] != 0;
      };
      if (!(in(r, c) || in(r + 1, c) || in(r - 1, c) || in(r, c + 1) || in(r, c - 1))) continue;
      const double z = sign * m.at(r, c);
      const double gx = 0.5 * (m.at(r, c + 1) - m.at(r, c - 1)), gy = 0.5 * (m.at(r + 1, c) - m.at(r - 1, c));
      const double g = std::max(std::abs(gx) + std::abs(gy), 1e-12);
      const double coverage = std::clamp(0.5 + (z - level) / g, 0.0, 1.0);
      if (coverage <= 0) continue;
      const double x = m.x0_mm + c * m.step_mm, y = m.y0_mm + r * m.step_mm;
      weight += coverage, sx += coverage * x, sy += coverage * y, sz += coverage * z;
      sxx += coverage * x * x, syy += coverage * y * y, sxy += coverage * x * y;
    }
  if (weight <= 0) return region;
  const double cell = m.step_mm * m.step_mm;
  region.area_mm2 = weight * cell;
  region.volume_mm3 = sz * cell;
  region.x_mm = sx / weight, region.y_mm = sy / weight;
  region.xx = sxx / weight - region.x_mm * region.x_mm + cell / 12;
  region.yy = syy / weight - region.y_mm * region.y_mm + cell / 12;
  region.xy = sxy / weight - region.x_mm * region.y_mm;
  return region;
}

double diameter_of(double area) { return 2 * std::sqrt(area / std::numbers::pi); }

}  // namespace

double height_at(const Relief& m, double x_mm, double y_mm) {
  const double u = (x_mm - m.x0_mm) / m.step_mm, v = (y_mm - m.y0_mm) / m.step_mm;
  if (!(u >= 0 && v >= 0 && u < m.columns - 1 && v < m.rows - 1)) return 0;
  const int c = static_cast<int>(u), r = static_cast<int>(v);
  const double fu = u - c, fv = v - r;
  return (m.at(r, c) * (1 - fu) + m.at(r, c + 1) * fu) * (1 - fv) +
         (m.at(r + 1, c) * (1 - fu) + m.at(r + 1, c + 1) * fu) * fv;
}

SpotGeometry measure_spot(const Relief& m) {
  SpotGeometry g;
  int peak_row = 0, peak_column = 0;
  double peak = 0;
  for (int r = 0; r < m.rows; ++r)
    for (int c = 0; c < m.columns; ++c)
      if (std::abs(m.at(r, c)) > std::abs(peak)) peak = m.at(r, c), peak_row = r, peak_column = c;
  if (peak == 0 || m.rows < 3 || m.columns < 3) return g;
  const double sign = peak < 0 ? -1 : 1;
  g.kind = peak < 0 ? Kind::low : Kind::high;
  g.depth_mm = std::abs(peak);
  g.deepest = {m.x0_mm + peak_column * m.step_mm, m.y0_mm + peak_row * m.step_mm};
  const Region tenth = region_above(m, sign, 0.1 * g.depth_mm, peak_row, peak_column);
  const Region half = region_above(m, sign, 0.5 * g.depth_mm, peak_row, peak_column);
  g.x_mm = tenth.x_mm, g.y_mm = tenth.y_mm;
  g.diameter_mm = diameter_of(tenth.area_mm2);
  g.half_diameter_mm = diameter_of(half.area_mm2);
  const double mean = 0.5 * (tenth.xx + tenth.yy), root = std::hypot(0.5 * (tenth.xx - tenth.yy), tenth.xy);
  g.length_mm = 4 * std::sqrt(mean + root);
  g.width_mm = 4 * std::sqrt(std::max(mean - root, 0.0));
  g.angle_deg = 0.5 * std::atan2(2 * tenth.xy, tenth.xx - tenth.yy) * 180 / std::numbers::pi;
  if (g.angle_deg < 0) g.angle_deg += 180;
  g.volume_mm3 = tenth.volume_mm3;
  g.touches_border = tenth.touches_border;
  const double s = m.step_mm;
  double steepest_square = 0;
  for (int r = 1; r + 1 < m.rows; ++r)
    for (int c = 1; c + 1 < m.columns; ++c) {
      const double z = m.at(r, c);
      const double gx = 0.5 * (m.at(r, c + 1) - m.at(r, c - 1)) / s,
                   gy = 0.5 * (m.at(r + 1, c) - m.at(r - 1, c)) / s;
      steepest_square = std::max(steepest_square, gx * gx + gy * gy);
      g.opposite_peak_mm = std::max(g.opposite_peak_mm, -sign * z);
      if (!tenth.inside[static_cast<std::size_t>(r) * m.columns + c]) continue;
      const double xx = (m.at(r, c + 1) - 2 * z + m.at(r, c - 1)) / (s * s),
                   yy = (m.at(r + 1, c) - 2 * z + m.at(r - 1, c)) / (s * s);
      const double xy = 0.25 *
                        (m.at(r + 1, c + 1) - m.at(r + 1, c - 1) - m.at(r - 1, c + 1) + m.at(r - 1, c - 1)) /
                        (s * s);
      const double half_difference = 0.5 * (xx - yy);
      g.max_curvature = std::max(g.max_curvature, std::abs(0.5 * (xx + yy)) +
                                                      std::sqrt(half_difference * half_difference + xy * xy));
    }
  g.max_slope = std::sqrt(steepest_square);
  return g;
}

std::vector<PointMm> outline_polygon(const Relief& m, const SpotGeometry& g) {
  const double level = 0.1 * g.depth_mm, sign = g.kind == Kind::low ? -1 : 1;
  int peak_row = 0, peak_column = 0;
  double peak = 0;
  for (int r = 0; r < m.rows; ++r)
    for (int c = 0; c < m.columns; ++c)
      if (sign * m.at(r, c) > peak) peak = sign * m.at(r, c), peak_row = r, peak_column = c;
  const Region region = region_above(m, sign, level, peak_row, peak_column);
  const auto in = [&](int r, int c) {
    return r >= 0 && c >= 0 && r < m.rows && c < m.columns &&
           region.inside[static_cast<std::size_t>(r) * m.columns + c] != 0;
  };
  // Walk the boundary of the cell set (Moore neighbours), then move each boundary cell onto the contour.
  int row = -1, column = -1;
  for (int r = 0; r < m.rows && row < 0; ++r)
    for (int c = 0; c < m.columns; ++c)
      if (in(r, c)) {
        row = r, column = c;
        break;
      }
  std::vector<PointMm> polygon;
  if (row < 0) return polygon;
  const int dr[8] = {0, 1, 1, 1, 0, -1, -1, -1}, dc[8] = {1, 1, 0, -1, -1, -1, 0, 1};
  const int start_row = row, start_column = column;
  int from = 6;
  for (std::size_t steps = 0; steps < 8U * static_cast<std::size_t>(m.rows + m.columns) * 4U; ++steps) {
    const double gx = 0.5 * (height_at(m, m.x0_mm + (column + 1) * m.step_mm, m.y0_mm + row * m.step_mm) -
                             height_at(m, m.x0_mm + (column - 1) * m.step_mm, m.y0_mm + row * m.step_mm));
    const double gy = 0.5 * (height_at(m, m.x0_mm + column * m.step_mm, m.y0_mm + (row + 1) * m.step_mm) -
                             height_at(m, m.x0_mm + column * m.step_mm, m.y0_mm + (row - 1) * m.step_mm));
    const double norm2 = gx * gx + gy * gy;
    double t = norm2 > 0 ? (sign * m.at(row, column) - level) / norm2 : 0;
    const double longest = 1.0;  // cells
    t = std::clamp(t, -longest / std::sqrt(norm2 + 1e-30), longest / std::sqrt(norm2 + 1e-30));
    polygon.push_back(
        {m.x0_mm + (column - sign * t * gx) * m.step_mm, m.y0_mm + (row - sign * t * gy) * m.step_mm});
    bool moved = false;
    for (int k = 0; k < 8; ++k) {
      const int direction = (from + 1 + k) % 8;
      if (!in(row + dr[direction], column + dc[direction])) continue;
      row += dr[direction], column += dc[direction];
      from = (direction + 4) % 8;
      moved = true;
      break;
    }
    if (!moved || (row == start_row && column == start_column)) break;
  }
  return polygon;
}

std::vector<ProfilePoint> section_through(const Relief& m, PointMm point, double angle_deg, double reach_mm,
                                          int points) {
  std::vector<ProfilePoint> section;
  const double a = angle_deg * std::numbers::pi / 180;
  for (int i = 0; i < points; ++i) {
    const double s = reach_mm * (2.0 * i / (points - 1) - 1);
    section.push_back({s, height_at(m, point.x_mm + s * std::cos(a), point.y_mm + s * std::sin(a))});
  }
  return section;
}

double averaged_curvature(const Relief& m, const SpotGeometry& g, double length_mm) {
  constexpr int directions = 12, most_places = 40;  // along one side; the average changes slowly with both
  const double sign = g.kind == Kind::low ? -1 : 1, half = 0.5 * length_mm, step = m.step_mm;
  const int stride = std::max({1, m.rows / most_places, m.columns / most_places});
  double largest = 0;
  for (int direction = 0; direction < directions; ++direction) {
    const double angle = std::numbers::pi * direction / directions;
    const double ux = std::cos(angle), uy = std::sin(angle);
    for (int r = 0; r < m.rows; r += stride)
      for (int c = 0; c < m.columns; c += stride) {
        if (sign * m.at(r, c) < 0.1 * g.depth_mm) continue;
        const auto along = [&](double s) {
          return height_at(m, m.x0_mm + c * step + s * ux, m.y0_mm + r * step + s * uy);
        };
        const double slope_there = (along(half + step) - along(half - step)) / (2 * step),
                     slope_here = (along(-half + step) - along(-half - step)) / (2 * step);
        largest = std::max(largest, std::abs(slope_there - slope_here) / length_mm);
      }
  }
  return largest;
}

}  // namespace ripplegauge
