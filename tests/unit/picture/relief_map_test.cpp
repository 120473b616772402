#include "picture/relief_map.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <opencv2/core.hpp>

#include "catch.hpp"
#include "picture/palette.hpp"

using namespace ripplegauge;

namespace {

/// 80 x 60 mm; a low of 0.2 mm at (20, 45), a high of 0.1 mm at (60, 15).
Relief low_and_high() {
  Relief relief{0, 0, 0.5, 161, 121, {}};
  relief.height_mm.resize(static_cast<std::size_t>(relief.columns) * relief.rows);
  for (int r = 0; r < relief.rows; ++r)
    for (int c = 0; c < relief.columns; ++c) {
      const double x = c * 0.5, y = r * 0.5;
      relief.at(r, c) =
          static_cast<float>(-0.2 * std::exp(-(std::pow(x - 20, 2) + std::pow(y - 45, 2)) / 50) +
                             0.1 * std::exp(-(std::pow(x - 60, 2) + std::pow(y - 15, 2)) / 50));
    }
  return relief;
}

/// The pixel of a point of the relief above: the map is the only large area that is not white paper.
cv::Vec3b colour_at(const Picture& picture, double x_mm, double y_mm) {
  const cv::Point middle(picture.bgr.cols / 3, picture.bgr.rows / 2);
  const auto is_paper = [&](int x, int y) { return picture.bgr.at<cv::Vec3b>(y, x) == cv::Vec3b::all(255); };
  int left = middle.x, right = middle.x, top = middle.y, bottom = middle.y;
  while (left > 0 && !is_paper(left - 1, middle.y)) --left;
  while (right + 1 < picture.bgr.cols && !is_paper(right + 1, middle.y)) ++right;
  while (top > 0 && !is_paper(middle.x, top - 1)) --top;
  while (bottom + 1 < picture.bgr.rows && !is_paper(middle.x, bottom + 1)) ++bottom;
  return picture.bgr.at<cv::Vec3b>(static_cast<int>(std::lerp(bottom, top, y_mm / 60)),
                                   static_cast<int>(std::lerp(left, right, x_mm / 80)));
}

bool has_text(const Picture& picture, const std::string& part) {
  return std::any_of(picture.texts.begin(), picture.texts.end(),
                     [&](const PlacedText& t) { return t.text.find(part) != std::string::npos; });
}

void check_texts_apart_and_inside(const Picture& picture) {
  REQUIRE_FALSE(picture.texts.empty());
  const cv::Rect2d canvas(0, 0, picture.bgr.cols, picture.bgr.rows);
  for (std::size_t i = 0; i < picture.texts.size(); ++i) {
    INFO("\"" << picture.texts[i].text << "\"");
    CHECK((picture.texts[i].box & canvas).area() == Approx(picture.texts[i].box.area()));
    for (std::size_t j = 0; j < i; ++j) {
      INFO("and \"" << picture.texts[j].text << "\"");
      CHECK((picture.texts[i].box & picture.texts[j].box).area() == 0);
    }
  }
}

}  // namespace

TEST_CASE("lows are blue, highs orange, the panel nearly white, and y points up", "[relief_map]") {
  const Picture picture = relief_map(low_and_high(), {});
  CHECK(picture.bgr.type() == CV_8UC3);
  const auto low = colour_at(picture, 20, 45), high = colour_at(picture, 60, 15);
  const auto flat = colour_at(picture, 60, 45);
  CHECK(low[0] > low[2] + 60);
  CHECK(high[2] > high[0] + 60);
  CHECK(*std::min_element(flat.val, flat.val + 3) > 225);
  // Half the range: the colour that the palette has there.
  CHECK(high[2] == Approx(255 * height_colour(0.5).red).margin(6));
  CHECK(high[0] == Approx(255 * height_colour(0.5).blue).margin(6));
  CHECK(has_text(picture, "0 µm"));
  CHECK(has_text(picture, "-200"));
  CHECK(has_text(picture, "lines every 50 µm, dashed where high"));
  check_texts_apart_and_inside(picture);
}

TEST_CASE("two maps of the same range have the same colours", "[relief_map]") {
  ReliefMapOptions options;
  options.range_mm = 1;
  options.title = "Before the pull";
  const Picture picture = relief_map(low_and_high(), {}, options);
  const auto low = colour_at(picture, 20, 45);
  CHECK(low[2] == Approx(255 * height_colour(-0.2).red).margin(3));
  CHECK(has_text(picture, "Before the pull"));
  CHECK(has_text(picture, " mm"));
}

TEST_CASE("the map shows the spots and some panel, or the window that was asked for", "[relief_map]") {
  Dent dent;
  dent.diameter_mm = {10, 9.8, 10.2};
  dent.depth_mm = Quantity{0.2, 0.19, 0.21};
  for (int i = 0; i < 36; ++i)
    dent.outline.push_back({20 + 5 * std::cos(i * 0.1745), 45 + 5 * std::sin(i * 0.1745)});
  const Picture near = relief_map(low_and_high(), {dent});
  CHECK(has_text(near, "10.0 mm"));
  CHECK(has_text(near, "low 0.20 mm"));
  CHECK(has_text(near, "30"));        // x from 14 - 5 to 31
  CHECK_FALSE(has_text(near, "60"));  // the rest of the panel
  check_texts_apart_and_inside(near);

  ReliefMapOptions options;
  options.window = RectangleMm{40, 0, 80, 30};
  const Picture window = relief_map(low_and_high(), {dent}, options);
  CHECK(has_text(window, "60"));
  CHECK_FALSE(has_text(window, "10.0 mm"));
  check_texts_apart_and_inside(window);
}

TEST_CASE("what was not measured is neither low, high nor flat", "[relief_map]") {
  Relief relief = low_and_high();
  for (int r = 80; r < 121; ++r)
    for (int c = 0; c < 80; ++c) relief.at(r, c) = std::numeric_limits<float>::quiet_NaN();
  const Picture picture = relief_map(relief, {});
  const auto hatched = colour_at(picture, 20, 50);
  CHECK(std::abs(hatched[0] - hatched[2]) < 3);
  CHECK(hatched[1] < 225);
}

TEST_CASE("reliefs with nothing to show", "[relief_map]") {
  CHECK(has_text(relief_map({}, {}), "No relief"));
  Relief unknown{0, 0, 1, 10, 10, std::vector<float>(100, std::numeric_limits<float>::quiet_NaN())};
  CHECK(has_text(relief_map(unknown, {}), "No relief"));
  Relief flat{0, 0, 1, 10, 10, std::vector<float>(100, 0.0f)};
  const Picture picture = relief_map(flat, {});
  check_texts_apart_and_inside(picture);
  Relief row{0, 0, 1, 10, 1, std::vector<float>(10, 0.1f)};
  CHECK(has_text(relief_map(row, {}), "No relief"));
  Relief sliver{0, 0, 1, 200, 2, std::vector<float>(400, 0.1f)};
  check_texts_apart_and_inside(relief_map(sliver, {}));
}

TEST_CASE("below the map a small plan shows the card beside it", "[relief_map]") {
  const Picture alone = relief_map(low_and_high(), {});
  ReliefMapOptions with_paper;
  with_paper.card_paper = {{-14, -14, 114, 14}, {-14, -14, 14, 89}};
  const Picture with_card = relief_map(low_and_high(), {}, with_paper);
  CHECK(with_card.bgr.rows > alone.bgr.rows);
  CHECK(has_text(with_card, "the card"));
  CHECK_FALSE(has_text(alone, "the card (grey)"));
  check_texts_apart_and_inside(with_card);
}

TEST_CASE("a crease is labelled by length and width on the map, too", "[relief_map]") {
  Dent crease;
  crease.x_mm = 20;
  crease.y_mm = 45;
  crease.diameter_mm = {21.9, 21.5, 22.2};
  crease.length_mm = {43.5, 42.8, 44.2};
  crease.width_mm = {11.0, 10.8, 11.3};
  crease.outline = {{10, 43}, {30, 43}, {30, 47}, {10, 47}};
  const Picture picture = relief_map(low_and_high(), {crease});
  CHECK(has_text(picture, "43.5 × 11.0 mm"));
  CHECK_FALSE(has_text(picture, "21.9 mm"));
}

TEST_CASE("axes, contours and colours of the map are in inches where they are asked for", "[relief_map]") {
  ReliefMapOptions options;
  options.words = Wording::plain().in({.inches = true});
  const Picture picture = relief_map(low_and_high(), {}, options);
  // 0.2 mm are 0.0079 in: steps of 0.002; 80 mm are 3.1 in, not 20, 40 ...
  for (const char* text : {"inches from the card", "lines every 0.002 in", "0.000 in", "-0.006"}) {
    INFO(text);
    CHECK(has_text(picture, text));
  }
  CHECK_FALSE(has_text(picture, "µm"));
  CHECK_FALSE(has_text(picture, "20"));
  check_texts_apart_and_inside(picture);
}
