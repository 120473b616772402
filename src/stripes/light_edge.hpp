// An edge of light or shadow across the stripes: found, told apart from what a panel does, and taken out of
// the photo.
#pragma once

#include <opencv2/core/mat.hpp>
#include <optional>

#include "panel/bundle.hpp"
#include "stripes/residual_field.hpp"
#include "stripes/stripe_field.hpp"

namespace ripplegauge {

/// Beyond a line in the photo, light is `factor` times as much (a shadow, a lamp that reaches only so far)
/// plus `veil` (sunlight on the paint): light' = light (1 + (factor - 1) e) + veil e, e = 1 / (1 + exp(-t /
/// width)). t is the distance across the line, less bow times the square of the distance along it.
struct LightEdge {
  double u_px = 0, v_px = 0;                   ///< a place on the line
  cv::Point2d normal{1, 0};                    ///< unit vector across, in the photo
  double width_px = 1;                         ///< from 12 to 88 % of the step take four of them
  double bow_per_px = 0;                       ///< of the line
  double log_factor = 0;                       ///< ln of the factor
  double veil = 0;                             ///< linear light
  double beyond_px(double u, double v) const;  ///< t
};

/// The clearest edge across the stripes that were followed and beside them. Only what takes most of the
/// misfit off the light beside it, as one line all along, counts; nothing else does: light that changes over
/// more than a few stripes is followed anyway.
std::optional<LightEdge> find_light_edge(const cv::Mat& grey, const BundleProblem& problem,
                                         const StripeField& field, double pixels_per_mm);

/// The photo (CV_8UC1, sRGB) as it would be without the edge. Pixels that are burnt out stay so.
cv::Mat without_light_edge(const cv::Mat& grey, const LightEdge& edge);

}  // namespace ripplegauge
