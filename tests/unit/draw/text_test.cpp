// Text of any script on pages and pictures.
#include "draw/text.hpp"

#include "catch.hpp"
#include "draw/pixel_canvas.hpp"

using namespace ripplegauge;
using namespace ripplegauge::draw;
using Catch::Matchers::WithinRel;

namespace {

const TextStyle plain{20};

/// How many pixels a text darkens, and in which columns it starts and ends.
struct Ink {
  int pixels = 0, left = -1, right = -1;
};
Ink ink_of(const std::string& text, Align align = Align::left) {
  PixelCanvas canvas(400, 60, {1, 1, 1});
  canvas.text(text, 200, 40, {20, {0, 0, 0}, align});
  const cv::Mat bgr = canvas.picture().bgr;
  Ink ink;
  for (int x = 0; x < bgr.cols; ++x)
    for (int y = 0; y < bgr.rows; ++y) {
      if (bgr.at<cv::Vec3b>(y, x)[0] > 128) continue;
      ++ink.pixels;
      if (ink.left < 0) ink.left = x;
      ink.right = x;
    }
  return ink;
}

}  // namespace

TEST_CASE("the width that is told is the width that is drawn", "[draw]") {
  const double width = text_width("HHHHHHHH", plain);
  const Ink left = ink_of("HHHHHHHH"), centre = ink_of("HHHHHHHH", Align::centre),
            right = ink_of("HHHHHHHH", Align::right);
  REQUIRE(left.pixels > 100);
  // An H of DejaVu Sans stands 0.1 of the font's size off both edges of its advance.
  CHECK_THAT(left.right - left.left + 4, Catch::Matchers::WithinAbs(width, 2));
  CHECK_THAT(centre.left, Catch::Matchers::WithinAbs(left.left - width / 2, 1.5));
  CHECK_THAT(right.left, Catch::Matchers::WithinAbs(left.left - width, 1.5));
}

TEST_CASE("widths grow with the font's size alone, however small the unit", "[draw]") {
  const double at_20 = text_width("0.54 mm (0.51 to 0.56)", plain);
  // Pango counts in 1/1024 of a layout of 64 units: 22 glyphs lose less than 1e-4.
  CHECK_THAT(text_width("0.54 mm (0.51 to 0.56)", {0.02}), WithinRel(at_20 / 1000, 1e-6));
  CHECK(text_width("0.54 mm", {20, {}, Align::left, true}) > text_width("0.54 mm", plain));
  CHECK(text_width("", plain) == 0);
}

TEST_CASE("Arabic digits are drawn as such, digits that no font has as 0 to 9", "[draw]") {
  CHECK(text_width("\u0661\u0662\u0663", plain) != text_width("123", plain));
  // Nag Mundari digits one and two (Unicode 15).
  CHECK(text_width("\U0001E4F1\U0001E4F2", plain) == text_width("12", plain));
}

TEST_CASE("stray bytes and control characters stop no drawing", "[draw]") {
  const Ink clean = ink_of("door"), with_stray_byte = ink_of("door\xFF\x01");
  CHECK(with_stray_byte.left == clean.left);
  CHECK(with_stray_byte.pixels > clean.pixels);
}

TEST_CASE("text is shortened at a character and lines fit", "[draw]") {
  CHECK(fitted("bonnet", plain, 1000) == "bonnet");
  const std::string cut = fitted("Kotflügelöffnungen", plain, 100);
  CHECK(cut.ends_with("\u2026"));
  CHECK(text_width(cut, plain) <= 100);

  const std::string sentence = "Lay the card flat on the panel beside the dent, its inner corner towards it.";
  const std::vector<std::string> lines = lines_of(sentence, plain, 200);
  REQUIRE(lines.size() > 3);
  std::string together;
  for (const std::string& line : lines) {
    CHECK(text_width(line, plain) <= 200.01);
    together += (together.empty() ? "" : " ") + line;
  }
  CHECK(together == sentence);

  const std::vector<std::string> two = lines_of(sentence, plain, 200, 2);
  REQUIRE(two.size() == 2);
  CHECK(two[0] == lines[0]);
  CHECK(two[1].ends_with("\u2026"));
}
