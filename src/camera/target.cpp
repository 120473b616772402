// Points of cards and chessboards, and how they are found in a photo.
#include "camera/target.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgproc.hpp>

#include "card/tag_detector.hpp"
#include "ripplegauge/core/errors.hpp"

namespace ripplegauge {
namespace {

/// Moves the origin to the middle of the points' extent.
void centre(CalibrationTarget& target) {
  const auto [left, right] =
      std::minmax_element(target.points.begin(), target.points.end(),
                          [](const auto& a, const auto& b) { return a.x_mm < b.x_mm; });
  const auto [low, high] = std::minmax_element(target.points.begin(), target.points.end(),
                                               [](const auto& a, const auto& b) { return a.y_mm < b.y_mm; });
  const double x = 0.5 * (left->x_mm + right->x_mm), y = 0.5 * (low->y_mm + high->y_mm);
  for (TargetPoint& p : target.points) {
    p.x_mm -= x, p.y_mm -= y;
    target.half_size_mm = std::max(target.half_size_mm, std::hypot(p.x_mm, p.y_mm));
  }
}

/// Points that all lie near one line do not fix a plane.
bool spread_out(const std::vector<cv::Point2d>& points) {
  std::vector<cv::Point2f> single(points.begin(), points.end());
  const cv::Size2f box = cv::minAreaRect(single).size;
  return std::min(box.width, box.height) > 0.2f * std::max(box.width, box.height);
}

/// The least distance between neighbours in a grid of points, along rows and columns.
double shortest_step(const std::vector<cv::Point2f>& grid, std::size_t columns) {
  double shortest = std::numeric_limits<double>::infinity();
  for (std::size_t i = 0; i < grid.size(); ++i) {
    if ((i + 1) % columns != 0) shortest = std::min(shortest, cv::norm(grid[i + 1] - grid[i]));
    if (i + columns < grid.size()) shortest = std::min(shortest, cv::norm(grid[i + columns] - grid[i]));
  }
  return shortest;
}

}  // namespace

CalibrationTarget card_target(const CardDefinition& card) {
  constexpr double sx[4] = {-1, 1, 1, -1}, sy[4] = {1, 1, -1, -1};
  CalibrationTarget target{card.name.empty() ? "card" : card.name, {}, 0};
  const double half = 0.5 * card.tag_side_mm;
  for (const CardTag& tag : card.tags)
    for (std::size_t k = 0; k < 4; ++k)
      target.points.push_back({tag.x_mm + sx[k] * half, tag.y_mm + sy[k] * half, sx[k], sy[k]});
  centre(target);
  return target;
}

void Chessboard::validate() const {
  if (columns < 3 || rows < 3 || columns > 60 || rows > 60)
    throw UsageError(
        "a chessboard needs from 3 to 60 inner corners each way (places where four squares meet)");
  if (!(square_mm > 0 && square_mm <= 1000))
    throw UsageError("a chessboard's square must be above 0 and at most 1000 mm wide");
}

CalibrationTarget chessboard_target(const Chessboard& board) {
  board.validate();
  CalibrationTarget target{"chessboard of " + std::to_string(board.columns) + " x " +
                               std::to_string(board.rows) + " inner corners",
                           {},
                           0};
  for (int row = 0; row < board.rows; ++row)
    for (int column = 0; column < board.columns; ++column)
      target.points.push_back({column * board.square_mm, row * board.square_mm, 0, 0});
  centre(target);
  return target;
}

TargetView see_card(const cv::Mat& grey, const CardDefinition& card) {
  const std::vector<SeenTag> tags = find_tags(grey);
  std::map<int, int> times;
  for (const SeenTag& tag : tags) ++times[tag.id];
  TargetView view;
  for (const SeenTag& tag : tags)
    for (std::size_t i = 0; i < card.tags.size(); ++i)
      if (card.tags[i].id == tag.id && times[tag.id] == 1)
        for (std::size_t k = 0; k < 4; ++k) {
          view.points.push_back(4 * i + k);
          view.pixels.push_back(tag.corners_px[k]);
        }
  constexpr std::size_t fewest_corners = 16;  // four tags
  if (view.points.empty())
    view.problem = tags.empty() ? "no tag can be read in it" : "none of its tags is the card's";
  else if (view.points.size() < std::min(fewest_corners, 4 * card.tags.size()) || !spread_out(view.pixels))
    view.problem = "too little of the card can be read in it (" + std::to_string(view.points.size() / 4) +
                   " of " + std::to_string(card.tags.size()) + " tags)";
  if (!view.problem.empty()) view.points.clear(), view.pixels.clear();
  return view;
}

TargetView see_chessboard(const cv::Mat& grey, const Chessboard& board) {
  board.validate();
  // The search costs seconds at full size; on a reduced picture it finds the corners to a pixel or so.
  constexpr int search_side_px = 1600;
  const int factor = std::max(
      1, static_cast<int>(std::lround(static_cast<double>(std::max(grey.cols, grey.rows)) / search_side_px)));
  cv::Mat reduced = grey;
  if (factor > 1)
    cv::resize(grey(cv::Rect(0, 0, grey.cols / factor * factor, grey.rows / factor * factor)), reduced,
               cv::Size(grey.cols / factor, grey.rows / factor), 0, 0, cv::INTER_AREA);
  std::vector<cv::Point2f> corners;
  TargetView view;
  // Stretching the contrast helps in dim photos and loses the board in others.
  const cv::Size inner(board.columns, board.rows);
  if (!cv::findChessboardCornersSB(reduced, inner, corners, 0) &&
      !cv::findChessboardCornersSB(reduced, inner, corners, cv::CALIB_CB_NORMALIZE_IMAGE)) {
    view.problem = "no whole chessboard of " + std::to_string(board.columns) + " x " +
                   std::to_string(board.rows) + " inner corners can be seen in it";
    return view;
  }
  const double shortest = shortest_step(corners, static_cast<std::size_t>(board.columns)) * factor;
  const float shift = 0.5f * static_cast<float>(factor - 1);
  for (cv::Point2f& p : corners) p = p * static_cast<float>(factor) + cv::Point2f(shift, shift);
  const int window = std::clamp(static_cast<int>(0.3 * shortest), 2, 12);
  cv::cornerSubPix(grey, corners, cv::Size(window, window), cv::Size(-1, -1),
                   cv::TermCriteria(cv::TermCriteria::COUNT + cv::TermCriteria::EPS, 40, 0.001));
  for (std::size_t i = 0; i < corners.size(); ++i) {
    view.points.push_back(i);
    view.pixels.emplace_back(corners[i].x, corners[i].y);
  }
  return view;
}

}  // namespace ripplegauge
