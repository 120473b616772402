// The stripes' steps on drawn panels, where everything is known: following, folds, edges of light, and what
// is left over.
#include <algorithm>
#include <cmath>
#include <opencv2/core.hpp>

#include "catch.hpp"
#include "drawn_panel.hpp"
#include "stripes/light_edge.hpp"

using namespace ripplegauge;

namespace {

constexpr double margin_mm = 50;

/// What a photo of which only the tags are known says of its stripes: the board is taken to stand square, at
/// a distance that is some per cent off.
struct FollowedPanel {
  BundleProblem problem;
  StripeField field;
};
FollowedPanel follow(const DrawnPanel& panel) {
  FollowedPanel followed{panel.problem, {}};
  BundleProblem& problem = followed.problem;
  problem.constants.folds = 0;
  problem.constants.nominal_distance_mm *= 1.08;
  PanelVector start = panel.field.bundle.parameters;
  start.segment<3>(p_board_tilt).setZero();
  start[p_board_phase] = 0;
  followed.field = follow_stripes(panel.grey, problem, start, region_around_card(problem.card, 1, margin_mm),
                                  drawn_pixels_per_mm);
  return followed;
}

/// Root mean square difference of the phases that two models see beside the card, less their mean.
double phase_difference(const PanelConstants& a_constants, const PanelVector& a,
                        const PanelConstants& b_constants, const PanelVector& b) {
  const PanelModel<double> first(a_constants, a), second(b_constants, b);
  double sum = 0, squares = 0;
  int count = 0;
  for (double x = 30; x < 130; x += 10)
    for (double y = 25; y < 100; y += 10, ++count) {
      const double off = first.phase(x, y, 0, 0) - second.phase(x, y, 0, 0);
      sum += off;
      squares += off * off;
    }
  return std::sqrt(squares / count - sum * sum / count / count);
}

double share_of(const cv::Mat& mask) {
  return static_cast<double>(cv::countNonZero(mask)) / static_cast<double>(mask.total());
}

}  // namespace

TEST_CASE("stripes are followed from the tags alone, and the board is found on the way", "[stripes]") {
  const auto panel = draw_panel({});
  const auto [problem, field] = follow(*panel);
  REQUIRE_FALSE(field.followed.empty());
  CHECK(share_of(field.followed) > 0.6);
  CHECK(field.period_mm == Approx(panel->field.period_mm).epsilon(0.02));
  CHECK(field.carrier_ratio == Approx(1).margin(0.15));
  CHECK(field.bundle.phase_mad_cycles < 0.02);
  CHECK(phase_difference(panel->problem.constants, panel->field.bundle.parameters, problem.constants,
                         field.bundle.parameters) < 0.02);
  CHECK(problem.constants.folds == 0);
}

TEST_CASE("where there are no stripes nothing is followed", "[stripes]") {
  Drawing drawing;
  drawing.spoil = [](double, double, double, double, double) { return 0.3; };
  const auto panel = draw_panel(drawing);
  const StripeField field = follow(*panel).field;
  CHECK((field.followed.empty() || share_of(field.followed) < 0.1 || field.carrier_snr < 20));
}

TEST_CASE("a body line is found with its turn and its place", "[stripes]") {
  Drawing drawing;
  constexpr double turn = 0.08, place_mm = 95;
  drawing.alter = [=](PanelVector& p, PanelConstants& constants) {
    constants.folds = 1;
    p.segment<5>(p_fold) << turn, place_mm, 0.1, std::log(2.5), 0;
  };
  const auto panel = draw_panel(drawing);
  const auto [problem, field] = follow(*panel);
  REQUIRE(problem.constants.folds == 1);
  CHECK(field.bundle.parameters[p_fold] == Approx(turn).epsilon(0.05));
  CHECK(field.bundle.parameters[p_fold + 1] == Approx(place_mm).margin(1));
}

TEST_CASE("two body lines are found, one beyond the other", "[stripes][search]") {
  Drawing drawing;
  constexpr double turn = 0.08, place_mm = 75, second_turn = 0.05, second_place_mm = 115;
  drawing.alter = [=](PanelVector& p, PanelConstants& constants) {
    constants.folds = 2;
    p.segment<5>(fold_at(0)) << turn, place_mm, 0.1, std::log(2.5), 0;
    p.segment<5>(fold_at(1)) << second_turn, second_place_mm, 0.05, std::log(2), 0;
  };
  const auto panel = draw_panel(drawing);
  const auto [problem, field] = follow(*panel);
  REQUIRE(problem.constants.folds == 2);
  const PanelVector& p = field.bundle.parameters;
  const bool in_order = p[fold_at(0) + 1] < p[fold_at(1) + 1];
  const int first = fold_at(in_order ? 0 : 1), second = fold_at(in_order ? 1 : 0);
  CHECK(p[first] == Approx(turn).epsilon(0.05));
  CHECK(p[first + 1] == Approx(place_mm).margin(1));
  CHECK(p[second] == Approx(second_turn).epsilon(0.05));
  CHECK(p[second + 1] == Approx(second_place_mm).margin(1));
}

TEST_CASE("an edge of light is found with its factor, and taken out of the photo", "[stripes]") {
  Drawing drawing;
  drawing.light = 0.25;
  drawing.swing = 0.16;
  const auto plain = draw_panel(drawing);
  drawing.spoil = [](double light, double u, double v, double, double) {
    const double t = (0.8 * (u - 430) + 0.6 * (v - 250));
    return light * (1 + 1.0 / (1 + std::exp(-t / 3)));
  };
  const auto lit = draw_panel(drawing);
  const auto edge_in = [](const DrawnPanel& panel) {
    const auto [problem, field] = follow(panel);
    return find_light_edge(panel.grey, problem, field, drawn_pixels_per_mm);
  };
  CHECK_FALSE(edge_in(*plain));
  const auto edge = edge_in(*lit);
  REQUIRE(edge);
  CHECK(std::abs(edge->log_factor) == Approx(std::log(2)).epsilon(0.1));
  CHECK(std::abs(0.8 * edge->normal.x + 0.6 * edge->normal.y) > 0.99);
  // Up to one factor all over, the photo is as it was before.
  const cv::Mat mended = without_light_edge(lit->grey, *edge);
  const ResidualField left = stripe_residual(mended, plain->problem, plain->field, drawn_pixels_per_mm);
  cv::Mat off, far;
  cv::absdiff(left.residual, plain->residual.residual, off);
  cv::inRange(off, cv::Scalar(0.3), cv::Scalar(100), far);
  far &= left.inner != 0;
  CHECK(share_of(far) < 0.01);
}

TEST_CASE("what is left of undisturbed stripes is noise, peel and nothing else", "[stripes]") {
  Drawing drawing;
  drawing.peel_slope = 6e-4;
  const auto peeled = draw_panel(drawing);
  drawing.peel_slope = 0;
  const auto smooth = draw_panel(drawing);
  const ResidualField &p = peeled->residual, &s = smooth->residual;
  CHECK(s.typical_contrast == Approx(drawing.swing).epsilon(0.05));
  CHECK(s.typical_level == Approx(drawing.light).epsilon(0.05));
  CHECK(s.noise < 0.05);
  // 2 d / pitch cycles per unit slope.
  const double gain = 2 * drawing.board_distance_mm / drawing.pitch_mm;
  CHECK(p.edge_jitter_cycles == Approx(gain * 6e-4).epsilon(0.4));
  CHECK(s.edge_jitter_cycles < 0.3 * p.edge_jitter_cycles);
  CHECK(p.peel_cell_mm == Approx(2.2).margin(1.2));
  CHECK(s.clipped_fraction == 0);
}

TEST_CASE("the card is not judged, nor what lies within half a period of the stripes' end", "[stripes]") {
  const auto panel = draw_panel({});
  const ResidualField& f = panel->residual;
  const auto at = [&](const cv::Mat& mask, double x_mm, double y_mm) {
    return mask.at<uchar>(static_cast<int>(std::lround(f.grid.row_of(y_mm))),
                          static_cast<int>(std::lround(f.grid.column_of(x_mm)))) != 0;
  };
  CHECK_FALSE(at(f.valid, 50, 0));
  CHECK(at(f.valid, 90, 60));
  CHECK(at(f.inner, 90, 60));
  const double last_mm = f.grid.y_mm(f.grid.rows - 1);
  CHECK(at(f.valid, 90, last_mm - 1));
  CHECK_FALSE(at(f.inner, 90, last_mm - 1));
}

TEST_CASE("bright stripes that are burnt out are counted", "[stripes]") {
  Drawing drawing;
  drawing.light = 0.72;
  drawing.swing = 0.3;
  CHECK(draw_panel(drawing)->residual.clipped_fraction > 0.9);
}

TEST_CASE("a strip across the stripes is bare, a magnifying dent and a shadow are not") {
  Drawing drawing;
  drawing.spots = {drawn_spot(85, 60, 24, -0.05)};
  const auto bare_share = [&](const cv::Rect2d& box_mm) {
    const StripeField field = follow(*draw_panel(drawing)).field;
    REQUIRE_FALSE(field.bare.empty());
    int all = 0, bare = 0;
    for (int r = 0; r < field.grid.rows; ++r)
      for (int c = 0; c < field.grid.columns; ++c)
        if (box_mm.contains({field.grid.x_mm(c), field.grid.y_mm(r)})) {
          ++all;
          bare += field.bare.at<uchar>(r, c) != 0;
        }
    return static_cast<double>(bare) / all;
  };
  const cv::Rect2d dent(73, 48, 24, 24), strip(110, 10, 12, 90);
  SECTION("nothing covers the panel") {
    CHECK(bare_share(dent) == 0);
    CHECK(bare_share(strip) == 0);
  }
  SECTION("a trim") {
    drawing.spoil = [](double light, double, double, double x, double) {
      return x > 110 && x < 122 ? 0.02 : light;
    };
    CHECK(bare_share(strip) > 0.9);
    CHECK(bare_share(dent) == 0);
  }
  SECTION("a shadow") {
    drawing.spoil = [](double light, double, double, double x, double) {
      return x > 110 ? 0.5 * light : light;
    };
    CHECK(bare_share(strip) == 0);
  }
}
