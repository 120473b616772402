// Turns a measurement into advice for the next photo. It measures first, so that its verdict is the
// measurement's.
#include "ripplegauge/measure/photo_check.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgproc.hpp>
#include <utility>

#include "core/linear_light.hpp"
#include "format.hpp"
#include "measured_photo.hpp"
#include "photo_look.hpp"
#include "refusals.hpp"
#include "ripplegauge/core/findings.hpp"
#include "sharpness.hpp"
#include "stripe_check.hpp"

namespace ripplegauge {
namespace {

/// Twelve pixels across the smallest dents, 3 mm: three fringes in one then stay below 0.3 cycles a pixel.
constexpr double enough_pixels_per_mm = 4;
/// In a dent the stripes crowd, about threefold where they fold into loops: 0.3 cycles a pixel there.
constexpr double crowding = 3, comfortable_period_px = 10;
/// Hail dents are mostly wider; what is narrower than a pair of stripes is measured less surely.
constexpr double small_dent_mm = 10, much_wider = 1.2;
/// Where a phone and a board can stand (README).
constexpr double nearest_camera_mm = 200, nearest_board_mm = 150, furthest_board_mm = 400;
constexpr double squarest_deg = 14, slanted_deg = 50;

int rounded(double value) { return static_cast<int>(std::lround(value)); }
/// To the centimetre: nobody holds phone or board truer.
std::string told_mm(double mm) { return format("%d mm", 10 * std::max(1, rounded(0.1 * mm))); }

// ---- what the photo is like

/// The smooth panel as well as it is known.
std::optional<PanelModel<double>> model_of(const PhotoLook& look) {
  if (!look.field.followed.empty())
    return PanelModel<double>(look.problem.constants, look.field.bundle.parameters);
  if (look.view) return PanelModel<double>(look.problem.constants, look.view->parameters);
  return std::nullopt;
}

/// -90 to 90.
double line_direction_deg(double dx, double dy) {
  const double direction = std::atan2(dy, dx) * 180 / std::numbers::pi;
  return direction > 90 ? direction - 180 : direction <= -90 ? direction + 180 : direction;
}

/// Period and direction of the undisturbed stripes, in the photo and on the panel.
void describe_stripes(const PhotoLook& look, ShotFigures& figures) {
  const PanelModel<double> model(look.problem.constants, look.field.bundle.parameters);
  const auto& judged = look.reading.setup.judged;
  const double x = judged ? 0.5 * (judged->x0_mm + judged->x1_mm) : look.problem.constants.anchor_x_mm;
  const double y = judged ? 0.5 * (judged->y0_mm + judged->y1_mm) : look.problem.constants.anchor_y_mm;
  const auto at = model.pixel_from_panel(x, y);
  const auto phase = [&](double du, double dv) {
    const auto p = model.panel_from_pixel(at.u_px + du, at.v_px + dv);
    return model.phase(p.x_mm, p.y_mm, 0.0, 0.0);
  };
  const double gu = 0.5 * (phase(1, 0) - phase(-1, 0)), gv = 0.5 * (phase(0, 1) - phase(0, -1));
  figures.stripe_period_px = 1 / std::hypot(gu, gv);
  // Along the stripes is (gv, -gu) in pixels, whose v runs down.
  figures.stripe_direction_deg = line_direction_deg(gv, gu);
  const double gx = model.phase(x + 1, y, 0.0, 0.0) - model.phase(x - 1, y, 0.0, 0.0),
               gy = model.phase(x, y + 1, 0.0, 0.0) - model.phase(x, y - 1, 0.0, 0.0);
  figures.stripe_direction_on_panel_deg = line_direction_deg(gy, -gx);
}

/// Share of the panel within search_margin_mm of the card that lies in the photo; where the rest is, as seen
/// from its middle.
struct Surroundings {
  double in_photo = 0, off_right_px = 0, off_down_px = 0;
};

Surroundings surroundings_of(const PhotoLook& look, const PanelModel<double>& model) {
  const PanelRegion region = region_around_card(look.problem.card, look.problem.card_scale, search_margin_mm);
  const double width = look.reading.photo.width_px, height = look.reading.photo.height_px;
  Surroundings s;
  double all = 0, off = 0;
  constexpr double step_mm = 5;
  const PanelGrid grid = grid_around(region.x0_mm, region.y0_mm, region.x1_mm, region.y1_mm, step_mm);
  for (int r = 0; r < grid.rows; ++r)
    for (int c = 0; c < grid.columns; ++c) {
      const double x = grid.x_mm(c), y = grid.y_mm(r);
      const double gap = card_gap_mm(look.problem, x, y);
      if (gap == 0 || gap > search_margin_mm) continue;
      const auto p = model.pixel_from_panel(x, y);
      ++all;
      if (p.u_px >= 0 && p.v_px >= 0 && p.u_px <= width - 1 && p.v_px <= height - 1) continue;
      ++off;
      s.off_right_px += p.u_px - std::clamp(p.u_px, 0.0, width - 1),
          s.off_down_px += p.v_px - std::clamp(p.v_px, 0.0, height - 1);
    }
  s.in_photo = all > 0 ? 1 - off / all : 0;
  return s;
}

ShotFigures figures_of(const PhotoLook& look, const CardDefinition& card) {
  ShotFigures f;
  f.tags_on_card = static_cast<int>(card.tags.size());
  const std::vector<SeenTag>& tags = look.problem.tags;
  if (!tags.empty()) {
    f.tag_side_px = shortest_side_px(tags);
    f.edge_width_px = median_edge_width_px(tags);
  }
  if (const auto model = model_of(look)) f.surroundings_in_photo = surroundings_of(look, *model).in_photo;
  if (look.expected_period_px > 0) f.stripe_period_px = look.expected_period_px;
  if (!look.field.followed.empty()) f.stripe_pairs = look.stripes.periods_in_a_row;
  if (look.residual.residual.empty()) return f;
  describe_stripes(look, f);
  f.surroundings_striped = look.stripes.striped_share;
  f.clipped_share = look.residual.clipped_fraction;
  const double level = look.residual.typical_level, contrast = std::abs(look.residual.typical_contrast);
  f.stripe_contrast = srgb_code_from_linear(level + contrast) - srgb_code_from_linear(level - contrast);
  for (const VisibleDent& dent : look.reading.setup.smallest_visible)
    if (dent.width_mm == small_dent_mm) f.visible_depth_mm = dent.depth_mm;
  return f;
}

// ---- what to do about it

using Advice = std::optional<ShotAdvice>;

/// "left", "up and right": which way the camera must turn to bring in what lies there.
std::string way_to(double right, double down) {
  std::string words;
  if (std::abs(down) > 0.4 * std::abs(right)) words = down < 0 ? "up" : "down";
  if (std::abs(right) > 0.4 * std::abs(down))
    words += std::string(words.empty() ? "" : " and ") + (right < 0 ? "left" : "right");
  return words;
}

/// Where the card's tags that were not read should be, by the ones that were.
Advice bring_in_the_card(const PhotoLook& look) {
  const BundleProblem& problem = look.problem;
  if (problem.tags.empty()) return std::nullopt;
  const double s = problem.card_scale, half = 0.5 * problem.card.tag_side_mm;
  std::vector<cv::Point2d> on_card, in_photo;
  std::vector<cv::Point2d> missing;
  for (const CardTag& known : problem.card.tags) {
    const auto seen = std::find_if(problem.tags.begin(), problem.tags.end(),
                                   [&](const SeenTag& t) { return t.id == known.id; });
    if (seen == problem.tags.end()) {
      missing.emplace_back(s * known.x_mm, s * known.y_mm);
      continue;
    }
    const std::array<cv::Point2d, 4> corners = {
        cv::Point2d(-half, half), {half, half}, {half, -half}, {-half, -half}};
    for (std::size_t k = 0; k < 4; ++k) {
      on_card.push_back(s * (cv::Point2d(known.x_mm, known.y_mm) + corners[k]));
      in_photo.push_back(seen->corners_px[k]);
    }
  }
  if (missing.empty()) return std::nullopt;
  const cv::Mat photo_from_card = cv::findHomography(on_card, in_photo);
  if (photo_from_card.empty()) return std::nullopt;
  std::vector<cv::Point2d> expected;
  cv::perspectiveTransform(missing, expected, photo_from_card);
  const double width = look.reading.photo.width_px, height = look.reading.photo.height_px;
  int outside = 0;
  double right = 0, down = 0;
  for (const cv::Point2d& p : expected) {
    const double r = p.x - std::clamp(p.x, 0.0, width - 1), d = p.y - std::clamp(p.y, 0.0, height - 1);
    outside += r != 0 || d != 0;
    right += r, down += d;
  }
  if (outside > 0)
    return ShotAdvice{
        "card_in_picture",
        format("Turn the phone %s, or go back, until the whole card is in the picture: %d of its %zu tags "
               "lie outside.",
               way_to(right, down).c_str(), outside, problem.card.tags.size())};
  return ShotAdvice{"card_free", format("Uncover the card: %zu of its %zu tags are in the picture but cannot "
                                        "be read (covered, in shadow, in "
                                        "glare or bent).",
                                        missing.size(), problem.card.tags.size())};
}

Advice sharper(const Photo& photo, const PhotoLook& look, const ShotFigures& f) {
  const bool refused = look.reading.refusal && is(*look.reading.refusal, PhotoFinding::blurred);
  const double pair_px = f.stripe_period_px.value_or(comfortable_period_px);
  if (!f.edge_width_px || (pair_px < comfortable_period_px && !refused)) return std::nullopt;
  // A Gaussian blur leaves exp(-2 pi^2 sigma^2 / P^2) of stripes of period P.
  const double sigma = *f.edge_width_px / edge_width_per_sigma;
  const double period = pair_px / crowding;
  const double kept = std::exp(-2 * std::numbers::pi * std::numbers::pi * sigma * sigma / (period * period));
  constexpr double enough = 0.1;
  if (kept >= enough && !refused) return std::nullopt;
  const bool motion = sharpness_of(photo.grey, box_around(look.problem.tags)).by_motion();
  const std::string what = format(
      "edges are %.1f pixels wide (%.2f mm), which leaves %.0f %% of the stripes' contrast where a dent "
      "crowds them "
      "threefold",
      *f.edge_width_px, *f.edge_width_px / look.pixels_per_mm, 100 * kept);
  if (motion)
    return ShotAdvice{
        "hold_still",
        "Hold still (rest the phone on something, use the self-timer, add light): " + what + "."};
  return ShotAdvice{"focus", "Tap on the card to focus: " + what + "."};
}

Advice closer(const PhotoLook& look) {
  const double have = look.pixels_per_mm;
  if (have <= 0 || have >= enough_pixels_per_mm) return std::nullopt;
  const std::string why = format("a millimetre has %.1f pixels in the photo, %.0f show the smallest dents",
                                 have, enough_pixels_per_mm);
  const auto& known = look.reading.setup.camera_distance_mm;
  // Before the pose is known: the tags' size alone, as if seen square-on.
  const double camera_mm = known ? known->value : look.problem.constants.nominal_focal_px / have;
  const double wanted_mm = camera_mm * have / enough_pixels_per_mm;
  if (wanted_mm < nearest_camera_mm)
    return ShotAdvice{"full_resolution",
                      format("Use the camera's full resolution (this photo has %d x %d pixels), uncropped: ",
                             look.reading.photo.width_px, look.reading.photo.height_px) +
                          why + "."};
  return ShotAdvice{"closer", "Move the phone " + told_mm(camera_mm - wanted_mm) + " closer, from about " +
                                  told_mm(camera_mm) + " to " + told_mm(wanted_mm) + ": " + why + "."};
}

Advice tilt(const PhotoLook& look) {
  const auto& known = look.reading.setup.camera_tilt_deg;
  if (!known) return std::nullopt;
  if (known->value > slanted_deg)
    return ShotAdvice{"tilt_less", format("Look %d degrees less slantwise: the panel is seen %d degrees from "
                                          "straight on, 20 to 45 are best.",
                                          rounded(known->value - 45), rounded(known->value))};
  if (known->value < squarest_deg)
    return ShotAdvice{"tilt_more", format("Look %d degrees more slantwise: %d degrees from straight on the "
                                          "phone mirrors itself in front of the "
                                          "stripes, 20 to 45 are best.",
                                          rounded(20 - known->value), rounded(known->value))};
  return std::nullopt;
}

/// A pair of stripes has pitch x pixels_per_mm x c / (c + d) pixels, c and d being the distances of camera
/// and board, and pixels_per_mm goes with 1 / c: for a factor more, c + d must shrink by it.
Advice wider_stripes(const PhotoLook& look, const ShotFigures& f) {
  const auto& camera = look.reading.setup.camera_distance_mm;
  if (!f.stripe_period_px || !camera || *f.stripe_period_px >= comfortable_period_px) return std::nullopt;
  const double pitch = look.problem.constants.pitch_mm, factor = comfortable_period_px / *f.stripe_period_px;
  const double board_mm = look.problem.constants.nominal_distance_mm, both_mm = camera->value + board_mm;
  std::string text = format(
      "A pair of stripes has %.1f pixels in the photo; with %.0f a dent may crowd them threefold: take a "
      "pitch of %.2g mm or "
      "more",
      *f.stripe_period_px, comfortable_period_px, pitch * factor);
  if (const double d = both_mm / factor - camera->value; d >= nearest_board_mm)
    text += ", or move the board " + told_mm(board_mm - d) + " nearer";
  if (const double c = both_mm / factor - board_mm; c >= nearest_camera_mm)
    text += ", or the phone " + told_mm(camera->value - c) + " closer";
  return ShotAdvice{"coarser_stripes", text + "."};
}

Advice narrower_stripes(const PhotoLook& look, const ShotFigures& f) {
  const auto& period = look.reading.setup.stripe_period_mm;
  const auto& camera = look.reading.setup.camera_distance_mm;
  if (!period || *period <= much_wider * small_dent_mm || !camera || !f.stripe_period_px) return std::nullopt;
  const double factor = small_dent_mm / *period;
  if (*f.stripe_period_px * factor < comfortable_period_px) return std::nullopt;
  std::string text = format(
      "A pair of stripes is %.0f mm wide on the panel, and narrower dents are measured less surely: take a "
      "pitch of %.2g mm "
      "or less",
      *period, look.problem.constants.pitch_mm * factor);
  const double board_mm = look.reading.setup.board_distance_mm->value;
  if (const double d = (camera->value + board_mm) / factor - camera->value; d <= furthest_board_mm)
    text += ", or move the board " + told_mm(d - board_mm) + " further away";
  return ShotAdvice{"finer_stripes", text + "."};
}

Advice exposure(const ShotFigures& f) {
  constexpr double much_clipped =
      0.3;  // up to there the stripes' edges, which carry the slopes, are nearly all left
  constexpr double least_contrast = 12;  // grey values: noise of one is then a twelfth of a stripe's swing
  if (f.clipped_share && *f.clipped_share > much_clipped)
    return ShotAdvice{"expose_less", format("Expose about a stop less (tap on a bright stripe): %.0f %% of "
                                            "the bright stripes are burnt out to white.",
                                            100 * *f.clipped_share)};
  if (f.stripe_contrast && *f.stripe_contrast < least_contrast)
    return ShotAdvice{"more_light_on_board", format("Put more light on the board and less on the panel: from "
                                                    "dark to light the stripes differ by only "
                                                    "%.0f of 255 grey values.",
                                                    *f.stripe_contrast)};
  return std::nullopt;
}

Advice more_surroundings(const PhotoLook& look, const ShotFigures& f) {
  constexpr double half = 0.5;
  if (!f.surroundings_in_photo || *f.surroundings_in_photo >= half) return std::nullopt;
  const Surroundings s = surroundings_of(look, *model_of(look));
  return ShotAdvice{"card_further_in", format("Bring the card further in (turn the phone %s, or go back): "
                                              "the photo shows %.0f %% of the panel within "
                                              "%.0f mm of it, where dents are looked for.",
                                              way_to(s.off_right_px, s.off_down_px).c_str(),
                                              100 * *f.surroundings_in_photo, search_margin_mm)};
}

Advice more_stripes(const PhotoLook& look, const ShotFigures& f) {
  constexpr double quarter = 0.25;
  if (!f.surroundings_striped || *f.surroundings_striped >= quarter) return std::nullopt;
  const cv::Moments m = cv::moments(look.stripes.striped, true);
  const std::string side =
      side_of_card(look.problem, look.field.bundle.parameters, look.stripes.grid.x_mm(m.m10 / m.m00),
                   look.stripes.grid.y_mm(m.m01 / m.m00));
  return ShotAdvice{"board_further_in",
                    format("Move the board until its reflection surrounds the dent: undisturbed stripes "
                           "cover %.0f %% of the panel round "
                           "the card (%.0f cm2), mostly %s the card in the photo.",
                           100 * *f.surroundings_striped, 0.01 * look.stripes.striped_mm2, side.c_str())};
}

Advice about_gap(const PhotoLook& look, const Disturbance& gap, const std::string& code) {
  const std::string place = place_of(gap, look.problem, look.field);
  if (code == code_of(PhotoFinding::card_too_far)) {
    constexpr double best_mm = 20;  // of 10 to 30 from the dent's edge
    return ShotAdvice{"card_nearer", format("Lay the card %d mm nearer to what bends the stripes: it is ",
                                            rounded(gap.card_gap_mm - 0.5 * gap.width_mm - best_mm)) +
                                         place + "."};
  }
  if (code == code_of(PhotoFinding::dent_cut)) {
    const double ring_mm = std::max(small_dent_mm, look.field.period_mm);
    if (gap.card_gap_mm - 0.5 * gap.width_mm < ring_mm)
      return ShotAdvice{"card_away",
                        format("Move the card %d mm away from what bends the stripes, which it cuts: ",
                               rounded(ring_mm - std::max(0.0, gap.card_gap_mm - 0.5 * gap.width_mm))) +
                            place + "."};
    return ShotAdvice{
        "dent_further_in",
        "Bring what bends the stripes further into the picture, whose edge cuts it: " + place + "."};
  }
  return ShotAdvice{"glare_away",
                    "Move the lamp or the phone: its glare burns out the stripes, " + place + "."};
}

bool is_judged(const ResidualField& field, double x_mm, double y_mm) {
  const int row = static_cast<int>(std::lround(field.grid.row_of(y_mm))),
            column = static_cast<int>(std::lround(field.grid.column_of(x_mm)));
  return field.grid.contains(row, column) && field.inner.at<uchar>(row, column) != 0;
}

}  // namespace

PhotoCheck check_photo(const Photo& photo, const MeasureRequest& request, const MeasureOptions& options) {
  const MeasuredPhoto measured = measure_with_look(photo, request, options);
  const PhotoLook& look = measured.look;
  const Reading& reading = measured.result.reading;
  PhotoCheck check;
  check.reading = reading;
  check.photo = reading.photo;
  check.setup = reading.setup;
  check.warnings = reading.warnings;
  check.refusal = reading.refusal;
  check.spots = static_cast<int>(reading.dents.size());
  check.figures = figures_of(look, request.card);
  const auto add = [&](Advice advice) {
    if (advice) check.advice.push_back(std::move(*advice));
  };
  add(bring_in_the_card(look));
  add(closer(look));
  add(tilt(look));
  add(sharper(photo, look, check.figures));
  add(wider_stripes(look, check.figures));
  add(exposure(check.figures));
  add(more_surroundings(look, check.figures));
  add(more_stripes(look, check.figures));
  if (look.residual.residual.empty()) return check;

  add(narrower_stripes(look, check.figures));
  for (const Disturbance& gap : look.stripes.disturbances) {
    if (!is_deep(gap, look.field.period_mm)) continue;
    const auto unfit = refuse_gap(gap, look.problem, look.field);
    // A dent far from the card is still found where stripes surround it, if a fit explains it.
    const bool measurable =
        !unfit || (is(*unfit, PhotoFinding::card_too_far) && is_judged(look.residual, gap.x_mm, gap.y_mm));
    check.disturbances.push_back({gap.x_mm, gap.y_mm, gap.width_mm, gap.card_gap_mm, measurable});
    if (unfit) add(about_gap(look, gap, unfit->code));
  }
  return check;
}

}  // namespace ripplegauge
