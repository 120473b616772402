#include "bundle_setup.hpp"

#include <algorithm>
#include <opencv2/core.hpp>

#include "refusals.hpp"
#include "ripplegauge/core/errors.hpp"

namespace ripplegauge {

void require_sensible(const MeasureRequest& request, double pitch_mm) {
  if (!(pitch_mm > 0.05 && pitch_mm < 500))
    throw UsageError("the board's pitch must lie between 0.05 and 500 mm; give it with --board-pitch");
  if (!(request.bar_length_mm > 50 && request.bar_length_mm < 200))
    throw UsageError("the check bar's length must lie between 50 and 200 mm; it is nominally 100 mm");
  if (request.board_distance_mm && !(*request.board_distance_mm > 20 && *request.board_distance_mm < 5000))
    throw UsageError("the board's distance must lie between 20 and 5000 mm");
}

std::optional<Refusal> take_card(const Photo& photo, const MeasureRequest& request, BundleProblem& problem) {
  problem.card = request.card;
  problem.card_scale = request.bar_length_mm / request.card.bar_nominal_mm;
  problem.tags = find_tags(photo.grey);
  return check_tags(photo.grey, request.card, problem.tags);
}

Refusal card_not_flat() {
  return {"card_not_flat", "No camera position fits the card's tags.",
          "Lay the card flat on the panel and photograph again."};
}

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
