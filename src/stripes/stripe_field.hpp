// From a photo whose tags are known to the undisturbed stripes: carrier, phase, and the bundle they complete.
#pragma once

#include <opencv2/core/mat.hpp>
#include <string>

#include "panel/bundle.hpp"
#include "stripes/panel_view.hpp"

namespace ripplegauge {

/// The region of the panel that is looked at, mm in the card frame.
struct PanelRegion {
  double x0_mm = 0, y0_mm = 0, x1_mm = 0, y1_mm = 0;
};

/// The card's paper and `margin_mm` around it: dents are measured beside the card, not a metre away.
PanelRegion region_around_card(const CardDefinition& card, double card_scale, double margin_mm);

/// The stripes' light at nodes a quarter of a period apart.
struct StripeLight {
  PanelGrid nodes;
  cv::Mat mean, amplitude;  ///< of the light's swing about its mean; CV_32FC1
  cv::Mat seen;             ///< CV_8UC1: in the photo, and nothing covers the panel
  cv::Mat in_phase;         ///< CV_8UC1: seen, and light swings there as the model has it, however little
};

struct StripeField {
  BundleResult bundle;
  PanelGrid grid;    ///< of the masks
  cv::Mat followed;  ///< CV_8UC1: where the stripe phase could be followed (holes such as dents filled)
  cv::Mat bare;      ///< CV_8UC1: where stripes end, at a gap, trim, badge or handle; see without_stripes()
  cv::Mat ends;      ///< CV_8UC1: of those what something ends or covers, not the board's end
  StripeLight light;
  double period_mm = 0;      ///< on the panel, near the anchor
  double seen_fraction = 0;  ///< share of the neighbourhood of the anchor where stripes were followed
  double carrier_snr = 0;    ///< height of the carrier's spectral peak over the median of its band
  double carrier_ratio = 0;  ///< carrier frequency found / predicted from geometry
};

/// Finds the carrier near where geometry says it must be, then alternates demodulation with the model's own
/// phase as reference (so that only a slow remainder is unwrapped, quality-guided, from the best place
/// outwards) and the bundle fit, over a growing radius. problem.samples are filled. An empty `followed`
/// means: no stripes found.
StripeField follow_stripes(const cv::Mat& grey, BundleProblem& problem, const PanelVector& start,
                           const PanelRegion& region, double pixels_per_mm);

}  // namespace ripplegauge
