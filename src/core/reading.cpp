// What a reading can be asked: which places were judged, and its status as a word.
#include "ripplegauge/core/reading.hpp"

#include <algorithm>
#include <cmath>

namespace ripplegauge {

std::vector<BodyLine> Setup::body_lines() const {
  std::vector<BodyLine> lines;
  for (const auto& line : {body_line, second_body_line})
    if (line) lines.push_back(*line);
  return lines;
}

bool JudgedArea::covers(double x_mm, double y_mm) const {
  if (!(cell_mm > 0)) return false;
  const double row = std::floor((y_mm - y0_mm) / cell_mm), column = std::floor((x_mm - x0_mm) / cell_mm);
  if (!(row >= 0 && row < static_cast<double>(rows.size()) && column >= 0)) return false;
  const std::string& cells = rows[static_cast<std::size_t>(row)];
  return column < static_cast<double>(cells.size()) && cells[static_cast<std::size_t>(column)] == '#';
}

double JudgedArea::covered_share(double x_mm, double y_mm, double diameter_mm) const {
  if (!(cell_mm > 0)) return 0;
  const double radius_mm = 0.5 * diameter_mm, step_mm = std::max(0.5 * cell_mm, diameter_mm / 64);
  int inside = 0, judged = 0;
  for (double dy = -radius_mm; dy <= radius_mm; dy += step_mm)
    for (double dx = -radius_mm; dx <= radius_mm; dx += step_mm) {
      if (dx * dx + dy * dy > radius_mm * radius_mm) continue;
      ++inside;
      judged += covers(x_mm + dx, y_mm + dy);
    }
  return inside == 0 ? (covers(x_mm, y_mm) ? 1 : 0) : static_cast<double>(judged) / inside;
}

const char* to_string(Kind kind) { return kind == Kind::low ? "low" : "high"; }

const char* to_string(Status status) {
  switch (status) {
    case Status::measured:
      return "measured";
    case Status::no_dent:
      return "no_dent";
    case Status::refused:
      return "refused";
  }
  return "refused";
}

}  // namespace ripplegauge
