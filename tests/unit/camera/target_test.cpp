#include "camera/target.hpp"

#include <algorithm>
#include <limits>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgproc.hpp>

#include "card/tag_detector.hpp"
#include "catch.hpp"
#include "ripplegauge/core/errors.hpp"
#include "synthetic.hpp"

using namespace ripplegauge;

namespace {

constexpr double print_px_per_mm = 12;

/// A flat print seen obliquely: warped by a homography, drawn three times as fine and averaged.
cv::Mat seen(const cv::Mat& print, const cv::Mat& photo_from_print, const cv::Size& size) {
  constexpr int fine = 3;
  const cv::Mat finer =
      (cv::Mat_<double>(3, 3) << fine, 0, 0.5 * (fine - 1), 0, fine, 0.5 * (fine - 1), 0, 0, 1);
  cv::Mat large, photo;
  cv::warpPerspective(print, large, finer * photo_from_print, size * fine, cv::INTER_LINEAR,
                      cv::BORDER_CONSTANT, 120);
  cv::resize(large, photo, size, 0, 0, cv::INTER_AREA);
  return photo;
}

cv::Mat oblique_view(const cv::Size& print) {
  const float w = static_cast<float>(print.width), h = static_cast<float>(print.height);
  const std::vector<cv::Point2f> from = {{0, 0}, {w, 0}, {w, h}, {0, h}};
  const std::vector<cv::Point2f> to = {{350, 420}, {1900, 300}, {2050, 1350}, {500, 1250}};
  return cv::getPerspectiveTransform(from, to);
}

constexpr int square_px = static_cast<int>(25 * print_px_per_mm);

/// 10 x 7 squares of 25 mm.
cv::Mat chessboard_print() {
  cv::Mat print(9 * square_px, 12 * square_px, CV_8UC1, cv::Scalar(230));
  for (int row = 0; row < 7; ++row)
    for (int column = 0; column < 10; ++column)
      if ((row + column) % 2 == 0)
        print(cv::Rect((column + 1) * square_px, (row + 1) * square_px, square_px, square_px)) = 25;
  return print;
}

/// How far the farthest of its inner corners is from any that was found.
double worst_px(const TargetView& view, const cv::Mat& view_from_print) {
  // Corner (column, row) of the print lies between pixels: at (column + 2) squares minus half a pixel.
  std::vector<cv::Point2d> corners, expected;
  for (int row = 0; row < 6; ++row)
    for (int column = 0; column < 9; ++column)
      corners.emplace_back((column + 2) * square_px - 0.5, (row + 2) * square_px - 0.5);
  cv::perspectiveTransform(corners, expected, view_from_print);
  double worst = 0;
  for (const cv::Point2d& e : expected) {
    double nearest = std::numeric_limits<double>::infinity();
    for (const cv::Point2d& p : view.pixels) nearest = std::min(nearest, cv::norm(p - e));
    worst = std::max(worst, nearest);
  }
  return worst;
}

}  // namespace

TEST_CASE("a target's points are counted from its middle", "[camera]") {
  const CalibrationTarget card = card_target(synthetic::corner_card());
  REQUIRE(card.points.size() == 32);
  CHECK(card.points[0].x_mm == Approx(-9 - 50));   // x from -9 to 109
  CHECK(card.points[0].y_mm == Approx(9 - 37.5));  // y from -9 to 84; tag 0's top left
  CHECK(card.points[0].ink_x == -1);
  CHECK(card.points[0].ink_y == 1);
  const CalibrationTarget board = chessboard_target({9, 6, 25});
  REQUIRE(board.points.size() == 54);
  CHECK(board.points[0].x_mm == -100);
  CHECK(board.points[53].y_mm == 62.5);
  CHECK(board.half_size_mm == Approx(std::hypot(100, 62.5)));
  CHECK_THROWS_AS(chessboard_target({2, 6, 25}), UsageError);
  CHECK_THROWS_AS(chessboard_target({9, 6, 0}), UsageError);
}

TEST_CASE("a chessboard's corners are found at full size", "[camera]") {
  const cv::Mat print = chessboard_print();
  const cv::Mat view_from_print = oblique_view(print.size());
  const cv::Mat photo = seen(print, view_from_print, {2400, 1700});
  const TargetView view = see_chessboard(photo, {9, 6, 25});
  REQUIRE(view.problem.empty());
  REQUIRE(view.points.size() == 54);
  CHECK(worst_px(view, view_from_print) < 0.15);  // 8 bits and bilinear warping leave a few hundredths
  CHECK_FALSE(see_chessboard(photo, {8, 6, 25}).problem.empty());
}

TEST_CASE("a chessboard seen so flat that its rows crowd keeps its corners apart", "[camera]") {
  const cv::Mat print = chessboard_print();
  const float w = static_cast<float>(print.cols), h = static_cast<float>(print.rows);
  const std::vector<cv::Point2f> from = {{0, 0}, {w, 0}, {w, h}, {0, h}};
  const std::vector<cv::Point2f> to = {{120, 300}, {1500, 290}, {1510, 485}, {110, 500}};  // rows of 22 px
  const cv::Mat view_from_print = cv::getPerspectiveTransform(from, to);
  const TargetView view = see_chessboard(seen(print, view_from_print, {1600, 700}), {9, 6, 25});
  REQUIRE(view.problem.empty());
  CHECK(worst_px(view, view_from_print) < 0.3);
}

TEST_CASE("a card's tags are found, and what is missing is said", "[camera]") {
  const CardDefinition card = synthetic::corner_card();
  cv::Mat print(static_cast<int>(103 * print_px_per_mm), static_cast<int>(128 * print_px_per_mm), CV_8UC1,
                cv::Scalar(235));
  const auto px = [](double mm) { return static_cast<int>(std::lround(mm * print_px_per_mm)); };
  for (const CardTag& tag : card.tags) {
    const TagCells cells = tag_cells(tag.id);
    for (std::size_t r = 0; r < 8; ++r)
      for (std::size_t c = 0; c < 8; ++c) {
        const double x = tag.x_mm - 9 + 2.25 * static_cast<double>(c),
                     y = tag.y_mm + 9 - 2.25 * static_cast<double>(r);
        if (cells[r][c]) print(cv::Rect(px(x + 14), px(89 - y), px(2.25), px(2.25))) = 25;
      }
  }
  cv::Mat photo = seen(print, oblique_view(print.size()), {2400, 1700});
  const TargetView view = see_card(photo, card);
  INFO(view.problem);
  REQUIRE(view.points.size() == 32);
  CHECK(view.problem.empty());

  CardDefinition other = card;
  for (CardTag& tag : other.tags) tag.id += 100;
  CHECK(see_card(photo, other).problem.find("none of its tags") != std::string::npos);
  photo.colRange(0, 1000) = 128;  // only the end of the long arm is left
  CHECK(see_card(photo, card).problem.find("too little of the card") != std::string::npos);
  CHECK(see_card(cv::Mat(600, 800, CV_8UC1, cv::Scalar(90)), card).problem.find("no tag") !=
        std::string::npos);
}
