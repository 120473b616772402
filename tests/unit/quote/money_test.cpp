#include "quote/money.hpp"

#include <random>

#include "catch.hpp"
#include "ripplegauge/core/errors.hpp"

using namespace ripplegauge;

TEST_CASE("each rounding mode rounds halves, thirds and negatives by its own rule", "[money]") {
  // Steps of 10: 25 lies half way, 24 below, 26 above; 35 is the half whose even neighbour is above.
  struct Row {
    RoundingMode mode;
    std::int64_t of_24, of_25, of_26, of_35;
  };
  const Row row =
      GENERATE(Row{RoundingMode::half_up, 20, 30, 30, 40}, Row{RoundingMode::half_even, 20, 20, 30, 40},
               Row{RoundingMode::up, 30, 30, 30, 40}, Row{RoundingMode::down, 20, 20, 20, 30});
  CAPTURE(to_string(row.mode));
  CHECK(rounded_to_step(24, 10, row.mode) == row.of_24);
  CHECK(rounded_to_step(25, 10, row.mode) == row.of_25);
  CHECK(rounded_to_step(26, 10, row.mode) == row.of_26);
  CHECK(rounded_to_step(35, 10, row.mode) == row.of_35);
  CHECK(rounded_to_step(-25, 10, row.mode) == -row.of_25);
  CHECK(rounded_to_step(-24, 10, row.mode) == -row.of_24);
  CHECK(rounded_to_step(30, 10, row.mode) == 30);
  CHECK(rounded_to_step(27, 1, row.mode) == 27);
}

TEST_CASE("a share is exact where it is whole and rounded once where it is not", "[money]") {
  CHECK(share_minor(10000, Rate{190'000}, RoundingMode::half_up) == 1900);  // 19 % of 100.00
  // 8.875 % of 12.00 = 1.065: the half goes up, or to the even 1.06.
  CHECK(share_minor(1200, Rate{88'750}, RoundingMode::half_up) == 107);
  CHECK(share_minor(1200, Rate{88'750}, RoundingMode::half_even) == 106);
  CHECK(share_minor(1200, Rate{88'750}, RoundingMode::down) == 106);
  CHECK(share_minor(1200, Rate{88'750}, RoundingMode::up) == 107);
  CHECK(share_minor(0, Rate{88'750}, RoundingMode::up) == 0);
  CHECK(share_minor(12345, whole, RoundingMode::half_up) == 12345);
  CHECK(scaled_minor(100, 2, 3, RoundingMode::half_up) == 67);
  CHECK(scaled_minor(-100, 2, 3, RoundingMode::half_up) == -67);
}

TEST_CASE("shares of large amounts agree with long arithmetic", "[money]") {
  // The reference splits nothing: 80-bit long doubles hold 64 bits exactly, so amounts up to 2^44 times rates
  // up to 2^20 are exact in it.
  std::mt19937_64 random(4);
  std::uniform_int_distribution<std::int64_t> amounts(0, (std::int64_t{1} << 44) - 1), rates(0, 1'000'000);
  for (int i = 0; i < 20000; ++i) {
    const std::int64_t amount = amounts(random), ppm = rates(random);
    const long double exact = static_cast<long double>(amount) * static_cast<long double>(ppm);
    const auto expected = static_cast<std::int64_t>(exact / 1'000'000.0L);  // truncated
    const std::int64_t down = share_minor(amount, Rate{ppm}, RoundingMode::down);
    REQUIRE(std::abs(down - expected) <= 1);  // the division may round across a whole number
    REQUIRE(static_cast<long double>(down) * 1'000'000.0L <= exact);
    REQUIRE(static_cast<long double>(down + 1) * 1'000'000.0L > exact);
  }
}

TEST_CASE("amounts that no quote has are refused, not wrapped round", "[money]") {
  CHECK(add_minor(largest_amount_minor, 0) == largest_amount_minor);
  CHECK_THROWS_AS(add_minor(largest_amount_minor, 1), UsageError);
  CHECK_THROWS_AS(add_minor(-largest_amount_minor, -1), UsageError);
  CHECK_THROWS_AS(add_minor(INT64_MAX, INT64_MIN), UsageError);
  CHECK_THROWS_AS(share_minor(largest_amount_minor, largest_rate, RoundingMode::up), UsageError);
  CHECK_THROWS_AS(scaled_minor(1, 1, 0, RoundingMode::up), UsageError);
  CHECK_THROWS_AS(rounded_to_step(5, 0, RoundingMode::up), UsageError);
}

TEST_CASE("decimals are read exactly or not at all", "[money]") {
  CHECK(minor_from_decimal("1234.5", 2) == 123450);
  CHECK(minor_from_decimal("-0.05", 2) == -5);
  CHECK(minor_from_decimal("450", 0) == 450);
  CHECK(minor_from_decimal("450.00", 0) == 450);
  CHECK(minor_from_decimal("1.2340", 3) == 1234);
  for (const char* bad : {"", ".", "-", ".5", "5.", "1.005", "1e3", "0x10", "1,5", " 1", "1 ", "+1", "--1",
                          "1.2.3", "nan", "inf", "99999999999999999999"}) {
    CAPTURE(bad);
    CHECK_FALSE(minor_from_decimal(bad, 2).has_value());
  }
}

TEST_CASE("a JSON number gives the amount that it was written as", "[money]") {
  CHECK(minor_from_double(85.10, 2) == 8510);
  CHECK(minor_from_double(0.1 + 0.2, 2) == std::nullopt);  // 0.30000000000000004 was written by nobody
  CHECK(minor_from_double(1.005, 2) == std::nullopt);
  CHECK(minor_from_double(4.35, 2) == 435);  // 4.35 * 100 is 434.99999999999994
  CHECK(minor_from_double(1e300, 2) == std::nullopt);
  CHECK(minor_from_double(-NAN, 2) == std::nullopt);
  CHECK(minor_from_double(INFINITY, 2) == std::nullopt);
  CHECK(minor_from_double(5e-324, 2) == std::nullopt);
}

TEST_CASE("amounts survive the way to text and back", "[money]") {
  const int decimals = GENERATE(0, 2, 3);
  for (const std::int64_t amount : {0L, 5L, -5L, 99L, 100L, 123456L, -123456L, 999999999999999L})
    CHECK(minor_from_decimal(decimal_from_minor(amount, decimals), decimals) == amount);
  CHECK(decimal_from_minor(5, 2) == "0.05");
  CHECK(decimal_from_minor(-123450, 2) == "-1234.50");
  CHECK(decimal_from_minor(450, 0) == "450");
  CHECK(percent_text(Rate{190'000}) == "19");
  CHECK(percent_text(Rate{88'750}) == "8.875");
  CHECK(percent_text(Rate{0}) == "0");
  CHECK(percent_text(Rate{1'000'000}) == "100");
}
