// A folder of shots: which ones belong together.
#pragma once

#include <string>
#include <vector>

#include "words/wording.hpp"

namespace ripplegauge {

struct Shot {
  std::string file;        ///< the name that pairing looks at, without its folder
  std::string date_taken;  ///< EXIF text, empty when unknown
};

struct PairingOptions {
  /// A file name says which it is with one of these words, set off by anything but letters, in any case.
  std::vector<std::string> before_words = {"before"};
  std::vector<std::string> after_words = {"after"};
  /// Shots without such a word are paired by time: each with the next one, if it follows within so many
  /// minutes.
  double most_minutes = 480;
};

/// One place: the shot before, and one or more after it in their order.
struct ShotGroup {
  std::string name;                ///< what the file names have in common, or the first file's name
  std::vector<std::size_t> shots;  ///< indices into the shots given
  std::string reason;              ///< by what they were put together
};

struct Pairing {
  std::vector<ShotGroup> groups;
  std::vector<std::string> left_over;  ///< one line for each shot without a partner, and why
};

Pairing pair_shots(const std::vector<Shot>& shots, const PairingOptions& options = {},
                   const Wording& words = Wording::plain());

}  // namespace ripplegauge
