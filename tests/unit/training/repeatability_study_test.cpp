#include "training/repeatability_study.hpp"

#include <cmath>
#include <random>

#include "catch.hpp"
#include "ripplegauge/core/errors.hpp"

using namespace ripplegauge;

namespace {

std::vector<StudyValue> crossed(const std::vector<std::vector<double>>& rows, int people, int trials) {
  std::vector<StudyValue> values;
  for (std::size_t part = 0; part < rows.size(); ++part)
    for (int person = 0; person < people; ++person)
      for (int trial = 0; trial < trials; ++trial)
        values.push_back({"part " + std::to_string(part + 1), std::string(1, static_cast<char>('A' + person)),
                          std::to_string(trial + 1),
                          rows[part][static_cast<std::size_t>(person * trials + trial)]});
  return values;
}

/// The worked example of AIAG, Measurement Systems Analysis, 4th ed., chapter III: ten parts, three people,
/// three trials (data and results read in a secondary copy). A row is a part: three trials of A, of B, of C.
std::vector<StudyValue> worked_example() {
  return crossed({{0.29, 0.41, 0.64, 0.08, 0.25, 0.07, 0.04, -0.11, -0.15},
                  {-0.56, -0.68, -0.58, -0.47, -1.22, -0.68, -1.38, -1.13, -0.96},
                  {1.34, 1.17, 1.27, 1.19, 0.94, 1.34, 0.88, 1.09, 0.67},
                  {0.47, 0.50, 0.64, 0.01, 1.03, 0.20, 0.14, 0.20, 0.11},
                  {-0.80, -0.92, -0.84, -0.56, -1.20, -1.28, -1.46, -1.07, -1.45},
                  {0.02, -0.11, -0.21, -0.20, 0.22, 0.06, -0.29, -0.67, -0.49},
                  {0.59, 0.75, 0.66, 0.47, 0.55, 0.83, 0.02, 0.01, 0.21},
                  {-0.31, -0.20, -0.17, -0.63, 0.08, -0.34, -0.46, -0.56, -0.49},
                  {2.26, 1.99, 2.01, 1.80, 2.12, 2.19, 1.77, 1.45, 1.87},
                  {-1.36, -1.25, -1.31, -1.68, -1.62, -1.50, -1.49, -1.77, -2.16}},
                 3, 3);
}

std::vector<StudyValue> invented_study(unsigned seed, double part_sd, double person_sd, double repeat_sd) {
  std::mt19937_64 random(seed);
  std::normal_distribution<double> normal;
  std::vector<double> person;
  for (int i = 0; i < 3; ++i) person.push_back(person_sd * normal(random));
  std::vector<std::vector<double>> rows;
  for (int part = 0; part < 10; ++part) {
    const double size = 20 + part_sd * normal(random);
    rows.emplace_back();
    for (int i = 0; i < 9; ++i)
      rows.back().push_back(size + person[static_cast<std::size_t>(i / 3)] + repeat_sd * normal(random));
  }
  return crossed(rows, 3, 3);
}

bool any_contains(const std::vector<std::string>& texts, const std::string& part) {
  for (const std::string& text : texts)
    if (text.find(part) != std::string::npos) return true;
  return false;
}

}  // namespace

TEST_CASE("the study agrees with the published worked example", "[study]") {
  const StudyResult study = study_repeatability(worked_example());
  REQUIRE(study.missing.empty());
  REQUIRE(study.table.size() == 5);
  // Tolerances: half a unit of the last printed digit.
  CHECK(study.table[0].spread.sum_of_squares == Approx(88.3619).margin(0.00005));
  CHECK(study.table[1].spread.sum_of_squares == Approx(3.1673).margin(0.00005));
  CHECK(study.table[2].spread.sum_of_squares == Approx(0.3590).margin(0.00005));
  CHECK(study.table[3].spread.sum_of_squares == Approx(2.7589).margin(0.00005));
  CHECK(study.table[4].spread.sum_of_squares == Approx(94.6471).margin(0.00005));
  CHECK(study.table[2].test.ratio == Approx(0.434).margin(0.0005));
  CHECK(study.table[2].test.p == Approx(0.974).margin(0.0005));
  CHECK(study.interaction_pooled);

  REQUIRE(study.measurement);
  CHECK(study.repeatability->value == Approx(0.199933).margin(0.0000005));
  CHECK(study.reproducibility->value == Approx(0.226838).margin(0.0000005));
  CHECK(study.measurement->value == Approx(0.302373).margin(0.0000005));
  CHECK(study.part_variation->value == Approx(1.04233).margin(0.000005));
  CHECK(study.measurement_percent->value == Approx(27.86).margin(0.005));
  CHECK(study.part_percent->value == Approx(96.04).margin(0.005));
  CHECK(study.distinct_categories == 4);
  CHECK(study.verdict == StudyVerdict::conditional);
}

TEST_CASE("the usual reading changes at ten and thirty per cent", "[study]") {
  // AIAG, Measurement Systems Analysis, 4th ed.: under 10 accepted, 10 to 30 conditional, above 30 rejected.
  CHECK(verdict_for(0) == StudyVerdict::good);
  CHECK(verdict_for(9.999) == StudyVerdict::good);
  CHECK(verdict_for(10) == StudyVerdict::conditional);
  CHECK(verdict_for(30) == StudyVerdict::conditional);
  CHECK(verdict_for(30.001) == StudyVerdict::poor);
  CHECK(verdict_for(std::nan("")) == StudyVerdict::unknown);
}

TEST_CASE("stated intervals hold the truth about 95 times in 100", "[study]") {
  const double part_sd = 3, person_sd = 0.5, repeat_sd = 0.4;
  const double measurement_sd = std::hypot(person_sd, repeat_sd);
  const double percent = 100 * measurement_sd / std::hypot(measurement_sd, part_sd);
  StudyOptions options;
  options.draws = 2000;
  const int studies = 300;
  int repeat_inside = 0, measurement_inside = 0, part_inside = 0, percent_inside = 0;
  for (int seed = 0; seed < studies; ++seed) {
    const StudyResult study = study_repeatability(
        invented_study(static_cast<unsigned>(seed), part_sd, person_sd, repeat_sd), options);
    REQUIRE(study.measurement_percent);
    const auto inside = [](const Quantity& q, double truth) { return q.low <= truth && truth <= q.high; };
    repeat_inside += inside(*study.repeatability, repeat_sd);
    measurement_inside += inside(*study.measurement, measurement_sd);
    part_inside += inside(*study.part_variation, part_sd);
    percent_inside += inside(*study.measurement_percent, percent);
  }
  // 95 % of 300 is 285, standard deviation 3.8; the simulated intervals are known to hold a little more than
  // they say.
  for (const int inside : {repeat_inside, measurement_inside, part_inside, percent_inside}) {
    CHECK(inside >= 273);
    CHECK(inside <= 298);
  }
}

TEST_CASE("a study scales with its unit and forgets an offset", "[study]") {
  std::vector<StudyValue> values = worked_example();
  const StudyResult plain = study_repeatability(values);
  for (StudyValue& value : values) value.value = 25.4 * value.value + 1000;
  const StudyResult changed = study_repeatability(values);
  REQUIRE(changed.measurement);
  // Rounding of values near 1000: 1e-13 of them, 1e-10 of the spread.
  CHECK(changed.measurement->value == Approx(25.4 * plain.measurement->value).epsilon(1e-9));
  CHECK(changed.measurement_percent->high == Approx(plain.measurement_percent->high).epsilon(1e-9));
}

TEST_CASE("a strong person-by-part term stays in the model", "[study]") {
  std::vector<StudyValue> values = worked_example();
  for (StudyValue& value : values)
    if (value.person == "A" && value.part == "part 3") value.value += 3;
  const StudyResult study = study_repeatability(values);
  CHECK_FALSE(study.interaction_pooled);
  REQUIRE(study.reproducibility);
  CHECK(study.reproducibility->value > study.repeatability->value);
}

TEST_CASE("an incomplete study names what is missing and says only what it can", "[study]") {
  SECTION("no readings") { CHECK(any_contains(study_repeatability({}).missing, "no readings")); }
  SECTION("one trial is lost") {
    std::vector<StudyValue> values = worked_example();
    values.erase(values.begin() + 10);
    const StudyResult study = study_repeatability(values);
    CHECK(any_contains(study.missing, "part \"part 2\", person \"A\": 2 of 3 trials"));
    CHECK_FALSE(study.measurement_percent);
    REQUIRE(study.repeatability);  // repeats of the other cells still tell
    CHECK(study.repeatability->value == Approx(std::sqrt(2.7589 / 60)).epsilon(0.05));
  }
  SECTION("everybody read once") {
    std::vector<StudyValue> values;
    for (const StudyValue& value : worked_example())
      if (value.trial == "1") values.push_back(value);
    const StudyResult study = study_repeatability(values);
    CHECK(any_contains(study.missing, "twice"));
    CHECK_FALSE(study.repeatability);
  }
  SECTION("one person") {
    std::vector<StudyValue> values;
    for (const StudyValue& value : worked_example())
      if (value.person == "B") values.push_back(value);
    const StudyResult study = study_repeatability(values);
    CHECK(any_contains(study.missing, "one person only"));
    CHECK(study.repeatability);
    CHECK(study.part_variation);
    CHECK_FALSE(study.reproducibility);
    CHECK_FALSE(study.measurement_percent);
    CHECK(study.verdict == StudyVerdict::unknown);
  }
  SECTION("one part") {
    std::vector<StudyValue> values;
    for (const StudyValue& value : worked_example())
      if (value.part == "part 1") values.push_back(value);
    const StudyResult study = study_repeatability(values);
    CHECK(any_contains(study.missing, "one part only"));
    CHECK(study.repeatability);
    CHECK_FALSE(study.part_variation);
  }
  SECTION("readings too coarse to differ") {
    std::vector<StudyValue> values = worked_example();
    for (StudyValue& value : values) value.value = value.part == "part 1" ? 0.1 : 0.3;
    const StudyResult study = study_repeatability(values);
    CHECK(any_contains(study.missing, "rounded too coarsely"));
    CHECK_FALSE(study.repeatability);
    CHECK_FALSE(study.distinct_categories);
  }
  SECTION("many gaps are counted, not listed") {
    std::vector<StudyValue> values;
    for (const StudyValue& value : worked_example())
      if (value.person == "A" || value.trial == "1") values.push_back(value);
    const StudyResult study = study_repeatability(values);
    CHECK(any_contains(study.missing, "12 more such gaps"));
    CHECK(study.missing.size() == 10);
  }
}

TEST_CASE("parts that do not differ are said to", "[study]") {
  const StudyResult study = study_repeatability(invented_study(5, 0.0, 0.5, 0.4));
  REQUIRE(study.measurement_percent);
  CHECK(study.measurement_percent->value > 90);
  CHECK(study.distinct_categories == 1);
  CHECK(study.verdict == StudyVerdict::poor);
}

TEST_CASE("study options say what is wrong with them", "[study]") {
  StudyOptions options;
  options.draws = 5;
  CHECK_THROWS_AS(study_repeatability(worked_example(), options), UsageError);
}
