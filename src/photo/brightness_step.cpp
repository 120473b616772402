// Finds what a single wrong bit leaves behind in a JPEG whose decoder had nothing to complain of.
#include "brightness_step.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <vector>

namespace ripplegauge::photo_detail {
namespace {

/// What the upper edge of a coding unit shows.
enum class Edge : std::int8_t { even, brighter_below, darker_below, blind };

/// The jump of a column between the rows `y - 1` and `y`, doubled, less what the slopes on both sides make of
/// it: zero where brightness runs on, however steeply.
int doubled_jump(const std::uint8_t* const rows[4], int x) {
  return 3 * (rows[2][x] - rows[1][x]) + rows[0][x] - rows[3][x];
}

int median(std::vector<int>& values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

Edge edge_above(const std::uint8_t* const rows[4], int x0, int width, int least_doubled,
                std::vector<int>& jumps) {
  int burnt_out = 0;
  jumps.clear();
  for (int x = x0; x < x0 + width; ++x) {
    jumps.push_back(doubled_jump(rows, x));
    burnt_out += (rows[1][x] == rows[2][x] && (rows[1][x] <= 1 || rows[1][x] >= 254)) ? 1 : 0;
  }
  if (2 * burnt_out > width) return Edge::blind;
  const int jump = median(jumps);
  if (jump >= least_doubled) return Edge::brighter_below;
  return jump <= -least_doubled ? Edge::darker_below : Edge::even;
}

/// Of all coding units in the order in which they are coded, but for the first row of them.
std::vector<Edge> edges_of(const cv::Mat& grey, cv::Size unit_px, int least_doubled) {
  const int units = grey.cols / unit_px.width;
  std::vector<Edge> edges;
  std::vector<int> jumps;
  for (int y = unit_px.height; y + 1 < grey.rows; y += unit_px.height) {
    const std::uint8_t* const rows[4] = {grey.ptr(y - 2), grey.ptr(y - 1), grey.ptr(y), grey.ptr(y + 1)};
    for (int i = 0; i < units; ++i)
      edges.push_back(edge_above(rows, i * unit_px.width, unit_px.width, least_doubled, jumps));
  }
  return edges;
}

}  // namespace

std::optional<int> brightness_step(const cv::Mat& grey, cv::Size unit_px, double mean_step_grey) {
  // Means are told in whole steps. A slope too slight for what its own coefficient is told in comes out as a
  // staircase of one step, or of two: that is compression, not damage.
  constexpr double steps_of_a_staircase = 2;
  const int least_doubled =
      std::max(2, static_cast<int>(std::ceil(2 * (steps_of_a_staircase + 0.5) * mean_step_grey)));
  // A scene has no edge of one pixel that keeps to the same row all over a photo, and where noise alone tells
  // which way an edge goes, that most go the same way is a matter of standard deviations.
  constexpr int fewest_units = 80;
  constexpr double share_that_sees = 0.25, deviations = 6;
  const int units = grey.cols / unit_px.width;
  if (units < fewest_units) return std::nullopt;
  const std::vector<Edge> edges = edges_of(grey, unit_px, least_doubled);
  int counts[4] = {0, 0, 0, 0};
  const auto count = [&](Edge edge) -> int& { return counts[static_cast<int>(edge)]; };
  for (std::size_t i = 0; i < edges.size(); ++i) {
    ++count(edges[i]);
    if (i + 1 < static_cast<std::size_t>(units)) continue;
    const int seeing = units - count(Edge::blind);
    const int jumping = std::max(count(Edge::brighter_below), count(Edge::darker_below));
    const std::size_t first = i + 1 - static_cast<std::size_t>(units);
    if (seeing >= share_that_sees * units && 2 * jumping - seeing >= deviations * std::sqrt(seeing))
      return static_cast<int>(first / static_cast<std::size_t>(units) + 1) * unit_px.height;
    --count(edges[first]);
  }
  return std::nullopt;
}

}  // namespace ripplegauge::photo_detail
