#pragma once

#include <limits>
#include <vector>

#include "ripplegauge/core/quantity.hpp"

namespace ripplegauge {

/// y = intercept + slope x by least squares, with standard errors. NaN throughout with fewer than three
/// points, or when all x are equal: then there is no residual to judge the line by.
struct LineFit {
  double intercept = std::numeric_limits<double>::quiet_NaN();
  double slope = std::numeric_limits<double>::quiet_NaN();
  double intercept_error = std::numeric_limits<double>::quiet_NaN();
  double slope_error = std::numeric_limits<double>::quiet_NaN();
  double residual_deviation = std::numeric_limits<double>::quiet_NaN();
  double degrees_of_freedom = 0;
};

LineFit fit_line(const std::vector<double>& x, const std::vector<double>& y);

/// How many standard errors half an interval of this confidence has: Student's t (JCGM 100:2008, Table G.2).
double coverage_factor(double degrees_of_freedom, double confidence);

/// The slope with its interval.
Quantity slope_of(const LineFit& line, double confidence = 0.95);

}  // namespace ripplegauge
