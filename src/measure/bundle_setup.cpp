#include "bundle_setup.hpp"

#include <algorithm>
#include <opencv2/core.hpp>

namespace ripplegauge {

std::optional<Refusal> take_lens(const Photo& photo, const MeasureRequest& request, BundleProblem& problem,
                                 std::vector<Warning>& warnings) {
  LensPrior prior = lens_prior_from_exif(photo);
  if (request.camera) {
    const auto profile = lens_prior_from_profile(photo, *request.camera);
    if (const auto* misfit = std::get_if<Refusal>(&profile)) return *misfit;
    prior = std::get<LensPrior>(profile);
  }
  problem.constants.nominal_focal_px = prior.lens.focal_px;
  problem.constants.centre_u_px = prior.lens.centre_u_px,
  problem.constants.centre_v_px = prior.lens.centre_v_px;
  problem.priors.expected_k1 = prior.lens.k1, problem.priors.expected_k2 = prior.lens.k2;
  problem.priors.log_focal = prior.uncertainty.log_focal;
  problem.priors.centre_px = std::max(prior.uncertainty.centre_u_px, prior.uncertainty.centre_v_px);
  problem.priors.k1 = prior.uncertainty.k1, problem.priors.k2 = prior.uncertainty.k2;
  warnings.insert(warnings.end(), prior.warnings.begin(), prior.warnings.end());
  return std::nullopt;
}

double mean_pixels_per_mm(const std::vector<SeenTag>& tags, double side_mm) {
  double sum = 0;
  for (const SeenTag& tag : tags)
    for (std::size_t k = 0; k < 4; ++k)
      sum += cv::norm(tag.corners_px[k] - tag.corners_px[(k + 1) % 4]) / side_mm;
  return sum / (4 * static_cast<double>(tags.size()));
}

BundleNoise phase_noise(const StripeField& field) {
  // A demodulation window of 0.7 periods makes samples within about 6 square periods (4 pi 0.7^2) repeat each
  // other.
  const double area_mm2 =
      field.seen_fraction * field.grid.columns * field.grid.rows * field.grid.step_mm * field.grid.step_mm;
  BundleNoise noise;
  noise.phase_cycles = std::clamp(2.5 * field.bundle.phase_mad_cycles, 0.008, 0.05);
  noise.effective_phase_samples =
      std::clamp(area_mm2 / (6.2 * field.period_mm * field.period_mm), 10.0, 300.0);
  return noise;
}

}  // namespace ripplegauge
