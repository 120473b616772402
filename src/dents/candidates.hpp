// Where the panel is disturbed: found from the energy of the whitened residual, without any hint.
#pragma once

#include <functional>
#include <optional>
#include <vector>

#include "dents/dent_options.hpp"
#include "dents/spot_fit.hpp"
#include "stripes/residual_field.hpp"

namespace ripplegauge {

struct Candidate {
  Outline outline;
  double peak = 0;  ///< height of its energy over the median of good panel, in units of its scatter (MAD)
  /// Ways in which it may be several dents that run together: the round parts that hang together by necks,
  /// with what of the following lies beside them; and the round parts of where it is loudest.
  std::vector<std::vector<Outline>> partings{};
};

/// Energy of good panel: it and its scatter (MAD).
struct PanelEnergy {
  float median = 0, scatter = 0;
};

struct DisturbanceMap {
  cv::Mat energy;  ///< smoothed whitened chi square, CV_32FC1
  cv::Mat score;   ///< (energy - median) / scatter of good panel; 0 where nothing can be said
  std::optional<PanelEnergy> good_panel;  ///< where there is enough of it
};

/// `explained` marks pixels (CV_32FC1, 0..1) inside spots that are modelled already: their leftover counts
/// less. `good_panel` of another map of the same photo, if given, makes their scores comparable.
DisturbanceMap disturbance(const ResidualField& field, const cv::Mat& explained = {},
                           const std::optional<PanelEnergy>& good_panel = {},
                           const CandidateOptions& options = {});

/// Where it is louder than good panel ever is: 255, else 0, CV_8UC1. Marks narrower than `least_mm`, specks
/// and scratches, are left out.
cv::Mat loud_cells(const DisturbanceMap& map, const PanelGrid& grid, double least_mm,
                   const CandidateOptions& options = {});

/// Connected regions of high score that could be spots, strongest first. See CandidateOptions.
std::vector<Candidate> find_candidates(const ResidualField& field, const DisturbanceMap& map,
                                       const std::function<bool(const Candidate&)>& could_be_spot,
                                       const DentOptions& options = {});

/// Sharpens an outline to the ellipse that best separates disturbed from quiet pixels (two-phase region
/// competition after Chan & Vese, IEEE Trans. Image Process. 10:266, 2001, with an ellipse as the curve).
Outline sharpen_outline(const Patch& patch, const Outline& start);

/// The residual field with these spots modelled too (exact phases, light solved anew); `explained` receives
/// 0..1.
ResidualField residual_with_spots(const ResidualField& field, const BundleProblem& problem,
                                  const PanelVector& parameters, const std::vector<SpotVector>& spots,
                                  cv::Mat& explained);

}  // namespace ripplegauge
