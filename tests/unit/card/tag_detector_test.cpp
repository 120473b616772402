#include "ripplegauge/card/tag_detector.hpp"

#include <opencv2/core.hpp>
#include <vector>

#include "catch.hpp"

using namespace ripplegauge;

namespace {

/// A tag of so many pixels a cell on white paper, its top left corner there.
void draw_tag(cv::Mat& paper, int id, cv::Point at, int cell_px) {
  const TagCells cells = tag_cells(id);
  for (int r = 0; r < 8; ++r)
    for (int c = 0; c < 8; ++c)
      if (cells[static_cast<std::size_t>(r)][static_cast<std::size_t>(c)])
        paper(cv::Rect(at + cv::Point(c, r) * cell_px, cv::Size(cell_px, cell_px))).setTo(20);
}

}  // namespace

TEST_CASE("small tags in a large photo are found once each, wherever they lie", "[card]") {
  cv::Mat photo(3000, 4000, CV_8UC1, cv::Scalar(230));
  // Looked at part by part: tags on the parts' borders lie in two or four of them. Two tags are too few to
  // stop at a reduced copy.
  const std::vector<cv::Point> corners{{1980, 1470}, {3900, 2900}};
  for (std::size_t i = 0; i < corners.size(); ++i) draw_tag(photo, static_cast<int>(i), corners[i], 5);
  const std::vector<SeenTag> seen = find_tags(photo);
  REQUIRE(seen.size() == corners.size());
  for (const SeenTag& tag : seen) {
    const cv::Point2d corner = corners[static_cast<std::size_t>(tag.id)];
    CHECK(cv::norm(tag.corners_px[0] - (corner - cv::Point2d(0.5, 0.5))) < 0.1);
    CHECK(cv::norm(tag.corners_px[2] - (corner + cv::Point2d(39.5, 39.5))) < 0.1);
  }
}
