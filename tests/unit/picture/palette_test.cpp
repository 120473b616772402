#include "picture/palette.hpp"

#include "catch.hpp"

using namespace ripplegauge;

TEST_CASE("contrast ratios as published", "[palette]") {
  // W3C, Web Content Accessibility Guidelines 2.x; worked values as in livebook.manning.com, Math for web
  // design. Two decimals are printed.
  const Rgb white = rgb_from_hex(0xffffff);
  CHECK(contrast_ratio(rgb_from_hex(0x000000), white) == Approx(21).margin(0.005));
  CHECK(contrast_ratio(rgb_from_hex(0x767676), white) == Approx(4.54).margin(0.005));
  CHECK(contrast_ratio(white, rgb_from_hex(0x777777)) == Approx(4.48).margin(0.005));
  CHECK(contrast_ratio(rgb_from_hex(0x0000ff), white) == Approx(8.59).margin(0.005));
  CHECK(contrast_ratio(rgb_from_hex(0xff0000), white) == Approx(4.00).margin(0.005));
}

TEST_CASE("every text colour reads on what it stands on", "[palette]") {
  constexpr double enough_for_text = 4.5;  // WCAG 2.x, success criterion 1.4.3
  for (const Rgb& colour :
       {palette::low, palette::high, palette::good, palette::warning, palette::ink, palette::grey})
    CHECK(contrast_ratio(colour, palette::paper) > enough_for_text);
}

TEST_CASE("the map's colours tell low from high, and darken away from zero on both sides", "[palette]") {
  for (const double side : {-1.0, 1.0}) {
    double brighter = relative_luminance(height_colour(0));
    CHECK(brighter > 0.85);
    for (int i = 1; i <= 50; ++i) {
      const Rgb colour = height_colour(side * i / 50.0);
      INFO("share " << side * i / 50.0);
      CHECK(relative_luminance(colour) < brighter);
      CHECK((side < 0 ? colour.blue > colour.red : colour.red > colour.blue));
      brighter = relative_luminance(colour);
    }
  }
  const Rgb beyond = height_colour(7), end = height_colour(1);
  CHECK(beyond.red == end.red);
  CHECK(beyond.blue == end.blue);
}
