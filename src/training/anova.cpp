// Sums of squares of tables with one and two factors; means are taken twice, against rounding.
#include "training/anova.hpp"

#include <boost/math/distributions/fisher_f.hpp>
#include <cmath>
#include <numeric>

#include "core/expects.hpp"

namespace ripplegauge {

namespace {

/// Second pass over the rounding of the first: the mean is right to the last digit even with a large offset.
double mean_of(const std::vector<double>& values) {
  const double count = static_cast<double>(values.size());
  const double first = std::accumulate(values.begin(), values.end(), 0.0) / count;
  double rest = 0;
  for (const double value : values) rest += value - first;
  return first + rest / count;
}

}  // namespace

Spread spread_of(double standard_deviation, double degrees_of_freedom) {
  return {standard_deviation * standard_deviation * degrees_of_freedom, degrees_of_freedom};
}

Spread pooled(const std::vector<Spread>& spreads) {
  Spread all{0, 0};
  for (const Spread& spread : spreads) {
    all.sum_of_squares += spread.sum_of_squares;
    all.degrees_of_freedom += spread.degrees_of_freedom;
  }
  return all;
}

Spread spread_about_mean(const std::vector<double>& values) {
  expects(!values.empty(), "at least one value");
  const double mean = mean_of(values);
  Spread spread{0, static_cast<double>(values.size()) - 1};
  for (const double value : values) spread.sum_of_squares += (value - mean) * (value - mean);
  return spread;
}

FTest f_test(const Spread& effect, const Spread& error) {
  if (!(effect.degrees_of_freedom > 0) || !(error.degrees_of_freedom > 0) || !(error.sum_of_squares > 0))
    return {};
  const double ratio = effect.mean_square() / error.mean_square();
  const boost::math::fisher_f distribution(effect.degrees_of_freedom, error.degrees_of_freedom);
  return {ratio, boost::math::cdf(boost::math::complement(distribution, ratio))};
}

OneWayAnova one_way_anova(const std::vector<std::vector<double>>& groups) {
  std::vector<double> all;
  for (const auto& group : groups) all.insert(all.end(), group.begin(), group.end());
  expects(groups.size() >= 2 && all.size() > groups.size(), "two groups, and more values than groups");
  const double mean = mean_of(all);

  OneWayAnova result{{0, static_cast<double>(groups.size()) - 1}, {0, 0}, {}};
  for (const auto& group : groups) {
    const double deviation = mean_of(group) - mean;
    result.between.sum_of_squares += static_cast<double>(group.size()) * deviation * deviation;
    result.within = pooled({result.within, spread_about_mean(group)});
  }
  result.test = f_test(result.between, result.within);
  return result;
}

TwoWayAnova two_way_anova(const CrossedValues& values) {
  expects(values.size() >= 2 && values[0].size() >= 2 && values[0][0].size() >= 2,
          "two parts, two people and two repeats");
  const std::size_t rows = values.size(), columns = values[0].size(), repeats = values[0][0].size();
  const auto count = [](std::size_t n) { return static_cast<double>(n); };

  std::vector<double> all;
  std::vector<std::vector<double>> by_row(rows), by_column(columns);
  std::vector<std::vector<double>> cell_mean(rows, std::vector<double>(columns));
  TwoWayAnova result;
  result.repeats = {0, 0};
  for (std::size_t a = 0; a < rows; ++a) {
    for (std::size_t b = 0; b < columns; ++b) {
      const std::vector<double>& cell = values[a][b];
      expects(cell.size() == repeats, "as many repeats in every cell");
      all.insert(all.end(), cell.begin(), cell.end());
      by_row[a].insert(by_row[a].end(), cell.begin(), cell.end());
      by_column[b].insert(by_column[b].end(), cell.begin(), cell.end());
      cell_mean[a][b] = mean_of(cell);
      result.repeats = pooled({result.repeats, spread_about_mean(cell)});
    }
  }
  const double mean = mean_of(all);
  std::vector<double> row_mean, column_mean;
  for (const auto& row : by_row) row_mean.push_back(mean_of(row));
  for (const auto& column : by_column) column_mean.push_back(mean_of(column));

  result.total = spread_about_mean(all);
  result.rows = {0, count(rows) - 1};
  result.columns = {0, count(columns) - 1};
  result.interaction = {0, (count(rows) - 1) * (count(columns) - 1)};
  for (const double each : row_mean)
    result.rows.sum_of_squares += count(columns * repeats) * (each - mean) * (each - mean);
  for (const double each : column_mean)
    result.columns.sum_of_squares += count(rows * repeats) * (each - mean) * (each - mean);
  for (std::size_t a = 0; a < rows; ++a) {
    for (std::size_t b = 0; b < columns; ++b) {
      const double deviation = cell_mean[a][b] - row_mean[a] - column_mean[b] + mean;
      result.interaction.sum_of_squares += count(repeats) * deviation * deviation;
    }
  }
  return result;
}

}  // namespace ripplegauge
