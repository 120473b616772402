// What is looked at before any dent is looked for: card, view, stripes, and whether they can be measured.
// measure() goes on from it; check_photo() stops there.
#pragma once

#include <optional>
#include <vector>

#include "bundle_setup.hpp"
#include "ripplegauge/core/reading.hpp"
#include "stripe_look.hpp"
#include "stripes/light_edge.hpp"
#include "stripes/residual_field.hpp"

namespace ripplegauge {

/// As far as the photo can be followed. What comes after a refusal stays empty.
struct PhotoLook {
  cv::Mat grey;                        ///< the photo's, without edges of light
  std::vector<LightEdge> light_edges;  ///< those taken out
  Reading reading;  ///< photo, setup and warnings; the refusal where nothing could be measured
  BundleProblem problem;
  std::optional<BundleResult> view;  ///< from the tags alone
  double pixels_per_mm = 0;          ///< at the card
  double expected_period_px =
      0;  ///< of the stripes in the photo, by pitch, distances and scale; 0 before the view is known
  StripeField field;
  StripeLook stripes;
  ResidualField residual;
};

/// Throws UsageError for a request that makes no sense.
PhotoLook look_at_photo(const Photo& photo, const MeasureRequest& request, const MeasureOptions& options);

/// Fills in what bundle and stripes say of camera, panel and board.
void describe_setup(const BundleProblem& problem, const BundleResult& bundle, const StripeField& field,
                    Setup& setup);

}  // namespace ripplegauge
