// Everything before a dent is looked for, in the order in which a photo can fail: lens, card, pose, board,
// stripes.
#include "photo_look.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/core.hpp>
#include <utility>
#include <vector>

#include "core/linear_light.hpp"
#include "core/parallel_for.hpp"
#include "core/quantile.hpp"
#include "dents/spot_search.hpp"
#include "doubled_edges.hpp"
#include "image/opencv_threads.hpp"
#include "refusals.hpp"
#include "ripplegauge/core/findings.hpp"
#include "stripe_check.hpp"
#include "stripes/reflectance.hpp"

namespace ripplegauge {
namespace {

constexpr double degrees = 180 / std::numbers::pi;

/// The board's pose from its tags, into `parameters`; a warning where too few can be read.
std::optional<Warning> take_board(const Photo& photo, const MeasureRequest& request,
                                  const std::vector<SeenTag>& seen, BundleProblem& problem,
                                  PanelVector& parameters) {
  if (!request.board || request.board->tags.empty()) return std::nullopt;
  problem.board_tags = request.board->tags;
  if (const auto posed = start_board(problem, board_corners(photo, *request.board, seen), parameters)) {
    parameters = *posed;
    return std::nullopt;
  }
  return Warning{code_of(PhotoFinding::board_tags_not_seen),
                 "Fewer than two of the board's tags can be read in the reflection: how far the board stands "
                 "is taken from its stripes and the card alone."};
}

/// Stripes far weaker than a clear coat would mirror from a board as bright as the card's paper.
bool stripes_are_weak(const cv::Mat& grey, const std::vector<SeenTag>& tags, double stripe_contrast) {
  // Paper just outside the tags' corners, on the diagonal.
  std::vector<float> paper;
  for (const SeenTag& tag : tags)
    for (std::size_t k = 0; k < 4; ++k) {
      const cv::Point2d p = tag.corners_px[k] + 0.06 * (tag.corners_px[k] - tag.corners_px[(k + 2) % 4]);
      const cv::Point at(static_cast<int>(std::lround(p.x)), static_cast<int>(std::lround(p.y)));
      if (cv::Rect(0, 0, grey.cols, grey.rows).contains(at))
        paper.push_back(linear_from_srgb8()[grey.at<uchar>(at)]);
    }
  if (paper.empty()) return false;
  const double expected = 0.5 * normal_reflectance(clear_coat_index) * median_of(paper);
  constexpr double weak = 0.25;
  return stripe_contrast < weak * expected;
}

/// Blur that the tags' edges show and that nothing later can know of.
void warn_of_edges(const cv::Mat& grey, const std::vector<SeenTag>& tags, std::vector<Warning>& warnings) {
  if (median_edge_width_px(tags) > widest_told_edge_px(shortest_side_px(tags)))
    warnings.push_back(warning(PhotoFinding::much_blurred));
  if (find_doubled_edges(grey, tags)) warnings.push_back(warning(PhotoFinding::edges_doubled));
}

/// What a round spot of this width must show to be found: see Setup::visible_slope_mrad. Peel and noise
/// jitter the stripes' edges, and of the peel's cells only those at an edge are seen.
double visible_slope_mrad(const ResidualField& field, double board_distance_mm, double pitch_mm,
                          double width_mm) {
  float steepest = 1e-3F;
  constexpr int steps = 200;
  for (int i = 0; i < steps; ++i)
    steepest = std::max(steepest, std::abs(field.profile.at(static_cast<float>(i) / steps).derivative));
  const double jitter_cycles = std::hypot(field.edge_jitter_cycles, field.noise / steepest);
  const double seen_share = std::min(1.0, 2 * field.peel_cell_mm / field.period_mm);  // two edges a period
  const double cycles_per_slope = 2 * board_distance_mm / pitch_mm;  // seen obliquely it is more
  // Both the photo's own figures and a dent's shape are off by a quarter: what would have shown is told
  // surely.
  constexpr double surely = 1.3;
  return surely * 1e3 *
         least_believable_slope(jitter_cycles / cycles_per_slope, field.peel_cell_mm / std::sqrt(seen_share),
                                width_mm);
}

/// A Gaussian's depth from its steepest slope: 10 % of the depth is left 4.2919 sigma apart (2 sqrt(2 ln
/// 10)), and the steepest slope is depth / sigma / sqrt(e).
double depth_of_gaussian_mm(double slope_mrad, double diameter_mm) {
  const double sigma_mm = diameter_mm / (2 * std::sqrt(2 * std::numbers::ln10));
  return 1e-3 * slope_mrad * sigma_mm * std::sqrt(std::numbers::e);
}

void describe_smallest_visible(const ResidualField& field, double pitch_mm, Setup& setup) {
  constexpr double told_for_mm = 10;
  const auto slope_mrad = [&](double width_mm) {
    return visible_slope_mrad(field, setup.board_distance_mm->value, pitch_mm, width_mm);
  };
  setup.visible_slope_mrad = slope_mrad(told_for_mm);
  for (const double width_mm : {5.0, 10.0, 20.0})
    setup.smallest_visible.push_back({width_mm, depth_of_gaussian_mm(slope_mrad(width_mm), width_mm)});
}

/// Follows the stripes; where an edge of light crosses them, anew without it.
void follow_in_even_light(const CardDefinition& card, const PanelVector& parameters, PhotoLook& look) {
  const BundleProblem unfollowed = look.problem;
  constexpr std::size_t most_edges = 3;
  for (;;) {
    look.problem = unfollowed;
    look.field = follow_stripes(look.grey, look.problem, parameters,
                                region_around_card(card, look.problem.card_scale, bundle_margin_mm),
                                look.pixels_per_mm);
    if (look.light_edges.size() == most_edges || look.field.followed.empty()) return;
    const auto edge = find_light_edge(look.grey, look.problem, look.field, look.pixels_per_mm);
    if (!edge) return;
    look.grey = without_light_edge(look.grey, *edge);
    if (look.light_edges.empty()) look.reading.warnings.push_back(warning(PhotoFinding::light_edge));
    look.light_edges.push_back(*edge);
  }
}

/// The lines of the panel, the one nearest to what the card surrounds first.
void describe_body_lines(const BundleProblem& problem, const BundleResult& bundle, Setup& setup) {
  const double x = problem.constants.anchor_x_mm, y = problem.constants.anchor_y_mm;
  const PanelModel<double> model(problem.constants, bundle.parameters);
  const auto u = [&](int i) { return bundle.standard_uncertainty(i); };
  std::vector<BodyLine> lines;
  for (int i = 0; i < problem.constants.folds; ++i) {
    const PlacedFold<double>& fold = model.surface().folds()[static_cast<std::size_t>(i)];
    const double normal_rad = fold.fold().direction_rad, across_mm = fold.across_mm(x, y);
    BodyLine& line = lines.emplace_back();
    line.x_mm = x - across_mm * std::cos(normal_rad);
    line.y_mm = y - across_mm * std::sin(normal_rad);
    line.angle_deg = std::remainder(normal_rad * degrees + 90, 180);
    line.turn_deg = quantity_from_standard_uncertainty(fold.fold().turn * degrees, u(fold_at(i)) * degrees);
    // A logistic curve goes from 5 to 95 % within 2 ln 19 of its widths.
    const double width_mm = 2 * std::log(19.0) * std::exp(fold.fold().log_width);
    line.width_mm = quantity_from_standard_uncertainty(width_mm, width_mm * u(fold_at(i) + 3));
  }
  std::sort(lines.begin(), lines.end(), [&](const BodyLine& a, const BodyLine& b) {
    return std::hypot(a.x_mm - x, a.y_mm - y) < std::hypot(b.x_mm - x, b.y_mm - y);
  });
  if (!lines.empty()) setup.body_line = lines[0];
  if (lines.size() > 1) setup.second_body_line = lines[1];
}

}  // namespace

void describe_setup(const BundleProblem& problem, const BundleResult& bundle, const StripeField& field,
                    Setup& setup) {
  const PanelModel<double> model(problem.constants, bundle.parameters);
  const auto u = [&](int i) { return bundle.standard_uncertainty(i); };
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
    setup.board_tilt_deg =
        quantity_from_standard_uncertainty(std::acos(std::clamp(std::abs(view.cos_tilt), 0.0, 1.0)) * degrees,
                                           std::hypot(u(p_board_tilt), u(p_board_tilt + 1)) * degrees);
    setup.stripe_period_mm = field.period_mm;
  }
  describe_body_lines(problem, bundle, setup);
  setup.crown_x_per_m = quantity_from_standard_uncertainty(1e3 * p[p_crown], 1e3 * u(p_crown));
  setup.crown_y_per_m = quantity_from_standard_uncertainty(1e3 * p[p_crown + 1], 1e3 * u(p_crown + 1));
}

namespace {

void describe_photo(const Photo& photo, const MeasureRequest& request, double pitch_mm, Reading& reading) {
  reading.photo.name = photo.name;
  reading.photo.date_taken = photo.date_taken;
  reading.photo.width_px = photo.grey.cols;
  reading.photo.height_px = photo.grey.rows;
  reading.setup.board_pitch_mm = pitch_mm;
  reading.setup.board_distance_given_mm = request.board_distance_mm;
  reading.setup.bar_length_mm = request.bar_length_mm;
  reading.setup.card_name = request.card.name;
}

/// Lens, card and the camera's pose; the refusal where one of them does not do.
std::optional<Refusal> take_view(const Photo& photo, const MeasureRequest& request,
                                 const std::vector<SeenTag>& seen, double pitch_mm, PhotoLook& look) {
  BundleProblem& problem = look.problem;
  Reading& reading = look.reading;
  if (auto misfit = take_lens(photo, request, problem, reading.warnings)) return misfit;
  const auto unfit_card = take_card(photo, request, seen, problem);
  reading.setup.tags_found = static_cast<int>(problem.tags.size());
  const double side_mm = request.card.tag_side_mm * problem.card_scale;
  if (!problem.tags.empty())
    reading.setup.pixels_per_mm = look.pixels_per_mm = mean_pixels_per_mm(problem.tags, side_mm);
  if (unfit_card) return unfit_card;

  const PanelRegion card_area = region_around_card(request.card, problem.card_scale, 0);
  problem.constants.anchor_x_mm = 0.5 * (card_area.x0_mm + card_area.x1_mm) + 10;
  problem.constants.anchor_y_mm = 0.5 * (card_area.y0_mm + card_area.y1_mm) + 8;
  problem.constants.pitch_mm = pitch_mm;
  problem.constants.nominal_distance_mm = usual_board_distance_mm;

  const bool lens_by_exif = photo.focal_35mm_mm && !request.camera;
  look.view = start_bundle_even_if_cropped(photo, lens_by_exif, problem, reading.warnings);
  if (!look.view) return card_not_flat();
  describe_setup(problem, *look.view, {}, reading.setup);
  return check_view(photo.grey, problem.tags, reading.setup.camera_tilt_deg->value, look.view->tag_rms_px,
                    look.pixels_per_mm);
}

/// Stripes that cannot be measured: what to say of them, and whether another pitch would fit.
Refusal refuse_stripes(const Photo& photo, const Refusal& unfit, double pitch_mm, const PhotoLook& look) {
  constexpr double some_stripes = 12;  // signal over noise of a carrier, whichever
  if (is(unfit, PhotoFinding::no_stripes) && look.field.carrier_snr > some_stripes)
    if (const auto fitting_mm =
            pitch_that_fits(photo, look.problem, *look.view, pitch_mm, look.pixels_per_mm))
      return pitch_contradicted(pitch_mm, *fitting_mm);
  return unfit;
}

/// The stripes, followed and explained; the refusal where they are not what the board would show.
std::optional<Refusal> take_stripes(const Photo& photo, const MeasureRequest& request, double pitch_mm,
                                    const PanelVector& start, int threads, PhotoLook& look) {
  const double camera_mm = look.reading.setup.camera_distance_mm->value;
  const PanelConstants& constants = look.problem.constants;
  look.expected_period_px = pitch_mm / (1 + constants.nominal_distance_mm / camera_mm) * look.pixels_per_mm;
  const StripeField& field = look.field;
  if (look.expected_period_px >= resolved_period_px) follow_in_even_light(request.card, start, look);
  std::optional<Refusal> unfit;
  const auto judge_stripes = [&] {
    look.stripes = look_at_stripes(look.grey, look.problem, field, look.pixels_per_mm);
    unfit = check_stripes(look.problem, field, look.stripes, look.expected_period_px);
  };
  const auto explain_stripes = [&] {
    if (!field.followed.empty())
      look.residual = stripe_residual(look.grey, look.problem, field, look.pixels_per_mm);
  };
  // Side by side, though a refusal leaves the one for nothing: neither keeps two processors busy all the
  // time.
  parallel_for(2, threads, [&](std::size_t i) { i == 0 ? explain_stripes() : judge_stripes(); });
  if (unfit) {
    look.residual = {};
    return refuse_stripes(photo, *unfit, pitch_mm, look);
  }
  if (const auto by_tags = pitch_by_tags(look.problem, field)) {
    // The interval of 95 %, and a half more: what is refused must be wrong.
    constexpr double surely = 1.5;
    const double half_mm = 0.5 * (by_tags->high - by_tags->low);
    if (std::abs(by_tags->value - pitch_mm) > surely * half_mm)
      return tags_contradict_pitch(pitch_mm, by_tags->value);
  }
  if (!look.residual.residual.empty()) return std::nullopt;
  return Refusal{code_of(PhotoFinding::stripes_not_followed),
                 "The stripes cannot be followed in the neighbourhood of the card.",
                 "Stand the striped board so that its reflection surrounds the dent, beside the card."};
}

}  // namespace

PhotoLook look_at_photo(const Photo& photo, const MeasureRequest& request, const MeasureOptions& options) {
  const OpenCvThreads opencv_threads(options.threads);
  const double pitch_mm = request.board ? request.board->pitch_mm : request.board_pitch_mm;
  require_sensible(request, pitch_mm);
  PhotoLook look;
  look.grey = photo.grey;
  Reading& reading = look.reading;
  describe_photo(photo, request, pitch_mm, reading);
  const auto refuse = [&](const Refusal& refusal) {
    reading.status = Status::refused;
    reading.refusal = refusal;
    return std::move(look);
  };
  const std::vector<SeenTag> seen = find_tags(photo.grey);
  if (const auto unfit = take_view(photo, request, seen, pitch_mm, look)) return refuse(*unfit);
  PanelVector parameters = look.view->parameters;
  if (const auto with_board = take_board(photo, request, seen, look.problem, parameters))
    reading.warnings.push_back(*with_board);
  if (const auto unfit = take_stripes(photo, request, pitch_mm, parameters, options.threads, look))
    return refuse(*unfit);
  if (stripes_are_weak(look.grey, look.problem.tags, look.residual.typical_contrast))
    reading.warnings.push_back({code_of(PhotoFinding::weak_stripes),
                                "The stripes are faint: put more light on the board, less on the panel."});
  warn_of_edges(photo.grey, look.problem.tags, reading.warnings);
  const StripeField& field = look.field;
  reading.setup.judged = judged_area(look.problem, look.residual, field.bundle.parameters, photo.grey.size());
  describe_setup(look.problem, field.bundle, field, reading.setup);
  describe_smallest_visible(look.residual, pitch_mm, reading.setup);
  return look;
}

}  // namespace ripplegauge
