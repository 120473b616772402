// What a search for dents needs of one photo, and the pixels that its fits look at.
#pragma once

#include <utility>
#include <vector>

#include "dents/dent_options.hpp"
#include "dents/spot_fit.hpp"
#include "stripes/residual_field.hpp"

namespace ripplegauge {

/// Everything a search needs of one photo. What is pointed at must outlive it.
struct PanelScene {
  const cv::Mat* grey = nullptr;           ///< the photo, CV_8UC1
  const BundleProblem* problem = nullptr;  ///< camera, card and board as observed
  PanelVector parameters;                  ///< and as estimated
  const ResidualField* field = nullptr;    ///< what the undisturbed panel does not explain
  double pixels_per_mm = 0;
  int threads = 1;  ///< the result is the same on any number
  DentOptions options{};
  FitWork* work = nullptr;  ///< counts what the fits of a search do, where it is to end
};

/// For a search that finishes what comes, as where outlines are good.
inline bool any_fit(const SpotVector&, double /*share*/) { return true; }

/// How a search for one spot goes in this scene.
inline SpotSearchOptions search_in(const PanelScene& scene, WorthFinishing worth_finishing,
                                   double effort = 1) {
  return {std::move(worth_finishing), scene.threads, effort, scene.options.starts};
}

/// The pixels for fitting a spot of this size, other spots explained: `reach` times its half length about its
/// middle, thinned to `max_pixels`, weighed for where this spot moves the stripes. Empty where nothing is
/// seen.
Patch patch_for(const PanelScene& scene, const SpotVector& spot, const std::vector<SpotVector>& others,
                double reach, std::size_t max_pixels);

/// The pixels for fitting a sum of spots.
Patch patch_for(const PanelScene& scene, const SpotSum& sum, const std::vector<SpotVector>& others,
                std::size_t max_pixels);

}  // namespace ripplegauge
