// What phones, weather and people do to a photo and to what is said of it. The same every time.
#pragma once

#include <string>
#include <vector>

#include "altered_photos.hpp"

namespace ripplegauge {

/// One way to spoil a photo, or what the user says of it.
struct Spoiling {
  std::string family, name;
  void (*spoil)(Sample& sample, double strength);
  double strength;
};

/// All of them, in the order of a table: tone, tape, bar, blur, smear, ghost, messenger, exposure, edge,
/// drops.
const std::vector<Spoiling>& spoilings();

/// What became of a spoilt photo.
struct Outcome {
  bool measured = false, no_dent = false, refused = false, warned = false;
  std::string
      wrong;  ///< what of it is wrong, by more than its interval half as wide again; empty for nothing
  bool wrong_and_silent() const { return !wrong.empty() && !warned; }
};

/// Holds the reading against the truth: sizes and depths of the spots that are there, finds where none is,
/// and "no dent" over one that the reading says would have shown.
Outcome outcome_of(const Reading& reading, const nlohmann::json& true_dents);

}  // namespace ripplegauge
