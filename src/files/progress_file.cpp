#include "ripplegauge/files/progress_file.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "ripplegauge/json/json_write.hpp"
#include "ripplegauge/training/trend.hpp"

namespace ripplegauge {

namespace {

OrderedJson json_of(const TrainingAttempt& attempt) {
  OrderedJson json;
  json["logged_at"] = attempt.logged_at;
  json["before"] = attempt.before;
  json["after"] = attempt.after;
  json["percent_gone"] = json_number(attempt.percent_gone);
  json["highs_made"] = attempt.highs_made;
  json["new_lows"] = attempt.new_lows;
  json["minutes"] = json_number(attempt.minutes);
  json["outcome"] = attempt.outcome;
  return json;
}

OrderedJson json_of(const TraineeProgress& progress) {
  OrderedJson json;
  json["who"] = progress.who;
  json["exercise"] = progress.exercise;
  json["attempts"] = progress.attempts.size();
  json["mean_percent_gone"] = json_number(progress.mean_percent_gone);
  json["first_percent_gone"] = json_number(progress.first_percent_gone);
  json["last_percent_gone"] = json_number(progress.last_percent_gone);
  json["best_percent_gone"] = json_number(progress.best_percent_gone);
  json["highs_made"] = progress.highs_made;
  json["attempts_with_highs"] = progress.attempts_with_highs;
  json["median_minutes"] = json_number(progress.median_minutes);
  json["trend"] = to_string(progress.trend);
  if (const auto& trend = progress.trend_percent_per_attempt)
    json["trend_percent_per_attempt"] = {{"value", json_number(trend->value)},
                                         {"low", json_number(trend->low)},
                                         {"high", json_number(trend->high)}};
  json["list"] = OrderedJson::array();
  for (const TrainingAttempt& attempt : progress.attempts) json["list"].push_back(json_of(attempt));
  return json;
}

std::string note_of(const TraineeProgress& progress) {
  std::string note = to_string(progress.trend);
  if (progress.trend_percent_per_attempt)
    note += fmt::format(", {:+.1f} points an attempt", progress.trend_percent_per_attempt->value);
  if (progress.highs_made > 0)
    note += "; " + std::to_string(progress.highs_made) +
            (progress.highs_made == 1 ? " high made" : " highs made");
  return note;
}

ChartPanel panel_of(const TraineeProgress& progress) {
  ChartPanel panel;
  panel.title = progress.exercise + ", " + progress.who;
  panel.note = note_of(progress);
  panel.x_label = "attempt";
  panel.y_label = "percent gone";
  panel.y_from = 0;
  panel.y_to = 100;
  ChartLine attempts;
  std::vector<double> x, y;
  for (std::size_t i = 0; i < progress.attempts.size(); ++i) {
    const TrainingAttempt& attempt = progress.attempts[i];
    if (!attempt.percent_gone) continue;
    x.push_back(static_cast<double>(i + 1));
    y.push_back(*attempt.percent_gone);
    attempts.points.push_back({x.back(), y.back(), std::nullopt, std::nullopt, attempt.highs_made > 0});
  }
  panel.lines.push_back(attempts);
  if (progress.trend_percent_per_attempt) {
    const LineFit line = fit_line(x, y);
    const auto at = [&](double where) {
      return ChartPoint{where, line.intercept + line.slope * where, {}, {}, false};
    };
    panel.lines.push_back({"", {at(x.front()), at(x.back())}, LineStyle::dashed});
  }
  return panel;
}

}  // namespace

std::string progress_to_json(const std::vector<TraineeProgress>& all) {
  OrderedJson json;
  json["schema"] = 1;
  json["progress"] = OrderedJson::array();
  for (const TraineeProgress& progress : all) json["progress"].push_back(json_of(progress));
  return json_text(json);
}

Chart progress_chart(const std::vector<TraineeProgress>& all) {
  Chart chart;
  chart.title = "Training progress";
  chart.footnote = "Triangles: attempts that left a high. Dashed: trend, drawn from three attempts on.";
  for (const TraineeProgress& progress : all) chart.panels.push_back(panel_of(progress));
  return chart;
}

}  // namespace ripplegauge
