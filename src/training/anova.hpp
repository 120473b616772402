// Analysis of variance on plain tables: sums of squares, F ratios, pooled standard deviations.
#pragma once

#include <limits>
#include <vector>

namespace ripplegauge {

/// A sum of squared deviations and the number of independent ones among them.
struct Spread {
  double sum_of_squares = std::numeric_limits<double>::quiet_NaN();
  double degrees_of_freedom = 0;

  double mean_square() const { return sum_of_squares / degrees_of_freedom; }
};

/// The spread that has this standard deviation.
Spread spread_of(double standard_deviation, double degrees_of_freedom);

/// All spreads together: sums of squares and degrees of freedom both add (NIST/SEMATECH e-Handbook of
/// Statistical Methods, 2.4.4).
Spread pooled(const std::vector<Spread>& spreads);

/// The deviations of the values from their own mean, with two passes so that a large offset costs no digits.
Spread spread_about_mean(const std::vector<double>& values);

struct FTest {
  double ratio = std::numeric_limits<double>::quiet_NaN();
  double p =
      std::numeric_limits<double>::quiet_NaN();  ///< chance of a ratio this large if there is no effect
};

/// NaN throughout where the denominator is zero or has no degrees of freedom.
FTest f_test(const Spread& effect, const Spread& error);

struct OneWayAnova {
  Spread between, within;
  FTest test;
};

/// `groups` need not be equally large, but there must be two and more values than groups.
OneWayAnova one_way_anova(const std::vector<std::vector<double>>& groups);

/// Values of a balanced crossed table: values[a][b][r] is repeat r of row a and column b.
using CrossedValues = std::vector<std::vector<std::vector<double>>>;

struct TwoWayAnova {
  Spread rows, columns, interaction, repeats, total;
};

/// Balanced, with at least two rows, two columns and two repeats; both factors are crossed.
TwoWayAnova two_way_anova(const CrossedValues& values);

}  // namespace ripplegauge
