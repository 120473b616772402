// Contour lines of a grid: marching squares, pieces joined by the edges of the grid that they cross.
#include "contours.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <unordered_map>

namespace ripplegauge::picture_detail {
namespace {

/// The contour crosses an edge of the grid at most once; edges are numbered so that neighbours share them.
using EdgeId = long;

class MarchingSquares {
 public:
  MarchingSquares(const Relief& relief, double level) : relief_(relief), level_(level) {
    for (int row = 0; row + 1 < relief.rows; ++row)
      for (int column = 0; column + 1 < relief.columns; ++column) visit_cell(row, column);
  }

  std::vector<ContourLine> lines() {
    std::vector<ContourLine> lines;
    // Ends first, so that what is left are rings.
    for (const bool from_ends : {true, false})
      for (const EdgeId edge : order_)
        if (!next_.at(edge).empty() && (!from_ends || next_.at(edge).size() == 1))
          lines.push_back(follow(edge));
    return lines;
  }

 private:
  bool above(int row, int column) const { return relief_.at(row, column) >= level_; }

  void visit_cell(int row, int column) {
    const std::array<bool, 4> corner = {above(row, column), above(row, column + 1),
                                        above(row + 1, column + 1), above(row + 1, column)};
    double sum = 0;
    for (const auto& [r, c] : {std::pair{0, 0}, {0, 1}, {1, 1}, {1, 0}})
      sum += relief_.at(row + r, column + c);
    if (!std::isfinite(sum)) return;
    // Edge i runs from corner i to corner i + 1.
    const std::array<EdgeId, 4> edge = {along(row, column), across(row, column + 1), along(row + 1, column),
                                        across(row, column)};
    std::vector<EdgeId> crossed;
    for (std::size_t i = 0; i < 4; ++i)
      if (corner[i] != corner[(i + 1) % 4]) crossed.push_back(edge[i]);
    if (crossed.size() == 2) join(crossed[0], crossed[1]);
    if (crossed.size() != 4) return;
    // A saddle: the cell's mean says which opposite corners hang together.
    const bool middle_above = sum / 4 >= level_;
    if (middle_above == corner[0]) {
      join(edge[0], edge[1]);
      join(edge[2], edge[3]);
    } else {
      join(edge[3], edge[0]);
      join(edge[1], edge[2]);
    }
  }

  EdgeId along(int row, int column) const {
    return 2 * (static_cast<EdgeId>(row) * relief_.columns + column);
  }
  EdgeId across(int row, int column) const { return along(row, column) + 1; }

  GridPoint point_on(EdgeId edge) const {
    const int row = static_cast<int>(edge / 2 / relief_.columns),
              column = static_cast<int>(edge / 2 % relief_.columns);
    const bool is_across = edge % 2 == 1;
    const double from = relief_.at(row, column);
    const double to = is_across ? relief_.at(row + 1, column) : relief_.at(row, column + 1);
    const double t = (level_ - from) / (to - from);
    return is_across ? GridPoint{row + t, static_cast<double>(column)}
                     : GridPoint{static_cast<double>(row), column + t};
  }

  void join(EdgeId a, EdgeId b) {
    for (const EdgeId edge : {a, b})
      if (next_.find(edge) == next_.end()) order_.push_back(edge);
    next_[a].push_back(b);
    next_[b].push_back(a);
  }

  /// Walks from edge to edge, taking the pieces away; a ring ends where it began.
  ContourLine follow(EdgeId edge) {
    ContourLine line = {point_on(edge)};
    while (!next_.at(edge).empty()) {
      const EdgeId to = next_.at(edge).back();
      next_.at(edge).pop_back();
      std::vector<EdgeId>& back = next_.at(to);
      back.erase(std::find(back.begin(), back.end(), edge));
      line.push_back(point_on(to));
      edge = to;
    }
    return line;
  }

  const Relief& relief_;
  double level_;
  std::unordered_map<EdgeId, std::vector<EdgeId>> next_;
  std::vector<EdgeId> order_;  ///< as found, so that the result does not hang on the map's order
};

}  // namespace

std::vector<ContourLine> contour_lines(const Relief& relief, double height_mm) {
  return MarchingSquares(relief, height_mm).lines();
}

}  // namespace ripplegauge::picture_detail
