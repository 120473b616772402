#include "card/tag_detector.hpp"

#include <cstdint>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>
#include <set>
#include <utility>
#include <vector>

#include "catch.hpp"
#include "core/linear_light.hpp"

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

/// What the family's own table says of a tag's picture, 8 x 8 cells with the black border: AprilTag 3,
/// tag36h11.c (read with libapriltag 3.3.0); bits from the highest on.
TagCells cells_of_code(std::uint64_t code) {
  constexpr int column[36] = {1, 2, 3, 4, 5, 2, 3, 4, 3, 6, 6, 6, 6, 6, 5, 5, 5, 4,
                              6, 5, 4, 3, 2, 5, 4, 3, 4, 1, 1, 1, 1, 1, 2, 2, 2, 3};
  constexpr int row[36] = {1, 1, 1, 1, 1, 2, 2, 2, 3, 1, 2, 3, 4, 5, 2, 3, 4, 3,
                           6, 6, 6, 6, 6, 5, 5, 5, 4, 6, 5, 4, 3, 2, 5, 4, 3, 4};
  TagCells cells;
  for (auto& line : cells) line.fill(true);
  for (std::size_t i = 0; i < 36; ++i)
    cells[static_cast<std::size_t>(row[i])][static_cast<std::size_t>(column[i])] =
        (code >> (35 - i) & 1) == 0;
  return cells;
}

TagCells on_its_head(const TagCells& cells) {
  TagCells turned{};
  for (std::size_t r = 0; r < 8; ++r)
    for (std::size_t c = 0; c < 8; ++c) turned[r][c] = cells[7 - r][7 - c];
  return turned;
}

}  // namespace

TEST_CASE("printed tags are those of the family's table, on their heads", "[card][conventions]") {
  // So cards have been printed since the first version, whatever a later OpenCV draws.
  const std::vector<std::pair<int, std::uint64_t>> published = {
      {0, 0xd7e00984b},  {1, 0xdda664ca7},   {2, 0xdc4a1c821},   {3, 0xe17b470e9},
      {29, 0xd0dd509d2}, {100, 0x533fe2404}, {300, 0x22d9a43ed}, {586, 0xe8b772fe0}};
  for (const auto& [id, code] : published) {
    INFO(id);
    CHECK(tag_cells(id) == on_its_head(cells_of_code(code)));
  }
  std::set<TagCells> all;
  for (int id = 0; id < 587; ++id) all.insert(tag_cells(id));
  CHECK(all.size() == 587);
}

TEST_CASE("a tag drawn from the family's table is read, its corners in the card's order",
          "[card][conventions]") {
  const std::vector<std::pair<int, std::uint64_t>> published = {{0, 0xd7e00984b}, {300, 0x22d9a43ed}};
  for (const auto& [id, code] : published) {
    INFO(id);
    constexpr int left = 200, top = 120, cell_px = 12;
    cv::Mat paper(400, 500, CV_8UC1, cv::Scalar(230));
    const TagCells cells = on_its_head(cells_of_code(code));
    for (int r = 0; r < 8; ++r)
      for (int c = 0; c < 8; ++c)
        if (cells[static_cast<std::size_t>(r)][static_cast<std::size_t>(c)])
          paper(cv::Rect(left + c * cell_px, top + r * cell_px, cell_px, cell_px)).setTo(20);
    const std::vector<SeenTag> seen = find_tags(paper);
    REQUIRE(seen.size() == 1);
    CHECK(seen[0].id == id);
    constexpr double right = left + 8 * cell_px, bottom = top + 8 * cell_px;
    const cv::Point2d corners[4] = {{left, top}, {right, top}, {right, bottom}, {left, bottom}};
    for (std::size_t k = 0; k < 4; ++k)
      CHECK(cv::norm(seen[0].corners_px[k] - (corners[k] - cv::Point2d(0.5, 0.5))) < 0.1);
  }
}

TEST_CASE("a tag with a wrong bit is no tag", "[card]") {
  for (int bit = 0; bit < 36; bit += 5) {
    INFO(bit);
    cv::Mat paper(400, 500, CV_8UC1, cv::Scalar(230));
    const TagCells cells = cells_of_code(0xd7e00984b ^ std::uint64_t{1} << bit);
    for (int r = 0; r < 8; ++r)
      for (int c = 0; c < 8; ++c)
        if (cells[static_cast<std::size_t>(r)][static_cast<std::size_t>(c)])
          paper(cv::Rect(200 + c * 12, 120 + r * 12, 12, 12)).setTo(20);
    CHECK(find_tags(paper).empty());
  }
}

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

TEST_CASE("edges are told as wide as they are, up to a width that is said", "[card]") {
  constexpr int cell_px = 24;
  const double widest_px = widest_told_edge_px(8 * cell_px);
  cv::Mat paper(320, 320, CV_8UC1, cv::Scalar(230)), light;
  draw_tag(paper, 3, {60, 60}, cell_px);
  paper.convertTo(light, CV_32FC1, 0.75 / 230);  // linear light, not code values
  const auto told_px = [&](double sigma_px) {
    cv::Mat soft, code(light.size(), CV_8UC1);
    cv::GaussianBlur(light, soft, {}, sigma_px);
    for (int r = 0; r < code.rows; ++r)
      for (int c = 0; c < code.cols; ++c)
        code.at<uchar>(r, c) = cv::saturate_cast<uchar>(srgb_code_from_linear(soft.at<float>(r, c)));
    const std::vector<SeenTag> tags = find_tags(code);
    REQUIRE(tags.size() == 1);
    return tags[0].edge_width_px;
  };
  const double nearly_px = 0.9 * widest_px, much_px = 1.5 * widest_px;
  CHECK(told_px(nearly_px / edge_width_per_sigma) == Approx(nearly_px).epsilon(0.1));
  CHECK(told_px(much_px / edge_width_per_sigma) < 0.9 * much_px);
  CHECK(told_px(much_px / edge_width_per_sigma) > widest_px);
}
