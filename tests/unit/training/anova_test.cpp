#include "training/anova.hpp"

#include <cmath>

#include "catch.hpp"

using namespace ripplegauge;

namespace {

// NIST Statistical Reference Datasets (StRD), analysis of variance, data set SiRstv: resistivity of silicon
// measured with five instruments.
const std::vector<std::vector<double>> si_rstv = {{196.3052, 196.1240, 196.1890, 196.2569, 196.3403},
                                                  {196.3042, 196.3825, 196.1669, 196.3257, 196.0422},
                                                  {196.1303, 196.2005, 196.2889, 196.0343, 196.1811},
                                                  {196.2795, 196.1748, 196.1494, 196.1485, 195.9885},
                                                  {196.2119, 196.1051, 196.1850, 196.0052, 196.2090}};

// NIST StRD, data set AtmWtAg: atomic weight of silver by two instruments; seven constant leading digits.
const std::vector<std::vector<double>> atm_wt_ag = {
    {107.8681568, 107.8681465, 107.8681572, 107.8681785, 107.8681446, 107.8681903, 107.8681526, 107.8681494,
     107.8681616, 107.8681587, 107.8681519, 107.8681486, 107.8681419, 107.8681569, 107.8681508, 107.8681672,
     107.8681385, 107.8681518, 107.8681662, 107.8681424, 107.8681360, 107.8681333, 107.8681610, 107.8681477},
    {107.8681079, 107.8681344, 107.8681513, 107.8681197, 107.8681604, 107.8681385, 107.8681642, 107.8681365,
     107.8681151, 107.8681082, 107.8681517, 107.8681448, 107.8681198, 107.8681482, 107.8681334, 107.8681609,
     107.8681101, 107.8681512, 107.8681469, 107.8681360, 107.8681254, 107.8681261, 107.8681450, 107.8681368}};

}  // namespace

TEST_CASE("one-way analysis of variance agrees with the certified values", "[anova]") {
  SECTION("SiRstv") {
    const OneWayAnova anova = one_way_anova(si_rstv);
    CHECK(anova.between.degrees_of_freedom == 4);
    CHECK(anova.within.degrees_of_freedom == 20);
    // Certified to 15 digits; the data's 4 constant digits cost 3 to 4 of a double's 16.
    CHECK(anova.test.ratio == Approx(1.18046237440255).epsilon(1e-11));
    CHECK(std::sqrt(anova.within.mean_square()) == Approx(0.104076068334656).epsilon(1e-12));
  }
  SECTION("AtmWtAg") {
    const OneWayAnova anova = one_way_anova(atm_wt_ag);
    CHECK(anova.between.degrees_of_freedom == 1);
    CHECK(anova.within.degrees_of_freedom == 46);
    // The differences stand in the last 9 of a double's 16 digits.
    CHECK(anova.test.ratio == Approx(15.9467335677930).epsilon(1e-8));
    CHECK(std::sqrt(anova.within.mean_square()) == Approx(1.51048314446410e-5).epsilon(1e-8));
  }
}

TEST_CASE("pooled standard deviations agree with the published examples", "[anova]") {
  SECTION("repeatability: NIST/SEMATECH e-Handbook of Statistical Methods, 2.4.4") {
    const Spread all = pooled({{0.48115, 60}, {0.69209, 60}, {0.48483, 60}, {1.21752, 60}, {0.30076, 60}});
    CHECK(all.degrees_of_freedom == 300);
    CHECK(std::sqrt(all.mean_square()) == Approx(0.10290).margin(0.000005));  // printed digits
  }
  SECTION("day to day: NIST/SEMATECH e-Handbook, 2.4.4.2") {
    const Spread all = pooled({spread_of(0.027280, 5), spread_of(0.027560, 5)});
    CHECK(all.degrees_of_freedom == 10);
    CHECK(std::sqrt(all.mean_square()) == Approx(0.02742).margin(0.000005));
  }
  SECTION("run to run: NIST/SEMATECH e-Handbook, 2.4.4.3") {
    const Spread all = pooled({spread_of(0.0223, 1), spread_of(0.0027, 1), spread_of(0.0289, 1),
                               spread_of(0.0133, 1), spread_of(0.0205, 1)});
    CHECK(all.degrees_of_freedom == 5);
    // The inputs are rounded in the fourth digit, as is the printed result.
    CHECK(std::sqrt(all.mean_square()) == Approx(0.0197).margin(0.00006));
  }
}

TEST_CASE("a two-way table splits the whole spread into its parts", "[anova]") {
  const CrossedValues values = {{{1.0, 1.3}, {2.1, 1.8}, {0.4, 0.9}}, {{3.2, 3.9}, {2.7, 3.0}, {5.5, 5.1}}};
  const TwoWayAnova anova = two_way_anova(values);
  const Spread sum = pooled({anova.rows, anova.columns, anova.interaction, anova.repeats});
  CHECK(sum.degrees_of_freedom == anova.total.degrees_of_freedom);
  CHECK(sum.sum_of_squares == Approx(anova.total.sum_of_squares).epsilon(1e-13));  // rounding only
}

TEST_CASE("a large offset costs no digits of a spread", "[anova]") {
  // NIST StRD NumAcc1 and NumAcc4, univariate: certified standard deviations 1 and 0.1.
  CHECK(std::sqrt(spread_about_mean({10000001, 10000003, 10000002}).mean_square()) == 1.0);
  std::vector<double> values = {10000000.2};
  for (int pair = 0; pair < 500; ++pair) {
    values.push_back(10000000.1);
    values.push_back(10000000.3);
  }
  // The values themselves are rounded at 2e-9, 2e-8 of the standard deviation.
  CHECK(std::sqrt(spread_about_mean(values).mean_square()) == Approx(0.1).epsilon(2e-8));
}

TEST_CASE("an F ratio is unknown rather than infinite without an error term", "[anova]") {
  CHECK(std::isnan(f_test({1, 2}, {0, 4}).ratio));
  CHECK(std::isnan(f_test({1, 2}, {1, 0}).ratio));
  CHECK(f_test({0, 2}, {1, 4}).p == 1.0);
}
