// All spots of a photo: strongest first, each judged before it is believed.
#pragma once

#include <optional>
#include <vector>

#include "dents/candidates.hpp"
#include "dents/judgement.hpp"
#include "dents/panel_scene.hpp"

namespace ripplegauge {

struct FoundSpot {
  SpotFit fit;
  SpotJudgement judgement;
  std::optional<std::size_t> inside_of{};  ///< index of the spot of the other sign that this one lies in
  std::optional<SpotVector> second{};      ///< where it takes the sum of two spots to describe this one
};

struct RejectedSpot {
  Outline outline;
  double peak = 0;
  SpotJudgement judgement;
  double share_on_line = 0;  ///< of its area, hidden by a body line
  bool shaped_as_a_dent = false;
};

/// A place where stripes are bent or hidden and no believable spot explains it.
struct UnexplainedPlace {
  double x_mm = 0, y_mm = 0, width_mm = 0;  ///< of the largest disc of loud cells in it
  double loudest = 0;  ///< largest mean chi square: orange peel stays below Acceptance::peel_excess
};

struct SpotSearchResult {
  std::vector<FoundSpot> spots;
  std::vector<RejectedSpot> rejected;  ///< disturbances that no believable spot explains, strongest first
  std::vector<UnexplainedPlace> unexplained;  ///< louder than peel, the loudest first
  /// Ended by EffortOptions::most_fitted_pixels with more to try: there may be more spots.
  bool worn_out = false;
  cv::Mat unexplained_cells;  ///< CV_8UC1, the residual field's cells: 255 in these places, else 0
};

/// Finds the spots by the scene's options. The same result on any number of threads.
SpotSearchResult find_spots(const PanelScene& scene);

}  // namespace ripplegauge
