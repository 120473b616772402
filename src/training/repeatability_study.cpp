// Variances of parts, people and repeats from expected mean squares; intervals by generalised pivotal
// quantities, drawn with a fixed seed.
#include "training/repeatability_study.hpp"

#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/fisher_f.hpp>
#include <cmath>
#include <random>

#include "ripplegauge/core/errors.hpp"

namespace ripplegauge {

namespace {

/// At least this many parts, people and trials are customary; fewer work but leave wide intervals.
constexpr std::size_t usual_parts = 10, usual_people = 3;
constexpr int usual_trials = 2;
constexpr std::size_t most_gaps_named = 8;

struct Components {
  double repeat = 0, person = 0, interaction = 0, part = 0;

  double reproducibility() const { return person + interaction; }
  double measurement() const { return repeat + person + interaction; }
  double total() const { return measurement() + part; }
};

/// Mean squares of the terms that the model keeps; without an interaction term it is pooled into the repeats,
/// and with one person there is no person term.
struct MeanSquares {
  Spread part, repeat;
  std::optional<Spread> person, interaction;
  double parts = 0, people = 1, trials = 0;
};

/// Expected mean squares of the random model, solved for the variances; a negative solution means that the
/// term is lost in the noise and counts as zero. Burdick, Borror, Montgomery, Design and Analysis of Gauge
/// R&R Studies (2005), chapters 2, 3.
Components components(const MeanSquares& model, double part, double person, double interaction,
                      double repeat) {
  const auto positive = [](double x) { return std::max(0.0, x); };
  const double crossing = model.interaction ? interaction : repeat;
  Components result;
  result.repeat = repeat;
  if (model.interaction) result.interaction = positive((interaction - repeat) / model.trials);
  if (model.person) result.person = positive((person - crossing) / (model.parts * model.trials));
  result.part = positive((part - crossing) / (model.people * model.trials));
  return result;
}

/// The interval of anything that depends on the variances: each mean square is replaced by its generalised
/// pivotal quantity, SS / chi-squared (Weerahandi, J. Am. Stat. Assoc. 88 (1993) 899; Burdick, Borror,
/// Montgomery 2005). The quantiles are drawn evenly and shuffled (Latin hypercube), with a fixed seed: the
/// same study always gives the same interval.
std::vector<Components> simulated_components(const MeanSquares& model, const StudyOptions& options) {
  std::mt19937_64 random(20240229);
  const auto draws = static_cast<std::size_t>(options.draws);
  const auto pivots = [&](const Spread& spread) {
    const boost::math::chi_squared distribution(spread.degrees_of_freedom);
    std::vector<double> values(draws);
    for (std::size_t i = 0; i < draws; ++i) {
      const double probability = (static_cast<double>(i) + 0.5) / static_cast<double>(draws);
      values[i] = spread.sum_of_squares / boost::math::quantile(distribution, probability);
    }
    for (std::size_t i = draws; i > 1; --i) std::swap(values[i - 1], values[random() % i]);
    return values;
  };
  const std::vector<double> part = pivots(model.part), repeat = pivots(model.repeat);
  const std::vector<double> none(draws, 0.0);
  const std::vector<double> person = model.person ? pivots(*model.person) : none;
  const std::vector<double> interaction = model.interaction ? pivots(*model.interaction) : none;
  std::vector<Components> result;
  for (std::size_t i = 0; i < draws; ++i)
    result.push_back(components(model, part[i], person[i], interaction[i], repeat[i]));
  return result;
}

template <typename Function>
Quantity with_interval(const Components& estimate, const std::vector<Components>& draws, double confidence,
                       Function function) {
  std::vector<double> values;
  values.reserve(draws.size());
  for (const Components& draw : draws) values.push_back(function(draw));
  std::sort(values.begin(), values.end());
  const auto at = [&](double probability) {
    const auto index =
        static_cast<std::size_t>(std::lround(probability * static_cast<double>(values.size() - 1)));
    return values[index];
  };
  const double value = function(estimate);
  const double tail = 0.5 * (1 - confidence);
  return {value, std::min(value, at(tail)), std::max(value, at(1 - tail))};
}

/// The exact interval of a standard deviation.
Quantity standard_deviation(const Spread& spread, double confidence) {
  const boost::math::chi_squared distribution(spread.degrees_of_freedom);
  const double tail = 0.5 * (1 - confidence);
  return {std::sqrt(spread.mean_square()),
          std::sqrt(spread.sum_of_squares / boost::math::quantile(distribution, 1 - tail)),
          std::sqrt(spread.sum_of_squares / boost::math::quantile(distribution, tail))};
}

/// One part alone: how people differ is known, what parts differ by is not.
void analyse_one_part(const CrossedValues& table, StudyResult& result, const StudyOptions& options) {
  const OneWayAnova anova = one_way_anova(table.front());
  result.table = {{"person", anova.between, anova.test}, {"repeats", anova.within, {}}};
  MeanSquares model;
  model.part = Spread{0, 1};
  model.person = anova.between;
  model.repeat = anova.within;
  model.parts = 1;
  model.trials = result.trials;
  const Components estimate =
      components(model, 0, anova.between.mean_square(), 0, anova.within.mean_square());
  const std::vector<Components> draws = simulated_components(model, options);
  const auto deviation = [&](auto variance) {
    return with_interval(estimate, draws, options.confidence,
                         [&](const Components& c) { return std::sqrt(variance(c)); });
  };
  result.repeatability = standard_deviation(anova.within, options.confidence);
  result.reproducibility = deviation([](const Components& c) { return c.reproducibility(); });
  result.measurement = deviation([](const Components& c) { return c.measurement(); });
}

void compare_with_tolerance(StudyResult& result, const StudyOptions& options) {
  const auto& deviation = result.measurement ? result.measurement : result.repeatability;
  if (!options.tolerance || !deviation) return;
  constexpr double customary_width = 6;
  const double share = 100 * customary_width / *options.tolerance;
  result.tolerance_percent =
      Quantity{share * deviation->value, share * deviation->low, share * deviation->high};
}

void fill_from_components(StudyResult& result, const MeanSquares& model, const StudyOptions& options) {
  const auto mean_square = [](const std::optional<Spread>& spread) {
    return spread ? spread->mean_square() : 0;
  };
  const Components estimate = components(model, model.part.mean_square(), mean_square(model.person),
                                         mean_square(model.interaction), model.repeat.mean_square());
  const std::vector<Components> draws = simulated_components(model, options);
  const auto deviation = [&](auto variance) {
    return with_interval(estimate, draws, options.confidence,
                         [&](const Components& c) { return std::sqrt(variance(c)); });
  };
  const auto percent = [&](auto variance) {
    return with_interval(estimate, draws, options.confidence, [&](const Components& c) {
      return c.total() > 0 ? 100 * std::sqrt(variance(c) / c.total()) : 0.0;
    });
  };
  const auto repeat = [](const Components& c) { return c.repeat; };
  const auto reproducibility = [](const Components& c) { return c.reproducibility(); };
  const auto measurement = [](const Components& c) { return c.measurement(); };
  const auto part = [](const Components& c) { return c.part; };

  result.repeatability = standard_deviation(model.repeat, options.confidence);
  result.part_variation = deviation(part);
  result.total = deviation([](const Components& c) { return c.total(); });
  result.repeatability_percent = percent(repeat);
  result.part_percent = percent(part);
  if (!model.person) return;
  result.reproducibility = deviation(reproducibility);
  result.measurement = deviation(measurement);
  result.reproducibility_percent = percent(reproducibility);
  result.measurement_percent = percent(measurement);
  // 1.41 is the root of two rounded, as the source prints it: AIAG, Measurement Systems Analysis, 4th ed.
  result.distinct_categories =
      std::max(1, static_cast<int>(1.41 * std::sqrt(estimate.part / estimate.measurement())));
  result.verdict = verdict_for(result.measurement_percent->value);

  if (estimate.person == 0 && estimate.interaction == 0)
    result.remarks.push_back(
        "people differ by no more than their own repeats do; reproducibility counts as 0");
  if (estimate.part == 0)
    result.remarks.push_back(
        "the parts differ by no more than the readings do: take parts that span small to large");
  const Quantity& share = *result.measurement_percent;
  if (verdict_for(share.low) != verdict_for(share.high))
    result.remarks.push_back(
        "the interval of the measurement share crosses the 10 % or 30 % line: more people, and more parts, "
        "would tell");
}

std::size_t index_of(std::vector<std::string>& names, const std::string& name) {
  const auto found = std::find(names.begin(), names.end(), name);
  if (found != names.end()) return static_cast<std::size_t>(found - names.begin());
  names.push_back(name);
  return names.size() - 1;
}

CrossedValues crossed_table(const std::vector<StudyValue>& values, StudyResult& result) {
  for (const StudyValue& value : values) {
    index_of(result.parts, value.part);
    index_of(result.people, value.person);
  }
  CrossedValues table(result.parts.size(), std::vector<std::vector<double>>(result.people.size()));
  for (const StudyValue& value : values)
    table[index_of(result.parts, value.part)][index_of(result.people, value.person)].push_back(value.value);
  return table;
}

/// Names every person and part with fewer readings than the fullest, so that the trainer can take just these.
void name_gaps(const CrossedValues& table, StudyResult& result) {
  std::size_t fullest = 0, least = table[0][0].size();
  for (const auto& part : table) {
    for (const auto& cell : part) {
      fullest = std::max(fullest, cell.size());
      least = std::min(least, cell.size());
    }
  }
  if (least == fullest) {
    result.trials = static_cast<int>(fullest);
    return;
  }
  std::size_t gaps = 0;
  for (std::size_t part = 0; part < table.size(); ++part) {
    for (std::size_t person = 0; person < table[part].size(); ++person) {
      const std::size_t have = table[part][person].size();
      if (have == fullest || ++gaps > most_gaps_named) continue;
      result.missing.push_back("part \"" + result.parts[part] + "\", person \"" + result.people[person] +
                               "\": " + std::to_string(have) + " of " + std::to_string(fullest) + " trials");
    }
  }
  if (gaps > most_gaps_named)
    result.missing.push_back("and " + std::to_string(gaps - most_gaps_named) + " more such gaps");
  result.missing.push_back(
      "every person has to read every part equally often; take the readings above, or leave those parts out");
}

Spread within_cells(const CrossedValues& table) {
  Spread all{0, 0};
  for (const auto& part : table)
    for (const auto& cell : part)
      if (cell.size() > 1) all = pooled({all, spread_about_mean(cell)});
  return all;
}

bool no_repeat_differs(const CrossedValues& table) {
  const auto all_equal = [](const std::vector<double>& cell) {
    return std::all_of(cell.begin(), cell.end(), [&](double value) { return value == cell.front(); });
  };
  return std::all_of(table.begin(), table.end(),
                     [&](const auto& part) { return std::all_of(part.begin(), part.end(), all_equal); });
}

void analyse_one_person(const CrossedValues& table, StudyResult& result, const StudyOptions& options) {
  std::vector<std::vector<double>> groups;
  for (const auto& part : table) groups.push_back(part[0]);
  const OneWayAnova anova = one_way_anova(groups);
  result.table = {{"part", anova.between, anova.test}, {"repeats", anova.within, {}}};
  MeanSquares model;
  model.part = anova.between;
  model.repeat = anova.within;
  model.parts = static_cast<double>(result.parts.size());
  model.trials = result.trials;
  fill_from_components(result, model, options);
}

void analyse_crossed(const CrossedValues& table, StudyResult& result, const StudyOptions& options) {
  const TwoWayAnova anova = two_way_anova(table);
  const FTest interaction = f_test(anova.interaction, anova.repeats);
  result.interaction_pooled = interaction.p > options.pooling_level;

  MeanSquares model;
  model.part = anova.rows;
  model.person = anova.columns;
  model.repeat = result.interaction_pooled ? pooled({anova.interaction, anova.repeats}) : anova.repeats;
  if (!result.interaction_pooled) model.interaction = anova.interaction;
  model.parts = static_cast<double>(result.parts.size());
  model.people = static_cast<double>(result.people.size());
  model.trials = result.trials;
  const Spread& error = model.interaction ? *model.interaction : model.repeat;
  result.table = {{"part", anova.rows, f_test(anova.rows, error)},
                  {"person", anova.columns, f_test(anova.columns, error)},
                  {"person by part", anova.interaction, interaction},
                  {"repeats", anova.repeats, {}},
                  {"total", anova.total, {}}};
  fill_from_components(result, model, options);
}

void remark_on_size(StudyResult& result) {
  if (result.parts.size() >= usual_parts && result.people.size() >= usual_people &&
      result.trials >= usual_trials)
    return;
  result.remarks.push_back(
      "a small study: " + std::to_string(usual_parts) + " parts, " + std::to_string(usual_people) +
      " people and 2 or 3 trials are usual; the intervals " + "say what this one can tell");
}

}  // namespace

void StudyOptions::validate() const {
  if (!(confidence > 0.5 && confidence < 1))
    throw UsageError("confidence is " + std::to_string(confidence) + ", but must lie between 0.5 and 1");
  if (!(pooling_level >= 0 && pooling_level <= 1))
    throw UsageError("pooling_level is " + std::to_string(pooling_level) + ", but must lie between 0 and 1");
  if (tolerance && !(*tolerance > 0 && *tolerance < 1e12))
    throw UsageError("tolerance is " + std::to_string(*tolerance) + ", but must be a width above 0");
  if (draws < 1000 || draws > 1000000)
    throw UsageError("draws is " + std::to_string(draws) + ", but must lie between 1000 and 1000000");
}

StudyVerdict verdict_for(double measurement_percent) {
  if (std::isnan(measurement_percent)) return StudyVerdict::unknown;
  if (measurement_percent < 10) return StudyVerdict::good;
  return measurement_percent <= 30 ? StudyVerdict::conditional : StudyVerdict::poor;
}

const char* to_string(StudyVerdict verdict) {
  switch (verdict) {
    case StudyVerdict::unknown:
      return "unknown";
    case StudyVerdict::good:
      return "good";
    case StudyVerdict::conditional:
      return "conditional";
    case StudyVerdict::poor:
      return "poor";
  }
  return "unknown";
}

StudyResult study_repeatability(const std::vector<StudyValue>& values, const StudyOptions& options) {
  options.validate();
  StudyResult result;
  if (values.empty()) {
    result.missing.push_back("there are no readings");
    return result;
  }
  const CrossedValues table = crossed_table(values, result);
  name_gaps(table, result);
  const Spread repeats = result.repeats = within_cells(table);
  if (repeats.degrees_of_freedom == 0)
    result.missing.push_back("nobody read a part twice: repeatability needs 2 or 3 trials of each part");
  if (result.parts.size() < 2)
    result.missing.push_back("there is one part only: take several, from small to large (10 are usual)");
  if (result.people.size() < 2)
    result.missing.push_back(
        "there is one person only: reproducibility needs 2 or more people or set-ups (3 are usual)");

  const bool can_analyse = result.parts.size() >= 2 && result.trials >= 2;
  if (repeats.degrees_of_freedom > 0 && no_repeat_differs(table)) {
    result.missing.push_back(
        "no repeat ever differed from the first: the readings are rounded too coarsely, or were copied, so "
        "nothing can be said of repeatability");
  } else if (can_analyse && result.people.size() >= 2) {
    analyse_crossed(table, result, options);
  } else if (can_analyse) {
    analyse_one_person(table, result, options);
  } else if (result.parts.size() == 1 && result.people.size() >= 2 && result.trials >= 2) {
    analyse_one_part(table, result, options);
  } else if (repeats.degrees_of_freedom > 0) {
    result.repeatability = standard_deviation(repeats, options.confidence);
  }
  compare_with_tolerance(result, options);
  if (result.trials > 0) remark_on_size(result);
  return result;
}

std::optional<Quantity> repeatability_ratio(const StudyResult& one, const StudyResult& other,
                                            double confidence) {
  if (!(one.repeats.sum_of_squares > 0) || !(other.repeats.sum_of_squares > 0)) return std::nullopt;
  const double ratio = other.repeats.mean_square() / one.repeats.mean_square();
  const boost::math::fisher_f distribution(other.repeats.degrees_of_freedom, one.repeats.degrees_of_freedom);
  const double tail = 0.5 * (1 - confidence);
  return Quantity{std::sqrt(ratio), std::sqrt(ratio / boost::math::quantile(distribution, 1 - tail)),
                  std::sqrt(ratio / boost::math::quantile(distribution, tail))};
}

}  // namespace ripplegauge
