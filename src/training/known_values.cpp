// A study against values that are known: bias, and how readings scatter against what their intervals state.
#include "training/known_values.hpp"

#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>
#include <numeric>

#include "training/anova.hpp"
#include "training/trend.hpp"

namespace ripplegauge {
namespace {

/// In the order of first appearance.
std::vector<std::pair<std::string, std::vector<const StudyValue*>>> by_part(
    const std::vector<StudyValue>& values) {
  std::vector<std::pair<std::string, std::vector<const StudyValue*>>> parts;
  for (const StudyValue& value : values) {
    auto found =
        std::find_if(parts.begin(), parts.end(), [&](const auto& part) { return part.first == value.part; });
    if (found == parts.end()) found = parts.insert(parts.end(), {value.part, {}});
    found->second.push_back(&value);
  }
  return parts;
}

double mean_of(const std::vector<double>& values) {
  return std::accumulate(values.begin(), values.end(), 0.0) / static_cast<double>(values.size());
}

/// Means of people or set-ups; of one alone its readings.
std::vector<double> independent_values(const std::vector<const StudyValue*>& readings) {
  std::map<std::string, std::vector<double>> people;
  for (const StudyValue* reading : readings) people[reading->person].push_back(reading->value);
  if (people.size() == 1) return people.begin()->second;
  std::vector<double> means;
  for (const auto& [person, values] : people) means.push_back(mean_of(values));
  return means;
}

/// Half the interval of a mean by Student's t; absent for one value.
std::optional<double> half_interval(const std::vector<double>& values, double confidence) {
  if (values.size() < 2) return std::nullopt;
  const Spread spread = spread_about_mean(values);
  return coverage_factor(spread.degrees_of_freedom, confidence) *
         std::sqrt(spread.mean_square() / static_cast<double>(values.size()));
}

bool holds(const StudyValue& reading, const KnownValue& known) {
  const double below = std::hypot(reading.value - reading.stated->low, known.uncertainty),
               above = std::hypot(reading.stated->high - reading.value, known.uncertainty);
  return known.value >= reading.value - below && known.value <= reading.value + above;
}

}  // namespace

KnownComparison compare_with_known(const std::vector<StudyValue>& values,
                                   const std::map<std::string, KnownValue>& known, double confidence) {
  KnownComparison result;
  std::vector<double> percents;
  for (const auto& [part, readings] : by_part(values)) {
    const auto truth = known.find(part);
    if (truth == known.end()) continue;
    const std::vector<double> independent = independent_values(readings);
    PartBias bias{part, truth->second, static_cast<int>(readings.size()),
                  mean_of(independent) - truth->second.value, std::nullopt};
    if (const auto half = half_interval(independent, confidence)) {
      const double whole = std::hypot(*half, truth->second.uncertainty);
      bias.interval = Quantity{bias.bias, bias.bias - whole, bias.bias + whole};
    }
    if (truth->second.value != 0) percents.push_back(100 * bias.bias / truth->second.value);
    for (const StudyValue* reading : readings) {
      if (!reading->stated) continue;
      ++result.stated;
      result.holding += holds(*reading, truth->second) ? 1 : 0;
    }
    result.parts.push_back(std::move(bias));
  }
  if (const auto half = half_interval(percents, confidence)) {
    const double mean = mean_of(percents);
    result.bias_percent = Quantity{mean, mean - *half, mean + *half};
  }
  return result;
}

std::optional<Quantity> scatter_over_stated(const std::vector<StudyValue>& values, double confidence) {
  double sum = 0, degrees = 0;
  for (const auto& [part, readings] : by_part(values)) {
    std::vector<std::pair<double, double>> weighted;  // value, weight
    for (const StudyValue* reading : readings)
      if (reading->stated && reading->stated->high > reading->stated->low)
        weighted.emplace_back(reading->value,
                              std::pow(coverage_factor_95 / reading->stated->half_width(), 2));
    if (weighted.size() < 2) continue;
    double weights = 0, mean = 0;
    for (const auto& [value, weight] : weighted) {
      weights += weight;
      mean += weight * value;
    }
    mean /= weights;
    for (const auto& [value, weight] : weighted) sum += weight * (value - mean) * (value - mean);
    degrees += static_cast<double>(weighted.size()) - 1;
  }
  if (degrees == 0) return std::nullopt;
  const boost::math::chi_squared distribution(degrees);
  const double tail = 0.5 * (1 - confidence);
  return Quantity{std::sqrt(sum / degrees), std::sqrt(sum / boost::math::quantile(distribution, 1 - tail)),
                  std::sqrt(sum / boost::math::quantile(distribution, tail))};
}

}  // namespace ripplegauge
