#include "words/units.hpp"

#include "catch.hpp"
#include "words/wording.hpp"

using namespace ripplegauge;

TEST_CASE("temperatures are told in Fahrenheit", "[units]") {
  const ShownUnits units{.inches = false, .fahrenheit = true};
  CHECK(in_units("pull at 34 to 40 °C beside the tab", units) == "pull at 93 to 104 °F beside the tab");
  CHECK(in_units("34–40 °C, gun 195 °C", units) == "93–104 °F, gun 383 °F");
  CHECK(in_units("at -5 °C", units) == "at 23 °F");
  CHECK(in_units("17.2 mm", units) == "17.2 mm");
}

TEST_CASE("inches stand behind the millimetres", "[units]") {
  const ShownUnits units{.inches = true, .fahrenheit = false};
  CHECK(in_units("diameter    17.2 mm (17.1 to 17.3)", units) ==
        "diameter    17.2 mm (17.1 to 17.3) [0.68 (0.67 to 0.68) in]");
  CHECK(in_units("0.210 mm deep", units) == "0.210 mm [0.0083 in] deep");
  CHECK(in_units("8 to 10 mm wide", units) == "8 to 10 mm [0.315 to 0.39 in] wide");
  CHECK(in_units("3 mm2, 5 mm/s of 40 °C", units) == "3 mm2, 5 mm [0.197 in]/s of 40 °C");
  CHECK(in_units("a crease, 43 × 11.1 mm", units) == "a crease, 43 × 11.1 mm [1.69 × 0.44 in]");
  CHECK(in_units("no steeper than 3 mm in a metre", units) == "no steeper than 3 mm in a metre");
  CHECK(in_units("volume 12.4 mm³", units) == "volume 12.4 mm³");
  CHECK(in_units("0–20 mm", units) == "0–20 mm [0–0.79 in]");
  CHECK(in_units("no number mm", units) == "no number mm");
  CHECK(in_units("", units).empty());
}

TEST_CASE("nothing is changed that nobody asked for", "[units]") {
  CHECK(in_units("17.2 mm at 34 °C", {}) == "17.2 mm at 34 °C");
  CHECK_FALSE(ShownUnits{}.any());
}

TEST_CASE("a decimal comma is part of its number", "[units]") {
  const ShownUnits inches{.inches = true};
  CHECK(in_units("eine Delle von 0,27 mm (0,26 bis 0,28), 20,7 mm breit", inches) ==
        "eine Delle von 0,27 mm (0,26 bis 0,28) [0,0106 (0,0102 bis 0,0110) in], 20,7 mm [0,81 in] breit");
  CHECK(in_units("at x 59, y 46 mm", inches) == "at x 59, y 46 mm [1.81 in]");
}

TEST_CASE("what is drawn asks its wording for the units", "[units][wording]") {
  const Wording& metric = Wording::plain();
  CHECK(metric.with_units("17.2 mm at 34 °C") == "17.2 mm at 34 °C");
  const Wording asked = metric.in({.inches = true, .fahrenheit = true});
  CHECK(asked.with_units("17.2 mm at 34 °C") == "17.2 mm [0.68 in] at 93 °F");
  CHECK(asked.on(PagePaper::letter).units().inches);
  CHECK(asked.with_plain_numbers().units().inches);
  CHECK(length_unit(metric.units()).per_mm == 1);
  CHECK(length_unit(asked.units()).per_mm * 25.4 == Approx(1.0));
}
