// A board's tags and its stripes must agree: the pitch that makes them is found by fitting several.
#include "measure/pitch_check.hpp"

#include <cmath>
#include <opencv2/core.hpp>

#include "bundle_setup.hpp"
#include "photo_look.hpp"
#include "refusals.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/core/findings.hpp"
#include "stripe_check.hpp"
#include "stripe_look.hpp"

namespace ripplegauge {
namespace {

/// The tape's distance says nothing in these fits: what they find is compared with it.
constexpr double open_distance_mm = 300;

struct Followed {
  BundleProblem problem;
  StripeField field;
};

/// Follows the stripes as if the board had this pitch. Nothing if they do not fit it.
std::optional<Followed> follow(const Photo& photo, BundleProblem problem, const BundleResult& start,
                               double pitch_mm, double pixels_per_mm) {
  problem.constants.pitch_mm = pitch_mm;
  const PanelModel<double> model(problem.constants, start.parameters);
  const Vector3<double>& c = model.camera_centre();
  const double camera_mm =
      std::hypot(c.x - problem.constants.anchor_x_mm, c.y - problem.constants.anchor_y_mm, c.z);
  if (pitch_mm / (1 + problem.constants.nominal_distance_mm / camera_mm) * pixels_per_mm < resolved_period_px)
    return std::nullopt;
  StripeField field =
      follow_stripes(photo.grey, problem, start.parameters,
                     region_around_card(problem.card, problem.card_scale, bundle_margin_mm), pixels_per_mm);
  // Within a third of what is predicted it is this pitch or a wrong one of its own, not its half or double.
  constexpr double largest_ratio = 1.4;
  const bool fits = field.carrier_snr >= clear_carrier && field.carrier_ratio < largest_ratio &&
                    field.carrier_ratio > 1 / largest_ratio && !field.followed.empty() &&
                    field.bundle.phase_mad_cycles < followed_mad_cycles && problem.samples.size() > 100 &&
                    shows_stripes(look_at_stripes(photo.grey, problem, field, pixels_per_mm));
  return fits ? std::optional(Followed{std::move(problem), std::move(field)}) : std::nullopt;
}

struct ImpliedDistance {
  double distance_mm = 0, standard_uncertainty_mm = 0;
  PanelVector parameters;
};

/// How far the board would stand if it had this pitch.
ImpliedDistance implied_distance(Followed& followed, const PanelVector& start, double pitch_mm) {
  followed.problem.constants.pitch_mm = pitch_mm;
  const BundleResult bundle =
      fit_bundle(followed.problem, start, BundleFreedom::everything, phase_noise(followed.field));
  return {followed.problem.constants.nominal_distance_mm + bundle.parameters[p_board_distance],
          bundle.standard_uncertainty(p_board_distance), bundle.parameters};
}

/// The pitch whose implied distance is the stated one, by secants; phases count in cycles, whatever the
/// pitch.
void solve_pitch(Followed& followed, double start_pitch_mm, double distance_mm, double tape_uncertainty_mm,
                 PitchCheck& check) {
  followed.problem.priors.board_distance_mm = open_distance_mm;
  double pitch = start_pitch_mm, slope = 0;
  ImpliedDistance here = implied_distance(followed, followed.field.bundle.parameters, pitch);
  constexpr int steps = 6;
  for (int i = 0; i < steps; ++i) {
    // The first step is small; later ones go where the last two say.
    const double next =
        i == 0 ? 1.02 * pitch
               : pitch + std::clamp((distance_mm - here.distance_mm) / slope, -0.2 * pitch, 0.2 * pitch);
    if (std::abs(next - pitch) < 1e-4 * pitch) break;
    const ImpliedDistance there = implied_distance(followed, here.parameters, next);
    const double found_slope = (there.distance_mm - here.distance_mm) / (next - pitch);
    if (std::isfinite(found_slope) && found_slope > 0) slope = found_slope;
    if (slope <= 0) break;
    pitch = next, here = there;
  }
  if (slope <= 0) {
    check.refusal = Refusal{code_of(PhotoFinding::pitch_not_determined),
                            "The photo does not tell the board's pitch: its distance and the panel's "
                            "curvature explain the stripes alike.",
                            "Photograph the board in a flat panel or a pane of glass, nearer to the panel."};
    return;
  }
  const double tape = tape_uncertainty_mm / slope, photo = here.standard_uncertainty_mm / slope;
  check.pitch_mm = quantity_from_standard_uncertainty(pitch, std::hypot(tape, photo), coverage_factor_95, 0);
  check.from_distance_percent = 100 * tape / pitch, check.from_photo_percent = 100 * photo / pitch;
}

/// What the photo of a board with tags shows of its pitch; nothing else of `check` is filled but warnings.
PitchCheck check_pitch_by_tags(const Photo& photo, const MeasureRequest& request,
                               const MeasureOptions& options) {
  PitchCheck check;
  check.stated_mm = request.board->pitch_mm;
  const PhotoLook look = look_at_photo(photo, request, options);
  check.warnings = look.reading.warnings;
  const auto by_tags = pitch_by_tags(look.problem, look.field);
  if (by_tags) {
    check.pitch_mm = *by_tags;
    check.from_photo_percent = 25 * (by_tags->high - by_tags->low) / by_tags->value;
  } else if (look.reading.refusal) {
    check.refusal = look.reading.refusal;
  } else {
    check.refusal = Refusal{code_of(PhotoFinding::pitch_not_determined),
                            "Fewer than two of the board's tags can be read in the reflection, so they do "
                            "not tell its pitch.",
                            "Bring the board's tags into the reflection, or tape the board's distance."};
  }
  return check;
}

PitchVerdict verdict_of(const PitchCheck& check) {
  const auto holds = [&](double pitch_mm) {
    return check.pitch_mm.low <= pitch_mm && pitch_mm <= check.pitch_mm.high;
  };
  return holds(check.stated_mm)         ? PitchVerdict::agrees
         : holds(2 * check.stated_mm)   ? PitchVerdict::half
         : holds(0.5 * check.stated_mm) ? PitchVerdict::twice
                                        : PitchVerdict::differs;
}

}  // namespace

std::optional<Quantity> pitch_by_tags(const BundleProblem& problem, const StripeField& field) {
  constexpr std::size_t fewest_samples = 100;
  if (problem.board_corners.empty() || problem.samples.size() < fewest_samples) return std::nullopt;
  const BundleNoise noise = phase_noise(field);
  BundleProblem trial = problem;
  PanelVector parameters = field.bundle.parameters;
  const auto cost = [&](double log_pitch) {
    trial.constants.pitch_mm = std::exp(log_pitch);
    parameters = settle_bundle(trial, parameters, BundleFreedom::everything, noise);
    return bundle_equations(trial, parameters, noise).cost;
  };
  // Newton's method by differences on the least cost at each pitch, from wide steps, which outliers and
  // unsettled fits do not confuse, to narrow ones; the curvature at last is one over the variance.
  double log_pitch = std::log(problem.constants.pitch_mm), variance = 0;
  for (const double side : {0.03, 0.01, 0.005})
    for (int i = 0; i < 3; ++i) {
      const double here = cost(log_pitch), less = cost(log_pitch - side), more = cost(log_pitch + side);
      const double curvature = (more - 2 * here + less) / (side * side);
      double step = more < less ? side : -side;
      if (curvature > 0) {
        variance = 1 / curvature;
        step = std::clamp(-(more - less) / (2 * side * curvature), -2 * side, 2 * side);
      }
      log_pitch += step;
      if (std::abs(step) < 0.1 * side) break;
    }
  if (variance == 0) return std::nullopt;
  const double pitch_mm = std::exp(log_pitch);
  constexpr double placed = 0.003;  // relative: tags are stuck on or printed no better
  return quantity_from_standard_uncertainty(pitch_mm, pitch_mm * std::hypot(std::sqrt(variance), placed),
                                            coverage_factor_95, 0);
}

std::optional<double> pitch_that_fits(const Photo& photo, const BundleProblem& problem,
                                      const BundleResult& start, double stated_mm, double pixels_per_mm) {
  for (const double factor : {0.5, 2.0, 0.67, 1.5}) {
    const auto followed = follow(photo, problem, start, factor * stated_mm, pixels_per_mm);
    if (followed) return factor * stated_mm / followed->field.carrier_ratio;
  }
  return std::nullopt;
}

PitchCheck check_pitch(const Photo& photo, const MeasureRequest& request, const MeasureOptions& options) {
  options.validate();
  if (!request.board_distance_mm && request.board && !request.board->tags.empty()) {
    PitchCheck check = check_pitch_by_tags(photo, request, options);
    if (!check.refusal) check.verdict = verdict_of(check);
    return check;
  }
  if (!request.board_distance_mm)
    throw UsageError("to check a pitch, the board's distance must be given, between 20 and 5000 mm");
  require_sensible(request, request.board_pitch_mm);
  PitchCheck check;
  check.stated_mm = request.board_pitch_mm;
  const auto refuse = [&](const Refusal& refusal) {
    check.refusal = refusal;
    return check;
  };

  BundleProblem problem;
  if (const auto misfit = take_lens(photo, request, problem, check.warnings)) return refuse(*misfit);
  if (const auto refusal = take_card(photo, request, find_tags(photo.grey), problem)) return refuse(*refusal);
  const double pixels_per_mm =
      mean_pixels_per_mm(problem.tags, request.card.tag_side_mm * problem.card_scale);
  const PanelRegion area = region_around_card(request.card, problem.card_scale, 0);
  problem.constants.anchor_x_mm = 0.5 * (area.x0_mm + area.x1_mm),
  problem.constants.anchor_y_mm = 0.5 * (area.y0_mm + area.y1_mm);
  problem.constants.pitch_mm = request.board_pitch_mm;
  problem.constants.nominal_distance_mm = *request.board_distance_mm;
  const auto start = start_bundle(problem);
  if (!start) return refuse(card_not_flat());

  std::optional<Followed> best;
  double best_pitch = 0;
  for (const double factor : {1.0, 2.0, 0.5, 1.5, 0.667}) {
    auto followed = follow(photo, problem, *start, factor * request.board_pitch_mm, pixels_per_mm);
    if (!followed || (best && followed->field.carrier_snr <= best->field.carrier_snr)) continue;
    best = std::move(followed);
    best_pitch = factor * request.board_pitch_mm;
  }
  if (!best)
    return refuse({code_of(PhotoFinding::no_stripes),
                   "No reflected stripes were found that any pitch near the stated one, its half or its "
                   "double would explain.",
                   "Stand the board so that its reflection surrounds the card, and check pitch and distance "
                   "with a tape."});
  solve_pitch(*best, best_pitch, *request.board_distance_mm, options.tape_uncertainty_mm, check);
  if (check.refusal) return check;
  check.verdict = verdict_of(check);
  return check;
}

}  // namespace ripplegauge
