#include <algorithm>

#include "catch.hpp"
#include "files/progress_file.hpp"

using namespace ripplegauge;

namespace {

TrainingAttempt attempt(const std::string& day, std::optional<double> percent_gone) {
  TrainingAttempt one;
  one.who = "bay 2";
  one.exercise = "door edge";
  one.taken_after = "2026-04-" + day + "T10:00:00";
  one.spots = 1;
  one.percent_gone = percent_gone;
  one.past_flat = percent_gone ? 0 : 1;
  one.outcome = percent_gone ? "partly" : "overdone";
  return one;
}

}  // namespace

TEST_CASE("what was pulled past flat never stands among the successes", "[progress]") {
  ProgressView view;
  view.progress = training_progress(
      {attempt("01", 40), attempt("02", std::nullopt), attempt("03", 60), attempt("04", 80)})[0];
  const Chart chart = progress_chart({view});
  const std::vector<ChartLine>& lines = chart.panels.at(0).lines;
  REQUIRE(lines.size() == 3);  // attempts, past flat, trend
  CHECK(lines[0].points.size() == 3);
  CHECK(std::none_of(lines[0].points.begin(), lines[0].points.end(), [](auto& p) { return p.flagged; }));
  CHECK(lines[1].label == "past flat");
  CHECK(lines[1].points.at(0).x == 2);
  CHECK(lines[1].points.at(0).y == 0);
  CHECK(lines[1].points.at(0).flagged);

  view.progress = training_progress({attempt("01", 40), attempt("02", 50)})[0];
  CHECK(progress_chart({view}).panels.at(0).lines.size() == 1);
}
