// The sequence of a measurement: look, spots, refusals, the board's distance at the spots, readings.
#include "ripplegauge/measure/measure.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <opencv2/core.hpp>
#include <utility>
#include <vector>

#include "core/drops.hpp"
#include "core/quantile.hpp"
#include "dents/spot_search.hpp"
#include "flattened_line.hpp"
#include "format.hpp"
#include "geometry_uncertainty.hpp"
#include "image/opencv_threads.hpp"
#include "measured_photo.hpp"
#include "panel_end.hpp"
#include "photo_look.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/core/findings.hpp"
#include "spot_reading.hpp"
#include "stripe_check.hpp"
#include "tape_witness.hpp"

namespace ripplegauge {
namespace {

/// Moves the anchor of the board's distance to the spots: what a tape says holds there.
void anchor_at(BundleProblem& problem, PanelVector& parameters, double x_mm, double y_mm,
               const BundleNoise& noise) {
  const PanelModel<double> before(problem.constants, parameters);
  const double distance = before.board_view(x_mm, y_mm).distance_mm;
  problem.constants.anchor_x_mm = x_mm, problem.constants.anchor_y_mm = y_mm;
  parameters[p_board_distance] = distance - problem.constants.nominal_distance_mm;
  // The same board, told from another anchor: let only the board move until it shows the same phases and
  // tags.
  const PanelModel<double> after(problem.constants, parameters);
  double shift = 0;
  for (const PhaseSample& s : problem.samples) {
    const auto p = after.panel_from_pixel(s.u_px, s.v_px);
    shift += s.phase_cycles - after.phase(p.x_mm, p.y_mm, 0, 0);
  }
  if (!problem.samples.empty())
    parameters[p_board_phase] += shift / static_cast<double>(problem.samples.size());
  for (const BoardCorner& c : problem.board_corners) {
    const auto p = after.panel_from_pixel(c.u_px, c.v_px);
    const auto q = after.board_frame_from_panel(p.x_mm, p.y_mm);
    const double share = 1 / static_cast<double>(problem.board_corners.size());
    parameters[p_board_shift] += share * (c.x_mm - q.x_mm),
        parameters[p_board_shift + 1] += share * (c.y_mm - q.y_mm);
  }
  parameters = settle_bundle(problem, parameters, BundleFreedom::board_only,
                             {.phase_cycles = 0.2, .board_corner_factor = 10});
  parameters = settle_bundle(problem, parameters, BundleFreedom::board_only, noise);
}

/// Where the tape was held, as far as anybody can tell: in the middle of the spots, the larger by their area
/// the likelier; and how far the spots lie from there (root mean square).
struct Middle {
  double x_mm = 0, y_mm = 0, apart_mm = 0;
};
Middle middle_of(const std::vector<FoundSpot>& spots) {
  Middle middle;
  double areas = 0, squares = 0;
  const auto area = [](const FoundSpot& f) { return std::pow(mean_radius_mm(f.fit.spot), 2); };
  for (const FoundSpot& f : spots) {
    middle.x_mm += area(f) * f.fit.spot[s_x], middle.y_mm += area(f) * f.fit.spot[s_y];
    areas += area(f);
  }
  middle.x_mm /= areas, middle.y_mm /= areas;
  for (const FoundSpot& f : spots)
    squares +=
        area(f) * (std::pow(f.fit.spot[s_x] - middle.x_mm, 2) + std::pow(f.fit.spot[s_y] - middle.y_mm, 2));
  middle.apart_mm = std::sqrt(squares / areas);
  return middle;
}

/// A disturbance that is surely there but that no believable spot explains: a refusal is honest, a number is
/// not.
std::optional<Refusal> check_unexplained(const SpotSearchResult& found, const ResidualField& field) {
  const RejectedSpot* strongest = nullptr;
  for (const RejectedSpot& r : found.rejected) {
    const bool like_a_dent = r.outline.elongation < 4 && r.outline.radius_mm > 1.2 &&
                             r.judgement.slope_over_peel > 14 && r.judgement.quiet_level < 2.5;
    if (like_a_dent && (strongest == nullptr || r.peak > strongest->peak)) strongest = &r;
  }
  if (strongest == nullptr) return refuse_burnt_out(field);
  const SpotJudgement& j = strongest->judgement;
  if (j.information_kept < 0.3)
    return Refusal{code_of(PhotoFinding::glare), "The stripes over the dent are burnt out to white.",
                   "Lower the exposure (tap on a bright stripe) or move the lamp, and photograph again."};
  constexpr double cut = 0.3;
  if (j.cut_share > cut && strongest->share_on_line > 0.5 * j.cut_share)
    return Refusal{
        code_of(PhotoFinding::dent_cut),
        "A body line hides too much of the dent: along it, its own rounding bends the stripes more.",
        "Photograph it again with the stripes across the line and the board nearer, so that more of "
        "them cross the dent's flanks; or judge it by eye."};
  if (j.cut_share > cut)
    return Refusal{code_of(PhotoFinding::dent_cut),
                   "The dent is cut by the card, the board's edge or the photo's edge.",
                   "Move card and board so that undisturbed stripes surround the whole dent."};
  return std::nullopt;
}

/// A pitch that is a little wrong puts the board where hardly anybody stands one; without a tape nothing else
/// tells.
std::optional<Warning> unusual_distance(const Setup& setup, bool tape_agrees) {
  constexpr double usually_from_mm = 120, usually_to_mm = 450;
  const double distance_mm = setup.board_distance_mm->value;
  if (tape_agrees || (distance_mm > usually_from_mm && distance_mm < usually_to_mm)) return std::nullopt;
  return Warning{
      code_of(PhotoFinding::board_distance_unusual),
      format("Card and stripes put the board %.0f mm from the dent, where boards hardly ever stand. "
             "If it does not stand there, its pitch is not %g mm, and the depths are wrong.",
             distance_mm, setup.board_pitch_mm)};
}

/// "No dent" is said only of what was seen. Where something bends or hides the stripes and nothing explains
/// it, or much of them could not be followed, there may be one.
std::optional<Refusal> refuse_unproven(const PhotoLook& look, const SpotSearchResult& found,
                                       const Acceptance& acceptance) {
  constexpr double dent_mm = 8;  // as it looks, smoothed: specks of 2 mm look 5 to 6 mm wide
  constexpr double touching_mm = 3;
  for (const UnexplainedPlace& place : found.unexplained) {
    // What touches the card is mostly its shadow, where it lifts: that is left out of what was judged.
    const double from_card_mm = card_gap_mm(look.problem, place.x_mm, place.y_mm) - 0.5 * place.width_mm;
    if (place.loudest < acceptance.surely_disturbed || place.width_mm < dent_mm || from_card_mm < touching_mm)
      continue;
    return Refusal{
        code_of(PhotoFinding::dent_not_explained),
        format("Something bends or hides the stripes, but no dent explains it: %s.",
               place_words(place.x_mm, place.y_mm, place.width_mm, look.problem, look.field).c_str()),
        "Wipe the panel, take away what casts a shadow or an edge of light across the stripes, and "
        "photograph "
        "from a little nearer or with the board nearer."};
  }
  // A spot that explains what is seen and moves the stripes as no peel does, but of which too few edges tell.
  for (const RejectedSpot& r : found.rejected) {
    const SpotJudgement& j = r.judgement;
    if (!r.shaped_as_a_dent || j.explained < acceptance.min_explained ||
        j.slope_over_peel < acceptance.min_slope_over_peel || j.moved_snr < acceptance.min_moved_snr ||
        2 * r.outline.radius_mm < acceptance.min_width_mm)
      continue;
    return Refusal{
        code_of(PhotoFinding::dent_uncertain),
        format("Something bends the stripes as a dent would, but too few of them show it to be sure: "
               "%s.",
               place_words(r.outline.x_mm, r.outline.y_mm, 2 * r.outline.radius_mm, look.problem, look.field)
                   .c_str()),
        "Use a board with a finer pitch, or move it further away, so that more stripes cross the "
        "place, and photograph again."};
  }
  const double lost = unjudged_share(look.stripes, look.problem, look.residual, found.unexplained_cells);
  constexpr double most_lost = 0.3;  // good photos lose up to 0.18, to edges and to dents
  if (lost < most_lost) return std::nullopt;
  return Refusal{
      code_of(PhotoFinding::stripes_cut),
      format(
          "%.0f %% of the stripes round the card could not be followed: an edge of light or shadow, a fold "
          "of the panel or something mirrored cuts them.",
          100 * lost),
      "Light the board evenly, keep shadows and lamps out of its reflection, stay on one side of a body "
      "line, "
      "and photograph again."};
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

/// A mirror shows nothing brighter than what it mirrors: whatever outshines the bright stripes around it is
/// the image of a lamp.
bool outshines_the_board(const ResidualField& field, const SpotVector& spot) {
  const double inner_mm = half_width_mm(spot), outer_mm = half_length_mm(spot);
  std::vector<float> inside, around;
  const PanelGrid& grid = field.grid;
  for (int r = 0; r < grid.rows; ++r)
    for (int c = 0; c < grid.columns; ++c) {
      if (field.valid.at<uchar>(r, c) == 0) continue;
      const double distance_mm = std::hypot(grid.x_mm(c) - spot[s_x], grid.y_mm(r) - spot[s_y]);
      if (distance_mm < inner_mm) inside.push_back(field.light.at<float>(r, c));
      if (distance_mm > outer_mm && distance_mm < outer_mm + 2 * field.period_mm)
        around.push_back(field.light.at<float>(r, c));
    }
  if (inside.empty() || around.empty()) return false;
  // Bright stripes take about half of the ring; the board's light is uneven by less than a quarter over a few
  // stripes.
  constexpr double of_bright_stripes = 0.8;
  const float bright = static_cast<float>(quantile_of(around, of_bright_stripes)),
              core = static_cast<float>(median_of(inside));
  const float uneven = core > clipped_light ? 1.1F : 1.25F;  // what is clipped is brighter than it looks
  return core > uneven * bright;
}

/// A crease along an edge of light that was taken out is what is left of the edge.
bool is_rest_of_edge(const LightEdge& edge, const PanelModel<double>& model, const SpotVector& spot) {
  constexpr double least_elongation = 1.5, aligned = 0.94;  // cosine of 20 degrees
  const bool a_longer = spot[s_log_a] > spot[s_log_b];
  const double angle = spot[s_angle] + (a_longer ? 0 : 0.5 * std::numbers::pi);
  if (elongation(spot) < least_elongation) return false;
  const auto pixel = [&](double along_mm, double across_mm) {
    const auto p =
        model.pixel_from_panel(spot[s_x] + along_mm * std::cos(angle) - across_mm * std::sin(angle),
                               spot[s_y] + along_mm * std::sin(angle) + across_mm * std::cos(angle));
    return cv::Point2d(p.u_px, p.v_px);
  };
  const cv::Point2d middle = pixel(0, 0), along = pixel(half_length_mm(spot), 0) - middle,
                    across = pixel(0, half_width_mm(spot)) - middle, line(-edge.normal.y, edge.normal.x);
  return std::abs(along.dot(line)) > aligned * cv::norm(along) &&
         std::abs(edge.beyond_px(middle.x, middle.y)) < cv::norm(across) + 2 * edge.width_px;
}

/// What lies inside of one that goes stands for itself. A spot whose stripes are nearly all as its shape
/// bends them is no lamp, however bright: metallic paint's highlight moves into a slope.
void remove_lamps_and_edges(const PhotoLook& look, std::vector<FoundSpot>& spots) {
  constexpr double nearly_all = 0.9;
  const PanelModel<double> model(look.problem.constants, look.field.bundle.parameters);
  for (std::size_t i = spots.size(); i-- > 0;) {
    const SpotVector& spot = spots[i].fit.spot;
    const bool lamp = spots[i].judgement.explained < nearly_all && outshines_the_board(look.residual, spot);
    const bool edge = std::any_of(look.light_edges.begin(), look.light_edges.end(),
                                  [&](const LightEdge& e) { return is_rest_of_edge(e, model, spot); });
    if (!lamp && !edge) continue;
    spots.erase(spots.begin() + static_cast<std::ptrdiff_t>(i));
    for (FoundSpot& other : spots) {
      if (other.inside_of == i)
        other.inside_of.reset();
      else if (other.inside_of && *other.inside_of > i)
        --*other.inside_of;
    }
  }
}

/// A spot so far out on a bent panel that the card hardly tells how slantwise it is seen: a turn of the
/// normal changes lengths by its tangent's part, tan(tilt) per radian. Widens what the bundle says of the
/// crown, so that intervals hold it.
std::optional<Warning> allow_for_bend(const BundleProblem& problem, const std::vector<FoundSpot>& spots,
                                      double tilt_deg, BundleResult& bundle) {
  constexpr double noticeable = 0.02;  // of a length
  const double tangent = std::tan(tilt_deg * std::numbers::pi / 180);
  double worst = 0, gap_mm = 0, bend_per_mm = 0;
  for (const FoundSpot& found : spots) {
    const double x = found.fit.spot[s_x], y = found.fit.spot[s_y], gap = card_gap_mm(problem, x, y);
    const double turn = unseen_turn_rad(bundle.parameters, x, y, gap);
    if (turn * tangent <= worst) continue;
    worst = turn * tangent, gap_mm = gap;
    bend_per_mm = turn / std::hypot(x, y);  // the same turn, told as curvature from the card's corner on
  }
  if (worst < noticeable) return std::nullopt;
  for (int i = p_crown; i <= p_crown + 1; ++i) bundle.covariance(i, i) += bend_per_mm * bend_per_mm;
  return Warning{code_of(PhotoFinding::card_far_for_crown),
                 format("The panel bends much between the card and a spot %.0f mm from "
                        "it: sizes there are less sure, by about "
                        "%.0f %%. Lay the card beside the dent.",
                        gap_mm, 100 * worst)};
}

}  // namespace

void MeasureOptions::validate() const {
  if (!(bar_uncertainty_mm >= 0 && bar_uncertainty_mm < 10))
    throw UsageError("bar_uncertainty_mm must lie in 0 ... 10 mm");
  if (!(tape_uncertainty_mm > 0 && tape_uncertainty_mm < 1000))
    throw UsageError("tape_uncertainty_mm must lie in 0 ... 1000 mm");
}

namespace {

/// What of the panel the answer speaks of, in words and in the photo.
void describe_judged(const PhotoLook& look, const SpotSearchResult& found, Reading& reading) {
  const PanelVector& parameters = look.field.bundle.parameters;
  const PanelModel<double> model(look.problem.constants, parameters);
  reading.setup.judged =
      judged_area(look.problem, look.residual, parameters, look.grey.size(), found.unexplained_cells);
  const auto outline_of = [&](const std::optional<BodyLine>& line) {
    return line ? body_line_outline(model, *line, look.grey.size()) : decltype(reading.body_line_px){};
  };
  reading.body_line_px = outline_of(reading.setup.body_line);
  reading.second_body_line_px = outline_of(reading.setup.second_body_line);
  reading.judged_px = judged_outlines(look.residual, model, found.unexplained_cells);
}

/// Why a photo without a believable spot is no "no dent"; nothing where it is one.
std::optional<Refusal> refuse_no_dent(const PhotoLook& look, const SpotSearchResult& found, bool any_found,
                                      const Acceptance& acceptance) {
  if (auto refusal = check_unexplained(found, look.residual)) return refusal;
  if (auto refusal = check_gaps_without_spots(look.stripes, look.problem, look.field)) return refusal;
  if (auto refusal = refuse_unproven(look, found, acceptance)) return refusal;
  if (found.worn_out) return refusal(PhotoFinding::dent_not_explained);
  if (any_found && !look.light_edges.empty()) return refusal(PhotoFinding::dent_not_explained);
  return std::nullopt;
}

/// Phase samples that spots disturb tell nothing of the undisturbed panel.
void drop_samples_in(const std::vector<FoundSpot>& spots, const PanelVector& parameters,
                     BundleProblem& problem) {
  constexpr double reach = 1.4;
  const PanelModel<double> model(problem.constants, parameters);
  std::erase_if(problem.samples, [&](const PhaseSample& s) {
    const auto p = model.panel_from_pixel(s.u_px, s.v_px);
    const auto near = [&](const SpotVector& part) {
      return std::hypot(p.x_mm - part[s_x], p.y_mm - part[s_y]) < reach * half_length_mm(part);
    };
    return std::any_of(spots.begin(), spots.end(), [&](const FoundSpot& spot) {
      return near(spot.fit.spot) || (spot.second && near(*spot.second));
    });
  });
}

/// The board's distance at the spots is what depths go with, and where a tape was held: the bundle is told
/// from there, without the samples that the spots disturb.
void tell_distance_at_spots(const PhotoLook& look, const MeasureRequest& request,
                            const MeasureOptions& options, const PanelVector& found_with, TiedScene& tied,
                            std::vector<Warning>& warnings) {
  constexpr std::size_t fewest_samples = 100;
  const auto [x, y, apart_mm] = middle_of(tied.found);
  drop_samples_in(tied.found, found_with, tied.problem);
  if (tied.problem.samples.size() <= fewest_samples) return;
  const BundleNoise noise = phase_noise(look.field);
  PanelVector parameters = found_with;
  anchor_at(tied.problem, parameters, x, y, noise);
  std::optional<Tape> tape;
  if (request.board_distance_mm) {
    const double at_which_mm = apart_mm * std::hypot(found_with[p_board_tilt], found_with[p_board_tilt + 1]);
    tape = Tape{*request.board_distance_mm, std::hypot(options.tape_uncertainty_mm, at_which_mm)};
  }
  tied.bundle = fit_with_tape(tied.problem, parameters, noise, tape,
                              options.bar_uncertainty_mm / request.bar_length_mm, warnings);
}

/// Whether a tape was given and nothing contradicts it.
bool tape_agrees(const MeasureRequest& request, const std::vector<Warning>& warnings) {
  return request.board_distance_mm && std::none_of(warnings.begin(), warnings.end(), [](const Warning& w) {
           return is(w, PhotoFinding::board_distance_doubtful);
         });
}

/// Goes on from the look: finds the spots and reads them. `tied` receives what the readings stand on.
Measurement measure_from(const PhotoLook& look, const MeasureRequest& request, const MeasureOptions& options,
                         TiedScene& tied) {
  const OpenCvThreads opencv_threads(options.threads);
  Measurement result;
  result.reading = look.reading;
  Reading& reading = result.reading;
  if (reading.refusal) return result;
  const auto refuse = [&](const Refusal& refusal) {
    reading.status = Status::refused;
    reading.refusal = refusal;
    return result;
  };
  BundleProblem& problem = tied.problem = look.problem;  // the look keeps its own
  const StripeField& field = look.field;
  PanelScene scene{&look.grey,     &problem,           field.bundle.parameters,
                   &look.residual, look.pixels_per_mm, options.threads};
  SpotSearchResult found = find_spots(scene);
  const bool any_found = !found.spots.empty();
  remove_lamps_and_edges(look, found.spots);
  tied.bundle = field.bundle;
  tied.found = found.spots;
  describe_judged(look, found, reading);
  const PanelEnds ends = panel_ends(field);
  for (Warning& warning : covered_places(ends)) reading.warnings.push_back(std::move(warning));
  if (found.spots.empty()) {
    if (const auto refusal = refuse_no_dent(look, found, any_found, scene.options.acceptance))
      return refuse(*refusal);
    if (const auto warning = partly_judged(*reading.setup.judged, look.stripes, problem, field))
      reading.warnings.push_back(*warning);
    reading.status = Status::no_dent;
    result.relief = flat_relief(look.residual);
    return result;
  }

  tell_distance_at_spots(look, request, options, scene.parameters, tied, reading.warnings);
  if (const auto far =
          allow_for_bend(problem, found.spots, reading.setup.camera_tilt_deg->value, tied.bundle))
    reading.warnings.push_back(*far);
  scene.parameters = tied.bundle.parameters;
  describe_setup(problem, tied.bundle, field, reading.setup);
  if (const auto unusual = unusual_distance(reading.setup, tape_agrees(request, reading.warnings)))
    reading.warnings.push_back(*unusual);
  for (Warning& warning : gaps_beside_spots(look.stripes, found.spots))
    reading.warnings.push_back(std::move(warning));
  if (found.worn_out)
    reading.warnings.push_back({code_of(PhotoFinding::not_all_measured),
                                "So much bends or hides the stripes that the search ended before all of it "
                                "was explained: more may be there than was measured."});

  const SpotReadings spots = read_spots(scene, tied.bundle, found.spots, request.bar_length_mm, options);
  reading.dents = spots.dents;
  reading.budgets = spots.budgets;
  reading.outlines_px = spots.outlines_px;
  reading.warnings.insert(reading.warnings.end(), spots.warnings.begin(), spots.warnings.end());
  if (look_like_drops(reading.dents)) reading.warnings.push_back(warning(PhotoFinding::many_small_spots));
  result.relief = spots.relief;
  tell_flattened_lines(result.relief, reading);
  tell_panel_ends({ends}, reading.dents);
  if (reading.dents.empty()) return refuse(refusal(PhotoFinding::dent_not_explained));
  reading.status = Status::measured;
  return result;
}

}  // namespace

namespace {

/// Printers scale a page to between 94 and 103 %: a card whose bar nobody measured is as uncertain as that.
MeasuredPhoto measure_with_unknown_bar(const Photo& photo, MeasureRequest request, MeasureOptions options) {
  constexpr double least_mm = 94, most_mm = 103;
  request.bar_measured = true;
  request.bar_length_mm = 0.5 * (least_mm + most_mm);
  options.bar_uncertainty_mm = 0.25 * (most_mm - least_mm);  // the interval of 95 % spans them
  MeasuredPhoto measured = measure_with_look(photo, request, options);
  measured.result.reading.warnings.push_back(
      {code_of(PhotoFinding::bar_not_measured),
       format("Nobody said how long the card's check bar is: printers make it %.0f to %.0f mm, so all sizes "
              "are only known to about %.0f %%. Measure it with a steel rule.",
              least_mm, most_mm, 100 * (most_mm - least_mm) / (most_mm + least_mm))});
  return measured;
}

}  // namespace

MeasuredPhoto measure_with_look(const Photo& photo, const MeasureRequest& request,
                                const MeasureOptions& options) {
  options.validate();
  if (!request.bar_measured) return measure_with_unknown_bar(photo, request, options);
  MeasuredPhoto measured{{}, look_at_photo(photo, request, options), {}};
  measured.result = measure_from(measured.look, request, options, measured.tied);
  return measured;
}

Measurement measure(const Photo& photo, const MeasureRequest& request, const MeasureOptions& options) {
  return measure_with_look(photo, request, options).result;
}

}  // namespace ripplegauge
