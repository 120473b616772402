// Photos with truth from outside the project, where they are at hand: a folder "shared/practice" beside it.
#pragma once

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <string>
#include <vector>

#include "altered_photos.hpp"
#include "catch.hpp"
#include "ripplegauge/json/board_file.hpp"

namespace ripplegauge {

struct PracticePhoto {
  std::string name;
  Photo photo;
  MeasureRequest request;
  nlohmann::json dents;
  bool faulty = false;
};

inline std::vector<std::filesystem::path> practice_files(const std::vector<std::string>& folders) {
  const std::filesystem::path root =
      std::filesystem::path(RIPPLEGAUGE_SOURCE_DIR) / ".." / "shared" / "practice";
  std::vector<std::filesystem::path> files;
  for (const std::string& folder : folders) {
    if (!std::filesystem::exists(root / folder)) continue;
    for (const auto& entry : std::filesystem::directory_iterator(root / folder))
      if (entry.path().extension() == ".json" &&
          std::filesystem::exists(std::filesystem::path(entry.path()).replace_extension(".jpg")))
        files.push_back(entry.path());
  }
  std::sort(files.begin(), files.end());
  if (files.empty()) WARN("skipped: no practice photos in " << root);
  return files;
}

inline PracticePhoto read_practice(const std::filesystem::path& file) {
  std::ifstream in(file);
  const auto json = nlohmann::json::parse(in);
  const auto& given = json.at("given");
  PracticePhoto p;
  p.name = file.stem().string();
  p.photo = read_photo(std::filesystem::path(file).replace_extension(".jpg"));
  p.request.card =
      read_card(std::filesystem::path(RIPPLEGAUGE_SOURCE_DIR) / "calibration" / "card-corner.json");
  p.request.bar_length_mm = given.at("check_bar_mm").get<double>();
  if (given.contains("board_file") && given.at("board_file").is_string())
    p.request.board = read_board(file.parent_path() / given.at("board_file").get<std::string>());
  else
    p.request.board_pitch_mm = given.at("board_pitch_mm").get<double>();
  if (given.contains("board_distance_mm") && given.at("board_distance_mm").is_number())
    p.request.board_distance_mm = given.at("board_distance_mm").get<double>();
  p.dents = json.at("truth").value("dents", nlohmann::json::array());
  p.faulty = !json.at("fault").is_null();
  return p;
}

}  // namespace ripplegauge
