// Which spot after is which spot before. With the card where it was, by place; with the card moved, by the
// pattern that the spots make.
#pragma once

#include <limits>
#include <string>
#include <vector>

#include "ripplegauge/core/reading.hpp"
#include "words/wording.hpp"

namespace ripplegauge {

/// What is known of the card between the two photos.
enum class CardPlacement {
  unknown,  ///< work it out
  same,     ///< the user says that it was not moved
  moved     ///< the user says that it was moved
};

/// Takes a point of the after frame into the before frame: turned by turn_deg about the origin, then shifted.
struct CardMotion {
  double turn_deg = 0, dx_mm = 0, dy_mm = 0;

  PointMm before_from_after(PointMm after) const;
  PointMm after_from_before(PointMm before) const;
  bool operator==(const CardMotion&) const = default;
};

enum class AlignmentKind {
  same_card,    ///< both readings are in one frame
  by_pattern,   ///< the card was moved; the frames are joined by the pattern of two or more spots
  single_spot,  ///< the card was moved; the only spot before is taken for the only spot after, the turn is
                ///< not known
  none          ///< the frames cannot be joined
};

struct SpotMatch {
  int before = -1, after = -1;
  bool operator==(const SpotMatch&) const = default;
};

struct Alignment {
  AlignmentKind kind = AlignmentKind::none;
  CardMotion motion;                                         ///< zero unless by_pattern or single_spot
  std::vector<SpotMatch> pairs;                              ///< spots that fit, each used once
  double rms_mm = std::numeric_limits<double>::quiet_NaN();  ///< distance of the pairs after the motion
  bool ambiguous = false;                                    ///< another motion fits about as well
  std::string sureness;                                      ///< in words: how sure, and by what
};

struct AlignmentOptions {
  CardPlacement placement = CardPlacement::unknown;
  /// How far a spot's centre may lie from where it was: pulling changes its outline, so a share of its
  /// diameter, and at least what a paper card that is laid down again is off by.
  double least_tolerance_mm = 2.0;
  double tolerance_share = 0.4;
  /// For a moved card, where a chance fit has to be kept out.
  double pattern_tolerance_share = 0.25;
};

/// Distance within which the two may be the same spot.
double tolerance_mm(const Dent& before, const Dent& after, double share, double least_mm);

Alignment align(const std::vector<Dent>& before, const std::vector<Dent>& after,
                const AlignmentOptions& options = {}, const Wording& words = Wording::plain());

}  // namespace ripplegauge
