// A straight line by least squares, and the interval of its slope.
#include "training/trend.hpp"

#include <boost/math/distributions/students_t.hpp>
#include <cmath>
#include <numeric>

#include "core/expects.hpp"

namespace ripplegauge {

LineFit fit_line(const std::vector<double>& x, const std::vector<double>& y) {
  expects(x.size() == y.size(), "a y for each x");
  LineFit line;
  if (x.size() < 3) return line;
  const double count = static_cast<double>(x.size());
  const double mean_x = std::accumulate(x.begin(), x.end(), 0.0) / count;
  const double mean_y = std::accumulate(y.begin(), y.end(), 0.0) / count;
  double xx = 0, xy = 0;
  for (std::size_t i = 0; i < x.size(); ++i) {
    xx += (x[i] - mean_x) * (x[i] - mean_x);
    xy += (x[i] - mean_x) * (y[i] - mean_y);
  }
  if (!(xx > 0)) return line;

  line.slope = xy / xx;
  line.intercept = mean_y - line.slope * mean_x;
  double residual = 0;
  for (std::size_t i = 0; i < x.size(); ++i) {
    const double difference = y[i] - mean_y - line.slope * (x[i] - mean_x);
    residual += difference * difference;
  }
  line.degrees_of_freedom = count - 2;
  line.residual_deviation = std::sqrt(residual / line.degrees_of_freedom);
  line.slope_error = line.residual_deviation / std::sqrt(xx);
  line.intercept_error = line.residual_deviation * std::sqrt(1 / count + mean_x * mean_x / xx);
  return line;
}

double coverage_factor(double degrees_of_freedom, double confidence) {
  const boost::math::students_t distribution(degrees_of_freedom);
  return boost::math::quantile(distribution, 0.5 * (1 + confidence));
}

Quantity slope_of(const LineFit& line, double confidence) {
  if (std::isnan(line.slope)) return {};
  return quantity_from_standard_uncertainty(line.slope, line.slope_error,
                                            coverage_factor(line.degrees_of_freedom, confidence));
}

}  // namespace ripplegauge
