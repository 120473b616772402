// From a request to the bundle's problem: lens, card, board, tape, each with what is known of it before the
// photo speaks.
#include "bundle_setup.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/core.hpp>

#include "refusals.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/core/findings.hpp"

namespace ripplegauge {

void require_sensible(const MeasureRequest& request, double pitch_mm) {
  if (!(pitch_mm > 0.05 && pitch_mm < 500))
    throw UsageError("the board's pitch must lie between 0.05 and 500 mm");
  if (!(request.bar_length_mm > 50 && request.bar_length_mm < 200))
    throw UsageError("the check bar's length must lie between 50 and 200 mm; it is nominally 100 mm");
  if (request.board_distance_mm && !(*request.board_distance_mm > 20 && *request.board_distance_mm < 5000))
    throw UsageError("the board's distance must lie between 20 and 5000 mm");
  if (request.board && request.board->printed_mirrored)
    for (const BoardTag& tag : request.board->tags)
      for (const CardTag& on_card : request.card.tags)
        if (tag.id == on_card.id)
          throw UsageError(
              "tag number " + std::to_string(tag.id) +
              " is on the card and on the board; give the board other numbers in its file and in print");
}

std::optional<Refusal> take_card(const Photo& photo, const MeasureRequest& request,
                                 const std::vector<SeenTag>& seen, BundleProblem& problem) {
  problem.card = request.card;
  problem.card_scale = request.bar_length_mm / request.card.bar_nominal_mm;
  problem.tags = seen;
  return check_tags(photo.grey, request.card, problem.tags);
}

std::vector<BoardCorner> board_corners(const Photo& photo, const BoardDefinition& board,
                                       const std::vector<SeenTag>& seen) {
  const std::vector<SeenTag> mirrored =
      board.printed_mirrored ? std::vector<SeenTag>{} : find_tags(photo.grey, true);
  const std::vector<SeenTag>& tags = board.printed_mirrored ? seen : mirrored;
  std::vector<BoardCorner> corners;
  for (const BoardTag& known : board.tags) {
    const auto is_known = [&](const SeenTag& tag) { return tag.id == known.id; };
    if (std::count_if(tags.begin(), tags.end(), is_known) != 1) continue;  // seen twice: believe neither
    const SeenTag& tag = *std::find_if(tags.begin(), tags.end(), is_known);
    double side_px = 0;
    for (std::size_t k = 0; k < 4; ++k)
      side_px += 0.25 * cv::norm(tag.corners_px[k] - tag.corners_px[(k + 1) % 4]);
    // Orange peel makes a mirrored edge wander over its whole length; a straight one is as good as the
    // card's.
    constexpr double least_px = 0.15;
    const double uncertainty_mm = std::hypot(least_px, tag.edge_rms_px) * known.side_mm / side_px;
    // SeenTag's corners start at the top left of the tag as it reads. Printed mirrored, that is the printed
    // face's top right.
    const double to_right[4] = {-1, 1, 1, -1}, up[4] = {1, 1, -1, -1};
    for (std::size_t k = 0; k < 4; ++k)
      corners.push_back({known.id, tag.corners_px[k].x, tag.corners_px[k].y,
                         known.x_mm + (board.printed_mirrored ? -0.5 : 0.5) * to_right[k] * known.side_mm,
                         known.y_mm + 0.5 * up[k] * known.side_mm, uncertainty_mm});
  }
  return corners;
}

Refusal card_not_flat() {
  return {code_of(PhotoFinding::card_not_flat), "No camera position fits the card's tags.",
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

namespace {

double longer_over_shorter(const Photo& photo) {
  return static_cast<double>(std::max(photo.grey.cols, photo.grey.rows)) /
         std::min(photo.grey.cols, photo.grey.rows);
}

template <std::size_t n>
bool is_one_of(double ratio, const double (&known)[n]) {
  constexpr double rounding = 0.006;
  return std::any_of(std::begin(known), std::end(known),
                     [&](double k) { return std::abs(ratio / k - 1) < rounding; });
}

/// What a photo was cut out of, as far as EXIF's focal length is concerned.
struct Frame {
  double focal_factor = 1;  ///< of the focal length in pixels, over that by the photo's own diagonal
  double centre_px = 0;     ///< standard uncertainty of the optical axis about the photo's middle
};

/// Sensors are 4:3, or 3:2: such photos are whole. Phones make all other shapes by cutting the sensor's
/// picture; some then write the 35 mm equivalent of what is left, some that of the whole. A shape that no
/// phone makes was cut by hand, anywhere, out of a photo whose EXIF it still has.
std::vector<Frame> possible_frames(const Photo& photo, double centre_px) {
  const double ratio = longer_over_shorter(photo);
  constexpr double sensors[] = {4.0 / 3, 3.0 / 2},
                   phones[] = {16.0 / 9, 18.0 / 9, 19.5 / 9, 20.0 / 9, 1, 5.0 / 4};
  if (is_one_of(ratio, sensors)) return {{1, centre_px}};
  const double w = photo.grey.cols, h = photo.grey.rows, longer = std::max(w, h), shorter = std::min(w, h);
  const double sensor_longer = std::max(longer, 4.0 / 3 * shorter), sensor_shorter = 0.75 * sensor_longer;
  const double factor = std::hypot(sensor_longer, sensor_shorter) / std::hypot(longer, shorter);
  if (is_one_of(ratio, phones)) return {{1, centre_px}, {factor, centre_px}};
  const double cut_px = std::max(sensor_longer - longer, sensor_shorter - shorter);
  // Cut off anywhere: the middle is off by up to half of it, evenly.
  return {{factor, std::hypot(centre_px, 0.5 * cut_px / std::numbers::sqrt3)}};
}

struct FrameFit {
  BundleProblem problem;
  std::optional<BundleResult> start;
  double cost = 0;  ///< of the start
};

FrameFit fit_frame(const BundleProblem& problem, const Frame& frame) {
  FrameFit fit{problem, {}};
  fit.problem.constants.nominal_focal_px *= frame.focal_factor;
  fit.problem.priors.centre_px = frame.centre_px;
  fit.start = start_bundle(fit.problem);
  if (fit.start) fit.cost = fit.start->cost;
  return fit;
}

/// Of two frames, the one that the card's perspective fits better; how much worse the other one does widens
/// the focal length as far as it may still be the right one.
FrameFit best_frame(const BundleProblem& problem, const std::vector<Frame>& frames) {
  std::vector<FrameFit> fits;
  for (const Frame& frame : frames) fits.push_back(fit_frame(problem, frame));
  std::erase_if(fits, [](const FrameFit& f) { return !f.start; });
  if (fits.empty()) return {problem, std::nullopt};
  std::sort(fits.begin(), fits.end(), [](const FrameFit& a, const FrameFit& b) { return a.cost < b.cost; });
  FrameFit best = fits.front();
  if (fits.size() == 1) return best;
  // Costs are half a chi square: exp(-difference) is the likelihood ratio.
  const double odds = std::exp(best.cost - fits[1].cost), chance = odds / (1 + odds);
  constexpr double negligible = 0.01;
  if (chance < negligible) return best;
  const double apart =
      std::log(fits[1].problem.constants.nominal_focal_px / best.problem.constants.nominal_focal_px);
  best.problem.priors.log_focal = std::hypot(best.problem.priors.log_focal, std::sqrt(chance) * apart);
  best.start = start_bundle(best.problem);
  return best;
}

}  // namespace

std::optional<BundleResult> start_bundle_even_if_cropped(const Photo& photo, bool lens_by_exif,
                                                         BundleProblem& problem,
                                                         std::vector<Warning>& warnings) {
  const std::vector<Frame> frames = lens_by_exif ? possible_frames(photo, problem.priors.centre_px)
                                                 : std::vector<Frame>{{1, problem.priors.centre_px}};
  FrameFit fit = best_frame(problem, frames);
  if (!fit.start) return std::nullopt;
  BundleProblem loose = problem;
  // Half a frame cut away on one side moves the centre by a quarter of the width.
  loose.priors.log_focal = std::max(problem.priors.log_focal, 0.25);
  loose.priors.centre_px =
      std::max(problem.priors.centre_px, 0.2 * std::hypot(photo.grey.cols, photo.grey.rows));
  auto free = start_bundle(loose);
  constexpr double contradicted = 8;  // costs are half a chi square: 16 for three more free parameters
  if (!free || fit.cost - free->cost < contradicted) {
    problem = std::move(fit.problem);
    return fit.start;
  }
  problem = std::move(loose);
  warnings.push_back(
      {code_of(PhotoFinding::photo_cropped),
       "The photo seems to be cropped or rescaled: what it says of its lens does not fit. The "
       "lens is taken from the card's perspective, with wider intervals; give the photo as the "
       "camera made it."});
  return free;
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
  // Corners scatter as the photo shows: parameters take a quarter of the degrees of freedom, and few corners
  // tell their scatter only roughly.
  constexpr double margin = 1.5, sharpest_px = 0.05, least_factor = 0.3;
  noise.corner_px = std::clamp(margin * field.bundle.tag_rms_px / std::numbers::sqrt2, sharpest_px, 0.5);
  noise.board_corner_factor = std::clamp(margin * field.bundle.board_rms, least_factor, 3.0);
  noise.phase_cycles = std::clamp(2.5 * field.bundle.phase_mad_cycles, 0.008, 0.05);
  noise.effective_phase_samples =
      std::clamp(area_mm2 / (6.2 * field.period_mm * field.period_mm), 10.0, 300.0);
  return noise;
}

}  // namespace ripplegauge
