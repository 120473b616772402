// One dent, read from all photos of a set at once.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "dents/joint_fit.hpp"
#include "dents/spot_search.hpp"
#include "ripplegauge/core/reading.hpp"
#include "spot_numbers.hpp"

namespace ripplegauge {

/// A photo of the set, ready to be fitted.
struct SetView {
  PanelScene scene;
  BundleResult bundle;  ///< parameters as the photo alone tells them; the scene's move with the dents
};

/// What the photos say of a dent before they are taken together.
struct JointRequest {
  std::vector<std::vector<SpotVector>> starts;  ///< each photo's own answer: its parts
  std::vector<SpotVector> others;               ///< the panel's other spots
  std::vector<std::size_t> views;               ///< that may take part
  double bar_relative = 0;                      ///< standard uncertainty of the card's size
  bool free_surface = true;
  int threads = 1;
};

/// A photo's part in a joint answer.
struct JointPart {
  std::size_t view = 0;
  SpotJudgement judgement;
  FrameVector shift = FrameVector::Zero();  ///< by which the dent is off in this photo's own geometry
  PanelVector parameters;                   ///< with that put right
  /// How much likelier (ln) the photo finds what it shows by its own best answer; and that answer, nothing
  /// where none is.
  double against = 0;
  std::optional<SpotGeometry> alone;
};

struct JointSpot {
  std::vector<SpotVector> parts;
  std::vector<JointPart> photos;
  SpotAnswer answer;
  double explained = 0, explained_at_start = 0;  ///< means of the photos
  std::vector<BudgetTerm> budget;
};

/// Nothing where no two photos show enough of the place.
std::optional<JointSpot> read_jointly(const std::vector<SetView>& views, const JointRequest& request);

/// Whether a photo shows enough of a spot's place to take part in its fit.
bool shows_place(const SetView& view, const SpotVector& spot);

}  // namespace ripplegauge
