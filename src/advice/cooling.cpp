// Newton's law of cooling through a few thermometer readings: a straight-line fit of the logarithm of the
// excess, weighted so that it is least squares in temperature. Intervals move each reading by its own error.
#include "advice/cooling.hpp"

#include <algorithm>
#include <cmath>

#include "core/expects.hpp"
#include "core/power_product.hpp"
#include "ripplegauge/core/errors.hpp"
#include "severity/severity.hpp"

namespace ripplegauge {
namespace {

/// T = ambient + sign · exp(log_excess - rate · (t - middle)).
struct Law {
  double ambient_c = 0, sign = 1, log_excess = 0, rate_per_s = 0, middle_s = 0;

  double excess_c(double at_s) const { return sign * std::exp(log_excess - rate_per_s * (at_s - middle_s)); }
  /// NaN when the temperature lies on the other side of the ambient.
  double time_of(double celsius) const {
    return middle_s + (log_excess - std::log((celsius - ambient_c) * sign)) / rate_per_s;
  }
};

/// Gauss-Newton in temperature. With the excess e = exp(a - k t), each step is a straight-line fit of
/// ln e + (observed - e) / e over t, weighted with e².
std::optional<Law> fit_law(const std::vector<TemperatureReading>& readings, double ambient_c, double sign) {
  Law law{ambient_c, sign};
  for (const auto& reading : readings) law.middle_s += reading.at_s / static_cast<double>(readings.size());

  // The first line weighs with the observed excess; readings on the wrong side of the ambient wait for the
  // next.
  bool first = true;
  constexpr int max_steps = 200;
  for (int step = 0; step < max_steps; ++step) {
    double s0 = 0, s1 = 0, s2 = 0, y0 = 0, y1 = 0;
    for (const auto& [at_s, celsius] : readings) {
      const double observed = sign * (celsius - ambient_c), t = at_s - law.middle_s;
      const double excess = first ? observed : sign * law.excess_c(at_s);
      if (!(excess > 0)) continue;
      const double y = std::log(excess) + (observed - excess) / excess, w = excess * excess;
      s0 += w;
      s1 += w * t;
      s2 += w * t * t;
      y0 += w * y;
      y1 += w * t * y;
    }
    const double determinant = s0 * s2 - s1 * s1;
    if (!(determinant > 1e-12 * s0 * s2)) return std::nullopt;  // one time only, or no usable reading
    const double slope = (s0 * y1 - s1 * y0) / determinant, level = (s2 * y0 - s1 * y1) / determinant;
    const double change =
        std::abs(level - law.log_excess) + std::abs(slope + law.rate_per_s) * std::sqrt(s2 / s0);
    law.log_excess = level;
    law.rate_per_s = -slope;
    if (!std::isfinite(level) || !std::isfinite(slope)) return std::nullopt;
    if (!first && change < 1e-12) break;
    first = false;
  }
  return law;
}

double chi_squared(const Law& law, const std::vector<TemperatureReading>& readings, double u_c) {
  double sum = 0;
  for (const auto& [at_s, celsius] : readings)
    sum += std::pow((celsius - law.ambient_c - law.excess_c(at_s)) / u_c, 2);
  return sum;
}

/// 95 % point of chi² by Wilson and Hilferty (1931): within 2 % from one degree of freedom on.
double chi_squared_95(double degrees_of_freedom) {
  expects(degrees_of_freedom > 0, "a degree of freedom");
  const double v = 2 / (9 * degrees_of_freedom);
  return degrees_of_freedom * std::pow(1 - v + 1.645 * std::sqrt(v), 3);
}

/// A value that follows from the fit, with its interval: each reading and the ambient is moved by its
/// standard uncertainty in turn and the law fitted again (JCGM 100:2008, 5.1.3, note 2).
template <class Output>
Quantity with_interval(const std::vector<TemperatureReading>& readings, const Law& law, double u_reading_c,
                       double u_ambient_c, Output output) {
  const double value = output(law);
  double variance = 0;
  const auto add = [&](const std::vector<TemperatureReading>& moved, double ambient_c) {
    const auto refit = fit_law(moved, ambient_c, law.sign);
    const double change = refit && refit->rate_per_s > 0 ? output(*refit) - value : std::nan("");
    // a refit that fails means that the readings hardly fix the answer: say "anything up to twice"
    variance += std::isfinite(change) ? change * change : value * value;
  };
  for (std::size_t i = 0; i < readings.size(); ++i) {
    auto moved = readings;
    moved[i].celsius += u_reading_c;
    add(moved, law.ambient_c);
  }
  add(readings, law.ambient_c + u_ambient_c);
  return quantity_from_standard_uncertainty(value, std::sqrt(variance));
}

void warn(PullWindow& result, const char* code, std::string message) {
  result.warnings.push_back({code, std::move(message)});
}

std::string degrees(double celsius) { return shown(celsius, 1) + " °C"; }

void check(const std::vector<TemperatureReading>& readings, double ambient_c,
           const TemperatureRange& window) {
  if (readings.size() < 2)
    throw UsageError(
        "one reading cannot tell how fast the panel cools; take at least two, some seconds apart");
  constexpr double longest_s = 1e6, hottest_c = 1000;  // far beyond any panel; keeps the arithmetic safe
  for (const auto& reading : readings)
    if (!(std::abs(reading.at_s) <= longest_s) || !(std::abs(reading.celsius) <= hottest_c))
      throw UsageError("the reading " + shown(reading.at_s, 1) + ":" + shown(reading.celsius, 1) +
                       " cannot be right; times in seconds, temperatures in °C");
  const auto [first, last] = std::minmax_element(
      readings.begin(), readings.end(), [](const auto& a, const auto& b) { return a.at_s < b.at_s; });
  if (!(last->at_s > first->at_s))
    throw UsageError("all readings are of the same second; take them some seconds apart");
  if (!(std::abs(ambient_c) <= hottest_c)) throw UsageError("the ambient temperature cannot be right");
  if (!(window.low_c < window.high_c))
    throw UsageError("the window from " + degrees(window.low_c) + " to " + degrees(window.high_c) +
                     " is empty; give the lower temperature first");
}

/// Cooling unless most of the excess is below the ambient.
double side_of_ambient(const std::vector<TemperatureReading>& readings, double ambient_c) {
  double sum = 0;
  for (const auto& reading : readings) sum += reading.celsius - ambient_c;
  return sum < 0 ? -1 : 1;
}

void warn_of_odd_readings(const std::vector<TemperatureReading>& readings, double ambient_c, double sign,
                          double limit_c, PullWindow& result) {
  std::string beyond, away;
  double nearest_c = sign * (readings.front().celsius - ambient_c);
  for (const auto& [at_s, celsius] : readings) {
    const double excess = sign * (celsius - ambient_c);
    const std::string name = degrees(celsius) + " at " + shown(at_s, 1) + " s";
    if (excess < 0) beyond += (beyond.empty() ? "" : ", ") + name;
    // two readings differ by chance by up to sqrt(2) times one reading's limit
    if (excess > nearest_c + std::sqrt(2.0) * limit_c) away += (away.empty() ? "" : ", ") + name;
    nearest_c = std::min(nearest_c, excess);
  }
  const bool cooling = sign > 0;
  if (!beyond.empty())
    warn(result, cooling ? "below_ambient" : "above_ambient",
         beyond + (cooling ? " is below" : " is above") + " the air's " + degrees(ambient_c) +
             ": nothing cools or warms past the air; check the air temperature and the thermometer");
  if (!away.empty())
    warn(result, cooling ? "rising" : "falling",
         away + (cooling ? " is warmer" : " is colder") +
             " than a reading before it: was heat still on? Start the readings after it is off");
  if (!cooling)
    warn(result, "colder_than_air",
         "the panel is colder than the air, so it is warming up, not cooling down");
}

void find_window(const std::vector<TemperatureReading>& readings, const Law& law,
                 const TemperatureRange& window, double u_reading_c, double u_ambient_c, PullWindow& result) {
  const bool cooling = law.sign > 0;
  const double enter_c = cooling ? window.high_c : window.low_c,
               leave_c = cooling ? window.low_c : window.high_c;
  const double start_c = law.ambient_c + law.excess_c(readings.front().at_s);
  const auto passed = [&](double celsius) { return cooling ? start_c <= celsius : start_c >= celsius; };
  const auto reached = [&](double celsius) { return law.sign * (celsius - law.ambient_c) > 0; };
  const auto when = [&](double celsius) {
    return with_interval(readings, law, u_reading_c, u_ambient_c,
                         [celsius](const Law& fitted) { return fitted.time_of(celsius); });
  };
  if (passed(leave_c)) {
    warn(result, "already_past",
         "the panel is already past the window at the first reading (" + degrees(start_c) +
             "): warm it again");
    return;
  }
  if (passed(enter_c))
    warn(result, "already_inside",
         "the panel is already inside the window at the first reading (" + degrees(start_c) + ")");
  else if (reached(enter_c))
    result.enters_s = when(enter_c);
  if (reached(leave_c))
    result.leaves_s = when(leave_c);
  else
    warn(result, "never_leaves",
         "with air at " + degrees(law.ambient_c) + " the panel never " +
             (reached(enter_c) ? "leaves" : "reaches") + " the window by itself" +
             (reached(enter_c) ? "" : ": find a cooler place, or cool it with a damp cloth"));
}

}  // namespace

void CoolingOptions::validate() const {
  if (!(thermometer_limit_c > 0 && thermometer_limit_c <= 20))
    throw UsageError("the thermometer's limit of error is " + shown(thermometer_limit_c, 2) +
                     " °C, but it must lie above 0 and up to 20 °C");
  if (!(ambient_limit_c >= 0 && ambient_limit_c <= 20))
    throw UsageError("the air temperature's limit of error is " + shown(ambient_limit_c, 2) +
                     " °C, but it must lie between 0 and 20 °C");
}

double seconds_to_reach(double rate_per_s, double ambient_c, double from_c, double to_c) {
  const double share = (to_c - ambient_c) / (from_c - ambient_c);
  return share > 0 && share <= 1 ? -std::log(share) / rate_per_s : std::nan("");
}

PullWindow fit_cooling(const std::vector<TemperatureReading>& given, double ambient_c,
                       const TemperatureRange& window, const CoolingOptions& options) {
  options.validate();
  check(given, ambient_c, window);
  auto readings = given;
  std::stable_sort(readings.begin(), readings.end(),
                   [](const auto& a, const auto& b) { return a.at_s < b.at_s; });

  PullWindow result;
  const double sign = side_of_ambient(readings, ambient_c);
  result.warming = sign < 0;
  warn_of_odd_readings(readings, ambient_c, sign, options.thermometer_limit_c, result);

  const double u_ambient_c = options.ambient_limit_c / std::sqrt(3.0);
  double u_reading_c = options.thermometer_limit_c / std::sqrt(3.0);
  const auto law = fit_law(readings, ambient_c, sign);
  if (!law || !(law->rate_per_s > 0)) {
    warn(result, "no_cooling",
         "these readings do not tend towards the air's " + degrees(ambient_c) +
             ", so no window can be told; take new ones with the heat off");
    return result;
  }
  const double chi2 = chi_squared(*law, readings, u_reading_c);
  const double freedom = static_cast<double>(readings.size()) - 2;
  result.rms_residual_c = u_reading_c * std::sqrt(chi2 / static_cast<double>(readings.size()));
  if (freedom > 0 && chi2 > chi_squared_95(freedom)) {
    warn(result, "scatter",
         "the readings scatter by " + shown(result.rms_residual_c, 1) + " K" +
             " about the law of cooling, more than the thermometer explains: same spot, same distance, no "
             "draught?");
    u_reading_c *= std::sqrt(chi2 / freedom);
  }
  result.rate_per_s = with_interval(readings, *law, u_reading_c, u_ambient_c,
                                    [](const Law& fitted) { return fitted.rate_per_s; });
  if (result.rate_per_s->low <= 0)
    warn(result, "hardly_changed",
         "the temperature changed so little between the readings that the times are rough: read again later");
  find_window(readings, *law, window, u_reading_c, u_ambient_c, result);
  return result;
}

Quantity estimated_seconds(const SheetMetal& metal, const std::optional<double>& thickness_mm,
                           double ambient_c, double from_c, double to_c) {
  const Quantity thickness =
      thickness_mm ? Quantity{*thickness_mm, *thickness_mm, *thickness_mm} : metal.thickness_mm;
  const Quantity loss_w_m2k{10, 6, 16};
  const double logarithm = seconds_to_reach(1, ambient_c, from_c, to_c);
  return power_product(logarithm * metal.density_kg_m3 * metal.heat_capacity_j_kgk * 1e-3 / 2,
                       {{thickness, 1}, {loss_w_m2k, -1}});
}

}  // namespace ripplegauge
