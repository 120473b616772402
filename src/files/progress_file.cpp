// Progress of trainees as JSON, as a chart, and as rows of an overview.
#include "files/progress_file.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <limits>

#include "json/json_write.hpp"
#include "training/trend.hpp"

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
  json["when"] = attempt.when();
  json["past_flat"] = attempt.went_past_flat();
  json["left_height_mm"] = json_number(attempt.left_height_mm);
  json["overshoot_mm"] = json_number(attempt.overshoot_mm);
  json["visible_limit_mm"] = json_number(attempt.visible_limit_mm);
  json["warnings"] = attempt.warnings;
  json["same_place"] = attempt.same_place;
  return json;
}

OrderedJson json_of(const ProgressView& view) {
  const TraineeProgress& progress = view.progress;
  OrderedJson json;
  json["who"] = progress.who;
  json["exercise"] = progress.exercise;
  json["attempts"] = progress.attempts.size();
  json["mean_percent_gone"] = json_number(progress.mean_percent_gone);
  json["first_percent_gone"] = json_number(progress.first_percent_gone);
  json["last_percent_gone"] = json_number(progress.last_percent_gone);
  json["best_percent_gone"] = json_number(progress.best_percent_gone);
  const auto share = [](const Share& one) { return OrderedJson{{"count", one.count}, {"of", one.of}}; };
  json["past_flat"] = share(progress.past_flat);
  json["past_flat_first_half"] = share(progress.past_flat_early);
  json["past_flat_second_half"] = share(progress.past_flat_late);
  json["largest_overshoot_mm"] = json_number(progress.largest_overshoot_mm);
  json["highs_made"] = progress.highs_made;
  json["attempts_with_highs"] = progress.attempts_with_highs;
  json["place_not_proven"] = share(progress.not_proven);
  json["median_minutes"] = json_number(progress.median_minutes);
  json["trend"] = to_string(progress.trend);
  if (const auto& trend = progress.trend_percent_per_attempt)
    json["trend_percent_per_attempt"] = {{"value", json_number(trend->value)},
                                         {"low", json_number(trend->low)},
                                         {"high", json_number(trend->high)}};
  json["target_percent"] = json_number(view.target_percent);
  json["advice"] = OrderedJson::array();
  for (const PracticeAdvice& one : view.advice)
    json["advice"].push_back({{"says", one.says}, {"because", one.because}});
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
  if (progress.not_proven.count > 0)
    note += "; " + std::to_string(progress.not_proven.count) + " if the photos show one place";
  return note;
}

/// Days of the photos, as names along the axis; none where they are not all known.
std::vector<std::string> days_of(const TraineeProgress& progress) {
  constexpr std::size_t most_names = 8;  // more would run into one another
  std::vector<std::string> days;
  for (const TrainingAttempt& attempt : progress.attempts) {
    if (attempt.when().empty() || progress.attempts.size() > most_names) return {};
    days.push_back(attempt.when().substr(5, 5));
  }
  return days;
}

ChartPanel panel_of(const ProgressView& view) {
  const TraineeProgress& progress = view.progress;
  ChartPanel panel;
  panel.title = progress.exercise + ", " + progress.who;
  panel.note = note_of(progress);
  panel.x_names = days_of(progress);
  panel.x_label = panel.x_names.empty() ? "attempt" : "attempt, by month and day of the photo";
  if (panel.x_names.empty() && !progress.attempts.front().when().empty())
    panel.x_label = "attempt, " + progress.attempts.front().when().substr(0, 10) + " to " +
                    progress.attempts.back().when().substr(0, 10);
  panel.y_label = "percent gone";
  panel.y_from = 0;
  panel.y_to = 100;
  ChartLine attempts, past_flat{"past flat", {}, LineStyle::dots};
  std::vector<double> x, y;
  for (std::size_t i = 0; i < progress.attempts.size(); ++i) {
    const TrainingAttempt& attempt = progress.attempts[i];
    const double number = static_cast<double>(i + 1);
    if (attempt.went_past_flat()) {  // at the foot and joined to nothing: no share of it is gone
      constexpr double gap = std::numeric_limits<double>::quiet_NaN();
      past_flat.points.push_back({number, 0, std::nullopt, std::nullopt, true});
      past_flat.points.push_back({number, gap, std::nullopt, std::nullopt, false});
      continue;
    }
    if (!attempt.percent_gone) continue;
    x.push_back(number);
    y.push_back(*attempt.percent_gone);
    attempts.points.push_back({x.back(), y.back(), std::nullopt, std::nullopt, false});
  }
  panel.lines.push_back(attempts);
  if (!past_flat.points.empty()) panel.lines.push_back(past_flat);
  if (progress.trend_percent_per_attempt) {
    const LineFit line = fit_line(x, y);
    const auto at = [&](double where) {
      return ChartPoint{where, line.intercept + line.slope * where, {}, {}, false};
    };
    panel.lines.push_back({"", {at(x.front()), at(x.back())}, LineStyle::dashed});
  }
  if (view.target_percent) {
    const auto at = [&](double where) { return ChartPoint{where, *view.target_percent, {}, {}, false}; };
    panel.lines.push_back(
        {"target", {at(1), at(static_cast<double>(progress.attempts.size()))}, LineStyle::plain});
  }
  return panel;
}

}  // namespace

std::string progress_to_json(const std::vector<ProgressView>& all) {
  OrderedJson json;
  json["schema"] = 1;
  json["progress"] = OrderedJson::array();
  for (const ProgressView& view : all) json["progress"].push_back(json_of(view));
  return json_text(json);
}

Chart progress_chart(const std::vector<ProgressView>& all) {
  Chart chart;
  chart.title = "Training progress";
  chart.footnote = "Triangles at the foot: pulled past flat, no success. Dashed: trend of the others.";
  for (const ProgressView& view : all) chart.panels.push_back(panel_of(view));
  return chart;
}

std::vector<OverviewRow> progress_overview(const std::vector<ProgressView>& all) {
  const auto percent = [](const std::optional<double>& value) {
    return value ? std::to_string(std::lround(*value)) + " %" : std::string("–");
  };
  const auto share = [](const Share& one) {
    return std::to_string(one.count) + "/" + std::to_string(one.of);
  };
  std::vector<OverviewRow> rows;
  for (const ProgressView& view : all) {
    const TraineeProgress& progress = view.progress;
    OverviewRow row{progress.exercise,
                    progress.who,
                    std::to_string(progress.attempts.size()),
                    share(progress.past_flat_early) + " then " + share(progress.past_flat_late),
                    percent(progress.last_percent_gone),
                    percent(progress.best_percent_gone),
                    to_string(progress.trend)};
    if (view.target_percent) row.last += " of " + percent(view.target_percent);
    rows.push_back(std::move(row));
  }
  return rows;
}

ReportPage progress_page(const std::vector<ProgressView>& all, const std::string& workshop,
                         const std::string& date) {
  ReportPage page;
  page.title = "Training progress";
  page.workshop = workshop;
  page.date = date;
  ReportTable overview;
  overview.header = {"Exercise", "Trainee", "Attempts", "Past flat", "Last", "Best", "Trend"};
  for (const OverviewRow& row : progress_overview(all))
    overview.rows.push_back(
        {row.exercise, row.who, row.attempts, row.past_flat, row.last, row.best, row.trend});
  page.blocks.emplace_back(std::move(overview));
  page.blocks.emplace_back(ReportNote{
      "Last, best and trend are of attempts in which nothing went past flat: what was pulled too far is no "
      "success, however little stands there. Past flat: attempts of the first half, then of the second."});
  for (const ProgressView& view : all) {
    page.blocks.emplace_back(ReportHeading{view.progress.exercise + ", " + view.progress.who});
    page.blocks.emplace_back(ReportPictures{{{chart_bgr(progress_chart({view})), "", false}}, 1});
    for (const PracticeAdvice& one : view.advice)
      page.blocks.emplace_back(ReportText{one.says + " Reason: " + one.because + "."});
    if (view.advice.empty())
      page.blocks.emplace_back(ReportText{"No rule says what to practise next; more attempts will tell."});
  }
  page.footer = "From a training log of photos of reflected stripes, before and after each pull.";
  return page;
}

}  // namespace ripplegauge
