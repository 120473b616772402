#include "quote/display.hpp"

#include "catch.hpp"
#include "ripplegauge/core/errors.hpp"

using namespace ripplegauge;

namespace {

/// Locales put no-break spaces of several widths: for comparing, all are spaces.
std::string plain_spaces(std::string text) {
  for (const std::string space : {"\u00A0", "\u202F"})
    for (auto at = text.find(space); at != std::string::npos; at = text.find(space))
      text.replace(at, space.size(), " ");
  return text;
}

}  // namespace

TEST_CASE("money is shown as the locale writes it", "[display]") {
  // Unicode CLDR, https://cldr.unicode.org: decimal comma and point, sign before and behind, groups of three
  // and two.
  struct Row {
    const char *locale, *currency;
    int decimals;
    const char* expected;
  };
  const Row row =
      GENERATE(Row{"de-DE", "EUR", 2, "1.234.567,05 €"}, Row{"en_GB.UTF-8", "GBP", 2, "£1,234,567.05"},
               Row{"fr-FR", "EUR", 2, "1 234 567,05 €"}, Row{"en-IN", "INR", 2, "₹12,34,567.05"},
               Row{"", "EUR", 2, "EUR 1234567.05"});
  CAPTURE(row.locale);
  const Display display({row.currency, row.decimals}, row.locale);
  CHECK(plain_spaces(display.money(123456705)) == row.expected);
}

TEST_CASE("currencies have the decimals that they are counted in", "[display]") {
  CHECK(decimals_of_currency("EUR") == 2);
  CHECK(decimals_of_currency("JPY") == 0);  // ISO 4217, from memory
  CHECK(decimals_of_currency("KWD") == 3);  // ISO 4217, from memory
  CHECK(is_known_currency("CHF"));
  CHECK_FALSE(is_known_currency("QQQ"));
  CHECK_FALSE(is_known_currency(""));
  CHECK(Display({"JPY", 0}, "en-US").money(1234) == "¥1,234");
  CHECK(Display({"KWD", 3}, "").amount(-5) == "-0.005");
}

TEST_CASE("numbers, percentages and sizes follow the same locale", "[display]") {
  const Display display({"EUR", 2}, "de-DE");
  CHECK(plain_spaces(display.percent(Rate{88'750})) == "8,875 %");
  CHECK(display.number(21.44, 1) == "21,4");
  CHECK(plain_spaces(display.millimetres({21.4, 20.6, 22.2})) == "21,4 mm (20,6–22,2)");
  CHECK(plain_spaces(display.millimetres({21, 21, 21})) == "21,0 mm");
  CHECK(display.number(std::numeric_limits<double>::quiet_NaN(), 1) == "–");
  CHECK(Display({"EUR", 2}, "").number(1234.5, 1) == "1234.5");
}

TEST_CASE("a locale that nobody knows is refused", "[display]") {
  CHECK_THROWS_AS(Display({"EUR", 2}, "xx-NOWHERE"), UsageError);
  CHECK_THROWS_AS(Display({"EUR", 2}, "\xFF\xFF"), UsageError);
  CHECK_NOTHROW(Display({"EUR", 2}, "de"));
}
