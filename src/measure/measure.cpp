#include "ripplegauge/measure/measure.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <opencv2/core.hpp>

#include "bundle_setup.hpp"
#include "geometry_uncertainty.hpp"
#include "refusals.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/dents/spot_search.hpp"
#include "ripplegauge/core/linear_light.hpp"
#include "ripplegauge/stripes/reflectance.hpp"
#include "spot_reading.hpp"
#include "stripe_check.hpp"
#include "ripplegauge/core/quantile.hpp"

namespace ripplegauge {
namespace {

constexpr double degrees = 180 / std::numbers::pi;

/// Moves the anchor of the board's distance to the spots: the tape was held there.
void anchor_at(BundleProblem& problem, PanelVector& parameters, double x_mm, double y_mm, double tape_sigma_mm, bool tape,
               const BundleNoise& noise) {
  const PanelModel<double> before(problem.constants, parameters);
  const double distance = before.board_view(x_mm, y_mm).distance_mm;
  problem.constants.anchor_x_mm = x_mm, problem.constants.anchor_y_mm = y_mm;
  if (tape) problem.priors.board_distance_mm = tape_sigma_mm;
  parameters[p_board_distance] = distance - problem.constants.nominal_distance_mm;
  // The same board, told from another anchor: let only the board move until it shows the same phases and tags.
  const PanelModel<double> after(problem.constants, parameters);
  double shift = 0;
  for (const PhaseSample& s : problem.samples) {
    const auto p = after.panel_from_pixel(s.u_px, s.v_px);
    shift += s.phase_cycles - after.phase(p.x_mm, p.y_mm, 0, 0);
  }
  if (!problem.samples.empty()) parameters[p_board_phase] += shift / static_cast<double>(problem.samples.size());
  for (const BoardCorner& c : problem.board_corners) {
    const auto p = after.panel_from_pixel(c.u_px, c.v_px);
    const auto q = after.board_frame_from_panel(p.x_mm, p.y_mm);
    const double share = 1 / static_cast<double>(problem.board_corners.size());
    parameters[p_board_shift] += share * (c.x_mm - q.x_mm), parameters[p_board_shift + 1] += share * (c.y_mm - q.y_mm);
  }
  parameters =
      fit_bundle(problem, parameters, BundleFreedom::board_only, {.phase_cycles = 0.2, .board_corner_factor = 10}).parameters;
  parameters = fit_bundle(problem, parameters, BundleFreedom::board_only, noise).parameters;
}

void describe_setup(const BundleProblem& problem, const BundleResult& bundle, const StripeField& field, Setup& setup) {
  const PanelModel<double> model(problem.constants, bundle.parameters);
  const auto u = [&](int i) { return std::sqrt(std::max(0.0, bundle.covariance(i, i))); };
  const auto& p = bundle.parameters;
  const double focal = problem.constants.nominal_focal_px * std::exp(p[p_log_focal]);
  setup.focal_px = quantity_from_standard_uncertainty(focal, focal * u(p_log_focal));
  const Vector3<double>& c = model.camera_centre();
  const double dx = c.x - problem.constants.anchor_x_mm, dy = c.y - problem.constants.anchor_y_mm;
  const double distance = std::sqrt(dx * dx + dy * dy + c.z * c.z);
  setup.camera_distance_mm = quantity_from_standard_uncertainty(distance, distance * u(p_log_focal));
  const double tilt = std::acos(std::clamp(c.z / distance, -1.0, 1.0)) * degrees;
  setup.camera_tilt_deg = quantity_from_standard_uncertainty(tilt, std::hypot(u(0), u(1)) * degrees);
  const auto view = model.board_view(problem.constants.anchor_x_mm, problem.constants.anchor_y_mm);
  if (!field.followed.empty()) {
    setup.board_distance_mm = quantity_from_standard_uncertainty(view.distance_mm, u(p_board_distance));
    setup.board_tilt_deg = quantity_from_standard_uncertainty(std::acos(std::clamp(std::abs(view.cos_tilt), 0.0, 1.0)) * degrees,
                                                              std::hypot(u(p_board_tilt), u(p_board_tilt + 1)) * degrees);
    setup.stripe_period_mm = field.period_mm;
  }
  setup.crown_x_per_m = quantity_from_standard_uncertainty(1e3 * p[p_crown], 1e3 * u(p_crown));
  setup.crown_y_per_m = quantity_from_standard_uncertainty(1e3 * p[p_crown + 1], 1e3 * u(p_crown + 1));
}

/// The board's pose from its tags, into `parameters`; a warning where tags and tape leave its distance open.
std::optional<Warning> take_board(const Photo& photo, const MeasureRequest& request, const std::vector<SeenTag>& seen,
                                  BundleProblem& problem, PanelVector& parameters) {
  const bool tape = request.board_distance_mm.has_value();
  if (request.board && !request.board->tags.empty()) {
    problem.board_tags = request.board->tags;
    if (const auto posed = start_board(problem, board_corners(photo, *request.board, seen), parameters, tape)) {
      parameters = *posed;
      return std::nullopt;
    }
    const std::string fallback =
        tape ? "the distance given by tape is used instead." : "no board distance was given either, so depths are rough.";
    return Warning{"board_tags_not_seen", "Fewer than two of the board's tags can be read in the reflection; " + fallback};
  }
  if (tape) return std::nullopt;
  return Warning{"board_distance_unknown", "No board distance was given: depths are rough."};
}

/// Stripes far weaker than a clear coat would mirror from a board as bright as the card's paper.
bool stripes_are_weak(const cv::Mat& grey, const std::vector<SeenTag>& tags, double stripe_contrast) {
  // Paper just outside the tags' corners, on the diagonal.
  std::vector<float> paper;
  for (const SeenTag& tag : tags)
    for (std::size_t k = 0; k < 4; ++k) {
      const cv::Point2d p = tag.corners_px[k] + 0.06 * (tag.corners_px[k] - tag.corners_px[(k + 2) % 4]);
      const cv::Point at(static_cast<int>(std::lround(p.x)), static_cast<int>(std::lround(p.y)));
      if (cv::Rect(0, 0, grey.cols, grey.rows).contains(at)) paper.push_back(linear_from_srgb8()[grey.at<uchar>(at)]);
    }
  if (paper.empty()) return false;
  const double expected = 0.5 * normal_reflectance(clear_coat_index) * median_of(paper);
  constexpr double weak = 0.25;
  return stripe_contrast < weak * expected;
}

/// A disturbance that is surely there but that no believable spot explains: a refusal is honest, a number is not.
std::optional<Refusal> check_unexplained(const SpotSearchResult& found, const ResidualField& field) {
  const RejectedSpot* strongest = nullptr;
  for (const RejectedSpot& r : found.rejected) {
    const bool like_a_dent = r.outline.elongation < 4 && r.outline.radius_mm > 1.2 && r.judgement.slope_over_peel > 14 &&
                             r.judgement.quiet_level < 2.5;
    if (like_a_dent && (strongest == nullptr || r.peak > strongest->peak)) strongest = &r;
  }
  if (strongest == nullptr) {
    if (field.clipped_fraction > 0.6)
      return Refusal{"glare", "Most of the bright stripes are burnt out to white.",
                     "Lower the exposure (tap on a bright stripe) or turn the board's light down."};
    return std::nullopt;
  }
  const SpotJudgement& j = strongest->judgement;
  if (j.information_kept < 0.3)
    return Refusal{"glare", "The stripes over the dent are burnt out to white.",
                   "Lower the exposure (tap on a bright stripe) or move the lamp, and photograph again."};
  if (j.cut_share > 0.3)
    return Refusal{"dent_cut", "The dent is cut by the card, the board's edge or the photo's edge.",
                   "Move card and board so that undisturbed stripes surround the whole dent."};
  return std::nullopt;
}

/// What a spot of 10 mm must show to be found: see Setup::visible_slope_mrad.
double visible_slope_mrad(const ResidualField& field, double board_distance_mm, double pitch_mm) {
  const double cycles_per_slope = 2 * board_distance_mm / pitch_mm;  // seen obliquely it is more
  return 1e3 * least_believable_slope(field.edge_jitter_cycles / cycles_per_slope, field.peel_cell_mm, 10);
}

/// Flat wherever the stripes were seen and nothing was found; NaN where a dent could hide.
Relief flat_relief(const ResidualField& field) {
  const PanelGrid& grid = field.grid;
  constexpr double step_mm = 1;
  Relief relief{grid.x0_mm, grid.y0_mm, step_mm, 0, 0, {}};
  relief.columns = static_cast<int>((grid.columns - 1) * grid.step_mm / step_mm) + 1;
  relief.rows = static_cast<int>((grid.rows - 1) * grid.step_mm / step_mm) + 1;
  for (int r = 0; r < relief.rows; ++r)
    for (int c = 0; c < relief.columns; ++c) {
      const int row = static_cast<int>(std::lround(grid.row_of(relief.y0_mm + r * step_mm)));
      const int column = static_cast<int>(std::lround(grid.column_of(relief.x0_mm + c * step_mm)));
      const bool seen = grid.contains(row, column) && field.inner.at<uchar>(row, column) != 0;
      relief.height_mm.push_back(seen ? 0.0F : std::numeric_limits<float>::quiet_NaN());
    }
  return relief;
}

}  // namespace

void MeasureOptions::validate() const {
  if (!(bar_uncertainty_mm >= 0 && bar_uncertainty_mm < 10)) throw UsageError("bar_uncertainty_mm must lie in 0 ... 10 mm");
  if (!(tape_uncertainty_mm > 0 && tape_uncertainty_mm < 1000)) throw UsageError("tape_uncertainty_mm must lie in 0 ... 1000 mm");
}

Measurement measure(const Photo& photo, const MeasureRequest& request, const MeasureOptions& options) {
  options.validate();
  const double pitch = request.board ? request.board->pitch_mm : request.board_pitch_mm;
  require_sensible(request, pitch);

  Measurement result;
  Reading& reading = result.reading;
  reading.photo.name = photo.name;
  reading.photo.date_taken = photo.date_taken;
  reading.photo.width_px = photo.grey.cols, reading.photo.height_px = photo.grey.rows;
  reading.setup.board_pitch_mm = pitch;
  reading.setup.board_distance_given_mm = request.board_distance_mm;
  reading.setup.bar_length_mm = request.bar_length_mm;
  reading.setup.card_name = request.card.name;
  const auto refuse = [&](const Refusal& refusal) {
    reading.status = Status::refused;
    reading.refusal = refusal;
    return result;
  };

  BundleProblem problem;
  if (const auto misfit = take_lens(photo, request, problem, reading.warnings)) return refuse(*misfit);
  const std::vector<SeenTag> seen = find_tags(photo.grey);
  if (const auto refusal = take_card(photo, request, seen, problem)) return refuse(*refusal);
  reading.setup.tags_found = static_cast<int>(problem.tags.size());
  const double side = request.card.tag_side_mm * problem.card_scale;
  const double pixels_per_mm = mean_pixels_per_mm(problem.tags, side);
  reading.setup.pixels_per_mm = pixels_per_mm;

  const PanelRegion card_area = region_around_card(request.card, problem.card_scale, 0);
  problem.constants.anchor_x_mm = 0.5 * (card_area.x0_mm + card_area.x1_mm) + 10;
  problem.constants.anchor_y_mm = 0.5 * (card_area.y0_mm + card_area.y1_mm) + 8;
  problem.constants.pitch_mm = pitch;
  constexpr double usual_distance_mm = 300;
  problem.constants.nominal_distance_mm = request.board_distance_mm.value_or(usual_distance_mm);
  if (!request.board_distance_mm) problem.priors.board_distance_mm = 150;

  const auto start = start_bundle_even_if_cropped(photo, problem, reading.warnings);
  if (!start) return refuse(card_not_flat());
  describe_setup(problem, *start, {}, reading.setup);
  if (const auto refusal = check_view(photo.grey, problem.tags, reading.setup.camera_tilt_deg->value, start->tag_rms_px, pixels_per_mm)) return refuse(*refusal);

  PanelVector parameters = start->parameters;
  if (const auto with_board = take_board(photo, request, seen, problem, parameters)) reading.warnings.push_back(*with_board);

  const double camera_mm = reading.setup.camera_distance_mm->value;
  const double expected_period_px = pitch / (1 + problem.constants.nominal_distance_mm / camera_mm) * pixels_per_mm;
  StripeField field;
  if (expected_period_px >= resolved_period_px)
    field = follow_stripes(photo.grey, problem, parameters,
                           region_around_card(request.card, problem.card_scale, bundle_margin_mm), pixels_per_mm);
  const StripeLook look = look_at_stripes(photo.grey, problem, field, pixels_per_mm);
  if (const auto refusal = check_stripes(photo, request, options, problem, field, look, expected_period_px)) return refuse(*refusal);

  ResidualField residual = stripe_residual(photo.grey, problem, field, pixels_per_mm);
  if (residual.residual.empty())
    return refuse({"stripes_not_followed", "The stripes cannot be followed in the neighbourhood of the card.",
                   "Stand the striped board so that its reflection surrounds the dent, beside the card."});
  if (stripes_are_weak(photo.grey, problem.tags, residual.typical_contrast))
    reading.warnings.push_back({"weak_stripes", "The stripes are faint: put more light on the board, less on the panel."});
  PanelScene scene{&photo.grey, &problem, field.bundle.parameters, &residual, pixels_per_mm, options.threads};
  reading.setup.judged = judged_area(residual);
  const SpotSearchResult found = find_spots(scene);
  describe_setup(problem, field.bundle, field, reading.setup);
  reading.setup.visible_slope_mrad = visible_slope_mrad(residual, reading.setup.board_distance_mm->value, pitch);
  if (found.spots.empty()) {
    if (const auto refusal = check_unexplained(found, residual)) return refuse(*refusal);
    if (const auto refusal = check_gaps_without_spots(look, problem, field)) return refuse(*refusal);
    if (reading.setup.judged)
      if (const auto warning = small_judged_area(*reading.setup.judged, look, problem, field)) reading.warnings.push_back(*warning);
    reading.status = Status::no_dent;
    result.relief = flat_relief(residual);
    return result;
  }

  // The tape was held at the spots: tie the bundle down there, without the samples that the spots disturb.
  double x = 0, y = 0;
  for (const FoundSpot& spot : found.spots) x += spot.fit.spot[s_x], y += spot.fit.spot[s_y];
  x /= static_cast<double>(found.spots.size()), y /= static_cast<double>(found.spots.size());
  {
    const PanelModel<double> model(problem.constants, scene.parameters);
    std::erase_if(problem.samples, [&](const PhaseSample& s) {
      const auto p = model.panel_from_pixel(s.u_px, s.v_px);
      return std::any_of(found.spots.begin(), found.spots.end(), [&](const FoundSpot& spot) {
        const auto near = [&](const SpotVector& part) {
          return std::hypot(p.x_mm - part[s_x], p.y_mm - part[s_y]) < 1.4 * std::exp(std::max(part[s_log_a], part[s_log_b]));
        };
        return near(spot.fit.spot) || (spot.second && near(*spot.second));
      });
    });
  }
  parameters = scene.parameters;
  BundleResult bundle = field.bundle;
  if (problem.samples.size() > 100) {
    anchor_at(problem, parameters, x, y, options.tape_uncertainty_mm, request.board_distance_mm.has_value(), phase_noise(field));
    std::optional<TapeCheck> tape;
    if (request.board_distance_mm && problem.board_corners.empty())
      tape = check_tape(problem, parameters, phase_noise(field), options.tape_uncertainty_mm);
    if (tape && std::abs(tape->departure) > tape_contradicted) {
      const PitchCheck other_pitch = check_pitch(photo, request, options);
      return refuse(pitch_contradicted(request, &other_pitch, &*tape));
    }
    bundle = fit_bundle(problem, parameters, BundleFreedom::everything, phase_noise(field));
    if (tape && std::abs(tape->departure) > tape_doubtful) {
      reading.warnings.push_back(tape_doubted(*tape, *request.board_distance_mm));
      // One of the two is wrong: the interval holds both.
      const double half_mm = 0.5 * (tape->implied_mm - *request.board_distance_mm);
      bundle.covariance(p_board_distance, p_board_distance) += half_mm * half_mm;
    }
  }
  scene.parameters = bundle.parameters;
  describe_setup(problem, bundle, field, reading.setup);
  for (Warning& warning : gaps_beside_spots(look, found.spots)) reading.warnings.push_back(std::move(warning));

  const SpotReadings spots = read_spots(scene, bundle, found.spots, request.bar_length_mm, options);
  reading.dents = spots.dents;
  reading.budgets = spots.budgets;
  reading.outlines_px = spots.outlines_px;
  reading.warnings.insert(reading.warnings.end(), spots.warnings.begin(), spots.warnings.end());
  result.relief = spots.relief;
  reading.status = reading.dents.empty() ? Status::no_dent : Status::measured;
  return result;
}

}  // namespace ripplegauge
