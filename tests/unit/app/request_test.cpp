// From what a person says to the request that is measured.
#include "app/request.hpp"

#include "catch.hpp"
#include "scratch_folder.hpp"

using namespace ripplegauge;
using Catch::Matchers::ContainsSubstring;

namespace {

const std::filesystem::path data = RIPPLEGAUGE_SOURCE_DIR "/calibration";

}  // namespace

TEST_CASE("what is said goes before the profile, the profile before what is usual", "[request]") {
  const ScratchFolder folder;
  SaidOfPhotos said;
  said.pitch_mm = {14};
  CHECK(request_for(said, 0, 1, data).bar_length_mm == 100);
  CHECK_FALSE(request_for(said, 0, 1, data).board_distance_mm.has_value());

  said.profile_file =
      folder.write("workshop.json", R"({"schema": 1, "board_pitch_mm": 16, "bar_length_mm": 99.2,
                                                        "board_distance_mm": 310})");
  const MeasureRequest both = request_for(said, 0, 1, data);
  CHECK(both.board_pitch_mm == 14);
  CHECK(both.bar_length_mm == 99.2);
  CHECK(both.board_distance_mm == 310);
  said.pitch_mm.clear();
  CHECK(request_for(said, 0, 1, data).board_pitch_mm == 16);
  CHECK(both.card.tags.size() == card_or_standard("", data).tags.size());
}

TEST_CASE("each photo has its own values, or all the same", "[request]") {
  SaidOfPhotos said;
  said.pitch_mm = {14};
  said.distance_mm = {188, 381};
  CHECK(request_for(said, 0, 2, data).board_distance_mm == 188);
  CHECK(request_for(said, 1, 2, data).board_distance_mm == 381);
  CHECK(request_for(said, 1, 2, data).board_pitch_mm == 14);
  CHECK_THAT(message_of<UsageError>([&] { request_for(said, 0, 3, data); }),
             ContainsSubstring("the board's distance has 2 values for 3 photos"));
}

TEST_CASE("a missing pitch is an error of its own, which names no option", "[request]") {
  const std::string message = message_of<PitchMissing>([] { request_for({}, 0, 1, data); });
  CHECK_THAT(message, ContainsSubstring("the board's pitch is missing"));
  CHECK(message.find("--") == std::string::npos);
}
