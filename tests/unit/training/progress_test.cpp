#include "training/progress.hpp"

#include "catch.hpp"

using namespace ripplegauge;

namespace {

TrainingAttempt attempt(const std::string& who, const std::string& exercise, std::optional<double> percent,
                        int highs = 0, std::optional<double> minutes = {}) {
  TrainingAttempt one;
  one.who = who;
  one.exercise = exercise;
  one.percent_gone = percent;
  one.highs_made = highs;
  one.minutes = minutes;
  return one;
}

}  // namespace

TEST_CASE("progress is kept apart by trainee and exercise", "[progress]") {
  const auto all = training_progress({attempt("bay 1", "door", 40), attempt("bay 2", "door", 70),
                                      attempt("bay 1", "hood", 10), attempt("bay 1", "door", 60)});
  REQUIRE(all.size() == 3);
  CHECK(all[0].who == "bay 1");
  CHECK(all[0].exercise == "door");
  CHECK(all[0].attempts.size() == 2);
  CHECK(all[0].mean_percent_gone == 50);
  CHECK(all[1].who == "bay 2");
  CHECK(all[2].exercise == "hood");
}

TEST_CASE("a trend is told only where the attempts carry it", "[progress]") {
  const auto progress = [](const std::vector<double>& percents) {
    std::vector<TrainingAttempt> attempts;
    for (const double percent : percents) attempts.push_back(attempt("a", "b", percent));
    return training_progress(attempts).at(0);
  };
  CHECK(progress({20, 80}).trend == TrendWord::too_few);
  CHECK_FALSE(progress({20, 80}).trend_percent_per_attempt);
  CHECK(progress({20, 31, 39, 52, 60}).trend == TrendWord::improving);
  CHECK(progress({60, 52, 39, 31, 20}).trend == TrendWord::getting_worse);
  CHECK(progress({20, 80, 30, 70, 40}).trend == TrendWord::no_clear_trend);

  const TraineeProgress steady = progress({20, 31, 39, 52, 60});
  REQUIRE(steady.trend_percent_per_attempt);
  CHECK(steady.trend_percent_per_attempt->value == Approx(10.1));
  CHECK(steady.first_percent_gone == 20);
  CHECK(steady.last_percent_gone == 60);
  CHECK(steady.best_percent_gone == 60);
}

TEST_CASE("highs are counted, times are medians, and unknowns stay out of both", "[progress]") {
  const auto all =
      training_progress({attempt("a", "b", 50, 1, 10), attempt("a", "b", std::nullopt, 0, std::nullopt),
                         attempt("a", "b", 70, 2, 30), attempt("a", "b", 60, 0, 14)});
  REQUIRE(all.size() == 1);
  CHECK(all[0].attempts.size() == 4);
  CHECK(all[0].highs_made == 3);
  CHECK(all[0].attempts_with_highs == 2);
  CHECK(all[0].median_minutes == 14);
  CHECK(all[0].mean_percent_gone == 60);
}

TEST_CASE("figures of photos that may show two places are counted", "[progress]") {
  std::vector<TrainingAttempt> attempts(4, attempt("a", "b", 100));
  attempts[0].same_place = "proven";
  attempts[1].same_place = attempts[2].same_place = "likely";
  attempts[2].percent_gone.reset();
  const TraineeProgress progress = training_progress(attempts).at(0);
  CHECK(progress.not_proven.count == 1);
  CHECK(progress.not_proven.of == 3);
}

TEST_CASE("what was pulled past flat is never the best, and is counted apart", "[progress]") {
  std::vector<TrainingAttempt> attempts = {attempt("a", "b", 60), attempt("a", "b", std::nullopt),
                                           attempt("a", "b", 70), attempt("a", "b", 95)};
  attempts[1].past_flat = 1;
  attempts[1].overshoot_mm = 0.08;
  attempts[3].outcome = "overdone";  // a row of an earlier version, which made a share of it
  const TraineeProgress progress = training_progress(attempts).at(0);
  CHECK(progress.best_percent_gone == 70);
  CHECK(progress.last_percent_gone == 70);
  CHECK(progress.mean_percent_gone == 65);
  CHECK(progress.past_flat.count == 2);
  CHECK(progress.past_flat.of == 4);
  CHECK(progress.past_flat_early.count == 1);
  CHECK(progress.past_flat_late.count == 1);
  CHECK(progress.largest_overshoot_mm == 0.08);
}

TEST_CASE("attempts stand in the order in which they were photographed", "[progress]") {
  std::vector<TrainingAttempt> attempts = {attempt("a", "b", 60), attempt("a", "b", 20)};
  attempts[0].taken_after = "2026-03-15T10:00:00";
  attempts[1].taken_after = "2026-03-14T10:00:00";
  CHECK(training_progress(attempts).at(0).first_percent_gone == 20);
}

TEST_CASE("an empty log has no progress", "[progress]") { CHECK(training_progress({}).empty()); }
