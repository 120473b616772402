// A first look at the stripes, without any fit of dents: where they are as the model has them, and where they
// are not.
#include "stripe_look.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <string>

#include "bundle_setup.hpp"
#include "core/line_axes.hpp"
#include "core/quantile.hpp"
#include "stripes/block_means.hpp"

namespace ripplegauge {
namespace {

/// Beside the card, and whatever else covers the panel, stripes are cut so far off.
double card_margin_mm(double period_mm) { return 0.5 * period_mm + 2; }

/// Gaps in the striped area: holes, and bays in its edge.
std::vector<Disturbance> find_gaps(const StripeLook& look, const cv::Mat& covered, const cv::Mat& bare,
                                   const cv::Mat& clipped, const cv::Mat& deviation, double period_mm,
                                   const BundleProblem& problem) {
  const PanelGrid& grid = look.grid;
  const int thin = std::max(1, static_cast<int>(0.2 * period_mm / grid.step_mm));
  // The hull: a flat board's edges are mirrored nearly straight.
  cv::Mat gaps = filled_hull(look.striped) & ~look.striped & ~covered, labels, stats, centres;
  cv::morphologyEx(gaps, gaps, cv::MORPH_OPEN, disc_of(thin));
  const int count = cv::connectedComponentsWithStats(gaps, labels, stats, centres, 4, CV_32S);
  const int reach = std::max(2, static_cast<int>(0.5 * period_mm / grid.step_mm));
  const double cell_mm2 = grid.step_mm * grid.step_mm, least_mm = std::max(3.0, 0.4 * period_mm);
  std::vector<Disturbance> out;
  for (int i = 1; i < count; ++i) {
    Disturbance d;
    const int area = stats.at<int>(i, cv::CC_STAT_AREA);
    d.size_mm = std::sqrt(4 * area * cell_mm2 / std::numbers::pi);
    if (d.size_mm < least_mm) continue;
    d.width_mm = std::max(0.0, d.size_mm - period_mm);
    const cv::Rect box =
        cv::Rect(stats.at<int>(i, cv::CC_STAT_LEFT) - reach, stats.at<int>(i, cv::CC_STAT_TOP) - reach,
                 stats.at<int>(i, cv::CC_STAT_WIDTH) + 2 * reach,
                 stats.at<int>(i, cv::CC_STAT_HEIGHT) + 2 * reach) &
        cv::Rect(0, 0, gaps.cols, gaps.rows);
    const cv::Mat self = labels(box) == i;
    cv::Mat grown;
    cv::dilate(self, grown, disc_of(reach));
    const cv::Mat ring = grown & ~self;
    const double n = std::max(1, cv::countNonZero(ring));
    d.ring_striped = cv::countNonZero(ring & look.striped(box)) / n;
    d.ring_covered = cv::countNonZero(ring & covered(box)) / n;
    d.ring_bare = cv::countNonZero(ring & bare(box)) / n;
    d.clipped_share = static_cast<double>(cv::countNonZero(self & clipped(box))) / area;
    d.coherence = cv::mean(look.coherence(box), self)[0] / look.coherence_typical;
    // The window sees the stripes around from far inside: only the quietest tenth tells whether there are any
    // in it.
    constexpr double quietest = 0.1, none_left = 0.35;
    std::vector<float> deviations;
    for (int r = 0; r < box.height; ++r)
      for (int c = 0; c < box.width; ++c)
        if (self.at<uchar>(r, c) != 0) deviations.push_back(deviation.at<float>(box.y + r, box.x + c));
    d.hidden = quantile_of(deviations, quietest) < none_left * look.contrast_typical;
    d.x_mm = grid.x_mm(centres.at<double>(i, 0)), d.y_mm = grid.y_mm(centres.at<double>(i, 1));
    d.card_gap_mm = card_gap_mm(problem, d.x_mm, d.y_mm);
    out.push_back(d);
  }
  std::sort(out.begin(), out.end(),
            [](const Disturbance& a, const Disturbance& b) { return a.size_mm > b.size_mm; });
  return out;
}

/// The longest unbroken row of half periods, each of which is striped over a length of a period somewhere, in
/// periods.
double periods_in_a_row(const cv::Mat& striped, const cv::Mat& phase_cycles, double cell_mm2,
                        double period_mm) {
  std::map<int, double> area_mm2;  // of each half period; empty ones are absent
  for (int r = 0; r < striped.rows; ++r) {
    const uchar* shown = striped.ptr<uchar>(r);
    const float* phase = phase_cycles.ptr<float>(r);
    int half = 0;
    double* area = nullptr;  // of `half`: neighbours mostly share theirs
    for (int c = 0; c < striped.cols; ++c) {
      if (shown[c] == 0) continue;
      const int here = static_cast<int>(std::floor(2 * phase[c]));
      if (area == nullptr || here != half) half = here, area = &area_mm2[here];
      *area += cell_mm2;
    }
  }
  const double least_mm2 = 0.5 * period_mm * period_mm;
  std::erase_if(area_mm2, [&](const auto& half) { return half.second < least_mm2; });
  int longest = 0, length = 0, last = 0;
  for (const auto& [half, area] : area_mm2) {
    length = length > 0 && half == last + 1 ? length + 1 : 1;
    last = half;
    longest = std::max(longest, length);
  }
  return 0.5 * longest;
}

/// 255 where the card is nearer than `gap_mm`, else 0.
cv::Mat cells_near_card(const BundleProblem& problem, const PanelGrid& grid, double gap_mm) {
  cv::Mat mask = cv::Mat::zeros(grid.rows, grid.columns, CV_8UC1);
  const double s = problem.card_scale;
  for (int r = 0; r < grid.rows; ++r)
    for (const RectangleMm& paper : problem.card.paper) {
      const double y = grid.y_mm(r), dy = std::max({paper.y0_mm * s - y, y - paper.y1_mm * s, 0.0});
      if (dy >= gap_mm) continue;
      const double dx = std::sqrt(gap_mm * gap_mm - dy * dy);
      const int first = std::max(0, static_cast<int>(std::ceil(grid.column_of(paper.x0_mm * s - dx))));
      const int last =
          std::min(grid.columns - 1, static_cast<int>(std::floor(grid.column_of(paper.x1_mm * s + dx))));
      for (int c = first; c <= last; ++c) mask.at<uchar>(r, c) = 255;
    }
  return mask;
}

}  // namespace

double card_gap_mm(const BundleProblem& problem, double x_mm, double y_mm) {
  double gap = 1e9;
  for (const RectangleMm& paper : problem.card.paper) {
    const double s = problem.card_scale;
    const double dx = std::max({paper.x0_mm * s - x_mm, x_mm - paper.x1_mm * s, 0.0});
    const double dy = std::max({paper.y0_mm * s - y_mm, y_mm - paper.y1_mm * s, 0.0});
    gap = std::min(gap, std::hypot(dx, dy));
  }
  return gap;
}

bool shows_stripes(const StripeLook& look) {
  return look.striped_mm2 > fewest_square_periods * look.period_mm * look.period_mm &&
         look.periods_in_a_row >= fewest_in_a_row;
}

StripeLook look_at_stripes(const cv::Mat& grey, const BundleProblem& problem, const StripeField& field,
                           double pixels_per_mm) {
  StripeLook look;
  if (field.followed.empty()) return look;
  const PanelModel<double> model(problem.constants, field.bundle.parameters);
  const double period = look.period_mm = field.period_mm;
  const double step = std::clamp(period / 9, std::max(0.4, 0.8 / pixels_per_mm), 1.2);
  const PanelGrid& wide = field.grid;
  look.grid =
      grid_around(wide.x0_mm, wide.y0_mm, wide.x_mm(wide.columns - 1), wide.y_mm(wide.rows - 1), step);
  const PanelGrid& grid = look.grid;
  const ReducedLight reduced(grey, reduction_for(step, pixels_per_mm), cv::Rect(0, 0, grey.cols, grey.rows));
  const PanelMaps maps = panel_maps(model, grid);
  cv::Mat light = sample_light(reduced, maps);
  const cv::Mat bare = field.bare.empty() ? cv::Mat::zeros(light.size(), CV_8UC1)
                                          : nearest_cells(field.bare, field.grid, grid);
  const cv::Mat covered = (light < 0) | (paper_mask(problem.card, problem.card_scale, grid, 2.0) != 0) |
                          (board_tag_mask(problem, model, grid) != 0) | (bare != 0);
  cv::dilate(bare, look.near_bare, disc_of(static_cast<int>(card_margin_mm(period) / step)));

  // Local variance, and the part of it that goes with the model's phase: for a window of some periods that is
  // the squared Fourier coefficient at the carrier, twice (Parseval).
  constexpr int block = 2;
  const BlockMeans m = block_means(light.size(), block, [&](int row, float* value, float* phase) {
    const float *seen = light.ptr<float>(row), *cycles = maps.phase_cycles.ptr<float>(row);
    const uchar* hidden = covered.ptr<uchar>(row);
    for (int c = 0; c < light.cols; ++c) value[c] = hidden[c] != 0 ? -1.0F : seen[c], phase[c] = cycles[c];
  });
  const double sigma = 0.55 * period / step / block, wider = 1.3 * sigma;
  cv::Mat mean, nearby, norm, variance, re, im;
  smooth_each({{&m[mean_light], &mean, wider}, {&m[mean_weight], &nearby, wider}});
  mean /= nearby + 1e-3F;
  variance = m[mean_square] - mean.mul(2 * m[mean_light] - mean.mul(m[mean_weight]));
  re = m[mean_light_cos] - mean.mul(m[mean_weight_cos]),
  im = m[mean_light_sin] - mean.mul(m[mean_weight_sin]);
  smooth_each(
      {{&m[mean_weight], &norm, sigma}, {&variance, &variance, sigma}, {&re, &re, sigma}, {&im, &im, sigma}});
  norm += 1e-3F;
  variance = cv::max(variance / norm, 0);
  cv::Mat deviation;
  cv::sqrt(variance, deviation);
  look.coherence = 2 * (re.mul(re) + im.mul(im)) / norm.mul(norm) / (variance + 1e-8F);
  for (cv::Mat* picture : {&look.coherence, &deviation})
    *picture = cells_of_blocks(*picture, block, light.size(), cv::INTER_LINEAR);

  // Without stripes the coherence is that of noise, a few hundredths; clean ones have 0.9.
  constexpr float surely_striped = 0.5F;
  std::vector<float> deviations, coherences;
  for (int r = 0; r < grid.rows; r += 2)
    for (int c = 0; c < grid.columns; c += 2)
      if (covered.at<uchar>(r, c) == 0 && look.coherence.at<float>(r, c) > surely_striped) {
        deviations.push_back(deviation.at<float>(r, c));
        coherences.push_back(look.coherence.at<float>(r, c));
      }
  look.striped = cv::Mat::zeros(light.size(), CV_8UC1);
  if (deviations.empty()) return look;
  look.contrast_typical = median_of(deviations), look.coherence_typical = median_of(coherences);
  constexpr double as_modelled = 0.75, some_contrast = 0.25;
  look.striped = (look.coherence > as_modelled * look.coherence_typical) &
                 (deviation > some_contrast * look.contrast_typical) & ~covered;
  look.striped_mm2 = cv::countNonZero(look.striped) * step * step;
  look.periods_in_a_row = periods_in_a_row(look.striped, maps.phase_cycles, step * step, period);
  look.disturbances = find_gaps(look, covered, bare != 0, light > clipped_light, deviation, period, problem);

  const cv::Mat seen = cells_near_card(problem, grid, search_margin_mm) & ~covered;
  look.striped_share =
      cv::countNonZero(look.striped & seen) / std::max(1.0, static_cast<double>(cv::countNonZero(seen)));
  return look;
}

namespace {

/// The mask as text, in cells large enough for a file; one is judged where most of it is.
void describe_cells(const cv::Mat& judged, const PanelGrid& g, JudgedArea& area) {
  area.cell_mm = 2;
  const auto bounds = [&](double from_mm, double g0_mm, int count, int cell) {
    const auto at = [&](int i) {
      return std::clamp(static_cast<int>(std::lround((from_mm + i * area.cell_mm - g0_mm) / g.step_mm)), 0,
                        count);
    };
    const int first = std::min(at(cell), count - 1);
    return cv::Range(first, std::max(first + 1, at(cell + 1)));
  };
  const int rows = static_cast<int>(std::ceil((area.y1_mm - area.y0_mm) / area.cell_mm)),
            columns = static_cast<int>(std::ceil((area.x1_mm - area.x0_mm) / area.cell_mm));
  for (int r = 0; r < rows; ++r) {
    std::string& row = area.rows.emplace_back(static_cast<std::size_t>(columns), '.');
    for (int c = 0; c < columns; ++c) {
      const cv::Mat cell =
          judged(bounds(area.y0_mm, g.y0_mm, g.rows, r), bounds(area.x0_mm, g.x0_mm, g.columns, c));
      if (2 * cv::countNonZero(cell) > static_cast<int>(cell.total())) row[static_cast<std::size_t>(c)] = '#';
    }
  }
}

/// The panel within search_margin_mm of the card that the photo shows, without what the card covers, mm2.
double surroundings_mm2(const BundleProblem& problem, const PanelVector& parameters, cv::Size photo) {
  const PanelModel<double> model(problem.constants, parameters);
  const PanelRegion region = region_around_card(problem.card, problem.card_scale, search_margin_mm);
  constexpr double step_mm = 4;
  double area_mm2 = 0;
  for (double y = region.y0_mm; y < region.y1_mm; y += step_mm)
    for (double x = region.x0_mm; x < region.x1_mm; x += step_mm) {
      const double gap = card_gap_mm(problem, x, y);
      if (gap == 0 || gap > search_margin_mm) continue;
      const auto p = model.pixel_from_panel(x, y);
      if (p.u_px >= 0 && p.v_px >= 0 && p.u_px < photo.width && p.v_px < photo.height)
        area_mm2 += step_mm * step_mm;
    }
  return area_mm2;
}

}  // namespace

std::optional<JudgedArea> judged_area(const BundleProblem& problem, const ResidualField& field,
                                      const PanelVector& parameters, cv::Size photo,
                                      const cv::Mat& unexplained) {
  if (field.inner.empty()) return std::nullopt;
  const cv::Mat judged = unexplained.empty() ? field.inner != 0 : (field.inner != 0) & ~unexplained;
  const cv::Rect box = cv::boundingRect(judged);
  if (box.area() == 0) return std::nullopt;
  const PanelGrid& g = field.grid;
  JudgedArea area;
  area.x0_mm = g.x_mm(box.x), area.y0_mm = g.y_mm(box.y);
  area.x1_mm = g.x_mm(box.x + box.width - 1), area.y1_mm = g.y_mm(box.y + box.height - 1);
  area.area_mm2 = cv::countNonZero(judged) * g.step_mm * g.step_mm;
  area.share = std::min(1.0, area.area_mm2 / std::max(1.0, surroundings_mm2(problem, parameters, photo)));
  describe_cells(judged, g, area);
  return area;
}

std::vector<PixelOutline> judged_outlines(const ResidualField& field, const PanelModel<double>& model,
                                          const cv::Mat& unexplained) {
  cv::Mat judged = (field.inner != 0) & ~unexplained;
  const PanelGrid& g = field.grid;
  const int smooth = std::max(1, static_cast<int>(1.0 / g.step_mm));
  cv::morphologyEx(judged, judged, cv::MORPH_CLOSE, disc_of(smooth));
  std::vector<std::vector<cv::Point>> contours;
  cv::findContours(judged, contours, cv::RETR_CCOMP, cv::CHAIN_APPROX_NONE);
  constexpr double least_mm2 = 60, exact_mm = 0.7;
  std::vector<PixelOutline> outlines;
  for (const std::vector<cv::Point>& contour : contours) {
    if (std::abs(cv::contourArea(contour)) * g.step_mm * g.step_mm < least_mm2) continue;
    std::vector<cv::Point> few;
    cv::approxPolyDP(contour, few, exact_mm / g.step_mm, true);
    PixelOutline& outline = outlines.emplace_back();
    for (const cv::Point& p : few) {
      const auto pixel = model.pixel_from_panel(g.x_mm(p.x), g.y_mm(p.y));
      outline.points_px.emplace_back(pixel.u_px, pixel.v_px);
    }
  }
  return outlines;
}

std::vector<std::pair<double, double>> body_line_outline(const PanelModel<double>& model,
                                                         const BodyLine& line, cv::Size photo) {
  constexpr double reach_mm = 250, step_mm = 5;
  const LineAxes axes(line);
  std::vector<std::pair<double, double>> points_px;
  for (double along_mm = -reach_mm; along_mm <= reach_mm; along_mm += step_mm) {
    const PointMm at = axes.at(along_mm);
    if (!(model.depth_mm(at.x_mm, at.y_mm) > 0)) continue;
    const auto pixel = model.pixel_from_panel(at.x_mm, at.y_mm);
    if (pixel.u_px > 0 && pixel.v_px > 0 && pixel.u_px < photo.width && pixel.v_px < photo.height)
      points_px.emplace_back(pixel.u_px, pixel.v_px);
  }
  return points_px;
}

double unjudged_share(const StripeLook& look, const BundleProblem& problem, const ResidualField& field,
                      const cv::Mat& unexplained) {
  const cv::Mat hull = filled_hull(look.striped);
  const cv::Mat judged = (field.inner != 0) & ~unexplained;
  const double margin_mm = card_margin_mm(look.period_mm);
  int all = 0, lost = 0;
  for (int r = 0; r < look.grid.rows; ++r)
    for (int c = 0; c < look.grid.columns; ++c) {
      const double x = look.grid.x_mm(c), y = look.grid.y_mm(r), gap = card_gap_mm(problem, x, y);
      if (hull.at<uchar>(r, c) == 0 || look.near_bare.at<uchar>(r, c) != 0 || gap < margin_mm ||
          gap > search_margin_mm)
        continue;
      const int row = static_cast<int>(std::lround(field.grid.row_of(y))),
                column = static_cast<int>(std::lround(field.grid.column_of(x)));
      ++all, lost += !field.grid.contains(row, column) || judged.at<uchar>(row, column) == 0;
    }
  return all > 0 ? static_cast<double>(lost) / all : 1;
}

std::string side_of_card(const BundleProblem& problem, const PanelVector& parameters, double x_mm,
                         double y_mm) {
  const PanelModel<double> model(problem.constants, parameters);
  double u = 0, v = 0, side_px = 0;
  for (const SeenTag& tag : problem.tags)
    for (std::size_t k = 0; k < 4; ++k) {
      u += tag.corners_px[k].x, v += tag.corners_px[k].y;
      side_px += cv::norm(tag.corners_px[k] - tag.corners_px[(k + 1) % 4]);
    }
  const double n = 4 * static_cast<double>(problem.tags.size());
  const auto p = model.pixel_from_panel(x_mm, y_mm);
  const double right = (p.u_px - u / n) / (side_px / n), down = (p.v_px - v / n) / (side_px / n);
  if (std::hypot(right, down) < 1) return "beside";
  std::string words;
  if (std::abs(down) > 0.4 * std::abs(right)) words = down < 0 ? "above" : "below";
  if (std::abs(right) > 0.4 * std::abs(down))
    words += std::string(words.empty() ? "" : " and ") + (right < 0 ? "left of" : "right of");
  return words;
}

}  // namespace ripplegauge
