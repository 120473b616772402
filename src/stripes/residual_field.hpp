// What the undisturbed stripes do not explain: near zero on good panel, loud inside dents however the stripes
// fold.
#pragma once

#include <opencv2/core/mat.hpp>

#include "stripes/stripe_field.hpp"
#include "stripes/stripe_profile.hpp"

namespace ripplegauge {

/// The photo as light = A + B S(phase) + B r, with slow A and B (paint, lamp) by local least squares and the
/// stripe profile S from the undisturbed stripes. All matrices are grid rows x columns, CV_32FC1 unless said
/// otherwise.
struct ResidualField {
  PanelGrid grid;
  cv::Mat light, phase_cycles;
  cv::Mat level, contrast;  ///< A and B
  cv::Mat residual;         ///< r, in units of the stripe contrast; 0 where not valid
  cv::Mat valid;            ///< CV_8UC1: stripes seen, not on the card, not outside the photo
  cv::Mat inner;            ///< CV_8UC1: valid and at least half a period inside the striped area
  cv::Mat fold;             ///< CV_8UC1: a body line and a quarter of a period beside it; not `inner`
  StripeProfile profile = StripeProfile::cosine();  ///< as the grid's samples show it
  /// As single pixels of the photo show it: sampling takes no sharpness off.
  StripeProfile pixel_profile = StripeProfile::cosine();
  /// Where that was learnt: mean square of the phase's gradient, (cycles / px)^2.
  double learnt_density2_px = 0;
  double typical_contrast = 0;    ///< median B
  double typical_level = 0;       ///< median A
  double noise = 0;               ///< standard deviation of r on flat parts of the profile
  double edge_jitter_cycles = 0;  ///< what orange peel and blur add at stripe edges, as phase
  double peel_cell_mm =
      2.2;  ///< side of a patch of peel that goes up and down as one; 2.2 where it cannot be told
  double period_mm = 0;         ///< median over the valid area near the card
  double clipped_fraction = 0;  ///< share of the bright stripes that are clipped
};

/// How far from the card dents are looked for: further away the card says too little of camera and crown.
inline constexpr double search_margin_mm = 50;

ResidualField stripe_residual(const cv::Mat& grey, const BundleProblem& problem, const StripeField& field,
                              double pixels_per_mm);

/// Level, contrast and residual anew where the phases are others than they were fitted for. Writes none of
/// the field's old matrices: copies of it may share them.
void explain_light(ResidualField& field);

/// A and B of light = A + B S by weighted local least squares under a Gaussian window.
void local_light(const cv::Mat& light, const cv::Mat& profile_value, const cv::Mat& weight, double sigma_px,
                 cv::Mat& level, cv::Mat& contrast);

}  // namespace ripplegauge
