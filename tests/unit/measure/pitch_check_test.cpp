// Pitches checked on the ray-traced sample photos, whose boards are known.
#include "measure/pitch_check.hpp"

#include <filesystem>

#include "catch.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/json/board_file.hpp"
#include "ripplegauge/json/card_file.hpp"
#include "ripplegauge/photo/photo.hpp"

using namespace ripplegauge;

namespace {

const std::filesystem::path root = RIPPLEGAUGE_SOURCE_DIR;

/// Sample, true pitch, taped distance and bar: samples/README.md.
struct Sample {
  const char* name;
  double pitch_mm, distance_mm, bar_mm;
};

PitchCheck check(const Sample& sample, double stated_mm) {
  MeasureRequest request;
  request.card = read_card(root / "calibration" / "card-corner.json");
  request.board_pitch_mm = stated_mm;
  request.board_distance_mm = sample.distance_mm;
  request.bar_length_mm = sample.bar_mm;
  return check_pitch(read_photo(root / "samples" / "photos" / (std::string(sample.name) + ".jpg")), request);
}

}  // namespace

TEST_CASE("the pitch that a photo shows holds the board's, whatever was stated", "[pitch_check]") {
  for (const Sample& sample : {Sample{"low-light", 12, 237, 100}, Sample{"high-dark", 16, 311, 98.4}})
    for (const auto& [factor, verdict] :
         {std::pair{1.0, PitchVerdict::agrees}, std::pair{1.15, PitchVerdict::differs},
          std::pair{0.5, PitchVerdict::half}, std::pair{2.0, PitchVerdict::twice}}) {
      const PitchCheck found = check(sample, factor * sample.pitch_mm);
      INFO(sample.name << " stated " << factor * sample.pitch_mm << ": "
                       << (found.refusal ? found.refusal->message : "") << " " << found.pitch_mm.low << " to "
                       << found.pitch_mm.high);
      REQUIRE_FALSE(found.refusal);
      CHECK(found.pitch_mm.low < sample.pitch_mm);
      CHECK(found.pitch_mm.high > sample.pitch_mm);
      CHECK(found.pitch_mm.half_width() < 0.1 * sample.pitch_mm);
      CHECK(found.verdict == verdict);
    }
}

TEST_CASE("a photo that shows no board is refused, a missing distance is wrong use", "[pitch_check]") {
  CHECK(check({"refused-no-card", 14, 288, 100}, 14).refusal->code == "card_not_found");
  MeasureRequest request;
  request.card = read_card(root / "calibration" / "card-corner.json");
  request.board_pitch_mm = 14;
  CHECK_THROWS_AS(check_pitch(read_photo(root / "samples" / "photos" / "low-dark.jpg"), request), UsageError);
}

TEST_CASE("a board's tags tell its pitch without a tape", "[pitch_check]") {
  constexpr double true_pitch_mm = 16;
  MeasureRequest request;
  request.card = read_card(root / "calibration" / "card-corner.json");
  request.bar_length_mm = 98.4;
  const Photo photo = read_photo(root / "samples" / "photos" / "tagged-board.jpg");
  for (const auto& [factor, verdict] :
       {std::pair{1.0, PitchVerdict::agrees}, std::pair{0.94, PitchVerdict::differs},
        std::pair{1.05, PitchVerdict::differs}}) {
    request.board = read_board(root / "samples" / "photos" / "tagged-board-board.json");
    request.board->pitch_mm *= factor;
    const PitchCheck found = check_pitch(photo, request);
    INFO("stated x " << factor << ": " << (found.refusal ? found.refusal->message : "") << " "
                     << found.pitch_mm.low << " to " << found.pitch_mm.high);
    REQUIRE_FALSE(found.refusal);
    CHECK(found.pitch_mm.low < true_pitch_mm);
    CHECK(found.pitch_mm.high > true_pitch_mm);
    CHECK(found.verdict == verdict);
    const Reading reading = measure(photo, request).reading;
    if (verdict == PitchVerdict::agrees)
      CHECK(reading.dents.size() == 1);
    else
      CHECK((reading.refusal && reading.refusal->code == "pitch_contradicted"));
  }
}
