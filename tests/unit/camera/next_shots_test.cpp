#include "camera/next_shots.hpp"

#include <map>

#include "catch.hpp"
#include "synthetic.hpp"

using namespace ripplegauge;
using namespace synthetic;

TEST_CASE("fields of the picture are counted where the corners were", "[camera]") {
  CameraCalibration c;
  c.stored_size = {800, 600};
  c.photos.resize(1);
  CameraShot shot;
  shot.view.pixels = {{0, 0}, {799, 599}, {-0.5, 599.4}, {399.4, 0}, {399.6, 0}};
  const Coverage coverage = coverage_of(c, {shot});
  CHECK(coverage.fields_seen() == 5);
  CHECK(coverage.corners[0] == 1);
  CHECK(coverage.corners[3] == 1);
  CHECK(coverage.corners[4] == 1);
  CHECK(coverage.corners[5 * 8] == 1);
  CHECK(coverage.corners[5 * 8 + 7] == 1);
}

TEST_CASE("the next shot is one that helps: from the side, where all photos were taken squarely",
          "[camera]") {
  const CalibrationTarget target = card_target(corner_card());
  const Truth truth;
  std::mt19937 random(5);
  std::vector<CameraShot> shots;
  for (int i = 0; i < 8; ++i)
    shots.push_back(shot_of(target, truth, {1.0 * i, 40.0 * i, 45.0 * i, 300.0 + 10 * i, 0.4 + 0.03 * i, 0.5},
                            random, std::to_string(i)));
  const CameraCalibration before = calibrate_camera(target, shots);
  REQUIRE(before.solved);
  const auto next = next_shots(target, before, shots);
  REQUIRE(next.size() >= 2);
  CHECK(next[0].words.find("35 degrees") != std::string::npos);
  CHECK(next[0].log_focal < 0.6 * before.uncertainty().log_focal);
  CHECK(next[1].log_focal < next[0].log_focal);
}

TEST_CASE("words for the next shot turn with the phone", "[camera]") {
  const CalibrationTarget target = card_target(corner_card());
  const Truth truth;
  std::mt19937 random(6);
  std::vector<CameraShot> shots;
  for (int i = 0; i < 8; ++i)  // only the stored picture's left third is seen
    shots.push_back(shot_of(target, truth,
                            {10.0 + i, 47.0 * i, 45.0 * i, 450.0 + 10 * i, 0.2, 0.3 + 0.05 * i}, random,
                            std::to_string(i)));
  const CameraCalibration c = calibrate_camera(target, shots);
  REQUIRE(c.solved);
  const auto lying = next_shots(target, c, shots);
  for (CameraShot& shot : shots) shot.orientation = 6;  // upright, the stored picture's top is on the right
  const auto upright = next_shots(target, c, shots);
  REQUIRE(lying.size() >= 2);
  REQUIRE(upright.size() == lying.size());
  const std::map<std::string, std::string> turned = {{"top", "right"},
                                                     {"right", "bottom"},
                                                     {"bottom", "left"},
                                                     {"left", "top"},
                                                     {"middle", "middle"},
                                                     {"top left", "top right"},
                                                     {"top right", "bottom right"},
                                                     {"bottom right", "bottom left"},
                                                     {"bottom left", "top left"}};
  const auto between = [](const std::string& words, const std::string& before, const std::string& after) {
    const std::size_t from = words.find(before) + before.size();
    return words.substr(from, words.find(after) - from);
  };
  int sides = 0;
  for (std::size_t i = 0; i < lying.size(); ++i) {
    CHECK(between(upright[i].words, "at the ", " of the picture") ==
          turned.at(between(lying[i].words, "at the ", " of the picture")));
    if (lying[i].words.find("from its ") == std::string::npos) continue;
    ++sides;
    CHECK(between(upright[i].words, "from its ", ", about") ==
          turned.at(between(lying[i].words, "from its ", ", about")));
  }
  CHECK(sides > 0);
}

TEST_CASE("thirds of the picture without a corner are named as the photographer sees them", "[camera]") {
  CameraCalibration c;
  c.stored_size = {900, 600};
  c.photos.resize(1);
  CameraShot shot;
  for (const double u : {150.0, 450.0})
    for (const double v : {100.0, 300.0, 500.0}) shot.view.pixels.emplace_back(u, v);
  CHECK(unseen_places(c, {shot}) == std::vector<std::string>{"top right", "right", "bottom right"});
  shot.orientation = 6;
  CHECK(unseen_places(c, {shot}) == std::vector<std::string>{"bottom left", "bottom", "bottom right"});
}

TEST_CASE("nothing more is asked for once the lens is known well", "[camera]") {
  const CalibrationTarget target = chessboard_target({14, 10, 18});
  Truth truth;
  truth.corner_noise_px = 0.05;
  const std::vector<CameraShot> shots = good_shots(target, truth, 30, 2);
  const CameraCalibration c = calibrate_camera(target, shots);
  REQUIRE(c.solved);
  CHECK(c.uncertainty().log_focal < good_log_focal);
  CHECK(ray_uncertainty_px(c) < good_ray_share * 5000);
  CHECK(next_shots(target, c, shots).empty());
}
