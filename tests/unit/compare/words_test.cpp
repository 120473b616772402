#include "compare/words.hpp"

#include "catch.hpp"
#include "scene.hpp"

using namespace ripplegauge;
using namespace ripplegauge::test;
using Catch::Matchers::ContainsSubstring;

TEST_CASE("numbers are written with as many decimals as mean something", "[words]") {
  CHECK(length_words(0.5357) == "0.54 mm");
  CHECK(length_words(0.0642) == "0.064 mm");
  CHECK(length_words(18.05) == "18.1 mm");
  CHECK(length_words(Quantity{0.5357, 0.51, 0.56}) == "0.54 mm (0.51 to 0.56)");
  CHECK(length_words(Quantity{}) == "not known");
  CHECK(percent_words(Quantity{62.4, 55, 69}) == "62 % (55 to 69)");
  CHECK(percent_words(Quantity{-0.2, -3, 3}) == "0 % (-3 to 3)");
  CHECK(percent_words(Quantity{100, std::numeric_limits<double>::quiet_NaN(), 100}) == "100 %");
}

TEST_CASE("gone is never said to be more than a photo shows", "[words]") {
  const double unknown = std::numeric_limits<double>::quiet_NaN();
  CHECK(gone_words(Outcome::gone, Quantity{100, unknown, 100}) == "all that shows");
  CHECK(gone_words(Outcome::gone, Quantity{100, 92.3, 100}) == "at least 92 %");
  CHECK(gone_words(Outcome::partly, Quantity{62, 55, 69}) == "62 % (55 to 69)");
  CHECK(gone_words(Outcome::overdone, Quantity{88, 87, 89}) == "past flat");
  CHECK(gone_words(Outcome::not_seen, std::nullopt) == "not known");
}

TEST_CASE("every outcome has words for a low and for a high", "[words]") {
  for (const auto& [outcome, token] : EnumWords<Outcome>::list)
    for (const Kind kind : {Kind::low, Kind::high}) CHECK_FALSE(outcome_words(outcome, kind).empty());
  CHECK(outcome_words(Outcome::partly, Kind::low) == "partly pulled");
  CHECK(outcome_words(Outcome::partly, Kind::high) == "partly knocked down");
}

TEST_CASE("sentences say what was, what is, and what is not known", "[words]") {
  const Reading before = reading({spot(Kind::low, 40, 50, 0.5, 20)});
  SECTION("gone without a limit") {
    const Reading after = judged(reading({}));
    const Comparison comparison = compare_readings(before, {}, after, {});
    const std::string words = spot_words(comparison.spots.at(0), before, after);
    CHECK_THAT(words,
               ContainsSubstring("Spot 1, a low of 0.50 mm (0.47 to 0.53), 20.0 mm wide: gone, if this is "
                                 "the same place."));
    CHECK_THAT(words, ContainsSubstring("how small a rest would still show is not known"));
    CHECK(summary_words(comparison) ==
          "The spot is gone, if this is the same place: nothing that the photo shows is left there; no new "
          "marks.");
  }
  SECTION("another dent than before, perhaps") {
    const Reading after = reading({spot(Kind::low, 44, 50, 0.1, 20)});
    const Comparison comparison = compare_readings(before, {}, after, {});
    CHECK_THAT(summary_words(comparison), ContainsSubstring("is gone, if this is the same place"));
    CHECK_THAT(spot_words(comparison.spots.at(0), before, after),
               ContainsSubstring("partly pulled, if this is the same place"));
  }
  SECTION("two panels") {
    Reading after = judged(reading({}));
    after.setup.card_name = "strip";
    Reading other = before;
    other.setup.card_name = "corner";
    CHECK(summary_words(compare_readings(other, {}, after, {})) ==
          "Nothing can be said of these two photos: another card was used.");
  }
  SECTION("gone, with what would still have shown") {
    Reading after = judged(reading({}));
    after.setup.smallest_visible = {{10, 0.02}};
    const Comparison comparison = compare_readings(before, {}, after, {});
    CHECK_THAT(spot_words(comparison.spots.at(0), before, after),
               ContainsSubstring("Nothing deeper than 0.040 mm at 20 mm wide is left there."));
  }
  SECTION("not shown") {
    const Reading after = reading({});
    const Comparison comparison = compare_readings(before, {}, after, {});
    CHECK_THAT(spot_words(comparison.spots.at(0), before, after),
               ContainsSubstring("not shown by this photo"));
  }
  SECTION("a low left in a high") {
    Dent inner = spot(Kind::low, 41, 50, 0.05, 6);
    inner.inside_of = 0;
    const Reading after = reading({spot(Kind::high, 40, 50, 0.1, 18), inner});
    const Comparison comparison = compare_readings(before, {}, after, {});
    CHECK_THAT(spot_words(comparison.spots.at(0), before, after),
               ContainsSubstring("What is left is a high of 0.10 mm") &&
                   ContainsSubstring("18.0 mm wide, and inside it a low of 0.050 mm") &&
                   ContainsSubstring("6.00 mm wide."));
  }
  SECTION("over-pulled") {
    const Reading after = reading({spot(Kind::high, 40, 50, 0.1, 8), spot(Kind::low, 80, 80, 0.1, 8)});
    const Comparison comparison = compare_readings(judged(before), {}, after, {});
    CHECK_THAT(spot_words(comparison.spots.at(0), before, after),
               ContainsSubstring("over-pulled: a high stands here now. What is left is a high of 0.10 mm"));
    CHECK(summary_words(comparison) ==
          "The spot went past flat, +0.10 mm (0.10 to 0.11) now; 1 high made; 1 low made.");
    REQUIRE(comparison.new_marks.size() == 1);
    CHECK_THAT(new_mark_words(comparison.new_marks[0], after),
               ContainsSubstring("stands where nothing was seen before"));
  }
}
