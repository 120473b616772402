// Flat things with known points that a camera can be calibrated with: a printed card of tags, a chessboard.
#pragma once

#include <opencv2/core/mat.hpp>
#include <string>
#include <vector>

#include "ripplegauge/core/card_definition.hpp"

namespace ripplegauge {

/// A corner on the target, in nominal millimetres from the target's middle, and the direction in which ink
/// that runs fat moves it (0: not at all, as where four squares of a chessboard meet).
struct TargetPoint {
  double x_mm = 0, y_mm = 0;
  double ink_x = 0, ink_y = 0;
};

struct CalibrationTarget {
  std::string name;
  std::vector<TargetPoint> points;
  double half_size_mm = 0;  ///< largest distance of a point from the middle
};

/// Four corners a tag, in the order of card.tags and of SeenTag::corners_px.
CalibrationTarget card_target(const CardDefinition& card);

/// Inner corners of a chessboard: `columns` along x, `rows` along y.
struct Chessboard {
  int columns = 0, rows = 0;
  double square_mm = 0;
  /// Throws UsageError.
  void validate() const;
};
CalibrationTarget chessboard_target(const Chessboard& board);

/// Where a photo shows the target's points.
struct TargetView {
  std::vector<std::size_t> points;  ///< index into CalibrationTarget::points
  std::vector<cv::Point2d> pixels;  ///< same order
  std::string problem;              ///< why there are none; empty when all is well
};

/// In pixels of `grey` (CV_8UC1).
TargetView see_card(const cv::Mat& grey, const CardDefinition& card);
TargetView see_chessboard(const cv::Mat& grey, const Chessboard& board);

}  // namespace ripplegauge
