// Pixels of a square of panel with the law of reflection worked out for each as far as the relief does not
// change it.
#include "relief/patch.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <numeric>

#include "core/gram.hpp"
#include "core/quantile.hpp"
#include "relief/photo_blur.hpp"

namespace ripplegauge {
namespace {

/// A fixed scramble of a cell's number to [0, 1): thinning must not depend on anything but the cell.
double scramble(std::uint32_t i) {
  i = (i ^ 61U) ^ (i >> 16U);
  i *= 9U;
  i ^= i >> 4U;
  i *= 0x27d4eb2dU;
  i ^= i >> 15U;
  return static_cast<double>(i) / 4294967296.0;
}

/// What averaging blocks of n pixels (variance (n^2 - 1) / 12) and interpolating between them (a sixth of a
/// block's on average) adds, px^2.
double sampling_variance_px2(int reduction) {
  return (reduction * reduction - 1) / 12.0 + reduction * reduction / 6.0;
}

/// The blur that stripes suffer between panel and sample, here and where their profile was learnt.
void set_blur(Patch& patch, const PanelModel<double>& model, const std::vector<SeenTag>& tags, int reduction,
              double learnt_density2_px) {
  constexpr double h = 0.5;
  const auto px = [&](double dx, double dy) {
    return model.pixel_from_panel(patch.x_mm + dx, patch.y_mm + dy);
  };
  Eigen::Matrix2d jacobian;  // px per mm
  jacobian << px(h, 0).u_px - px(-h, 0).u_px, px(0, h).u_px - px(0, -h).u_px, px(h, 0).v_px - px(-h, 0).v_px,
      px(0, h).v_px - px(0, -h).v_px;
  const Eigen::Matrix2d square_mm = (jacobian.transpose() * jacobian).inverse();
  const PhotoBlur photo = blur_at(tags, model, patch.x_mm, patch.y_mm);
  const double sampling = sampling_variance_px2(reduction), two_pi2 = 2 * std::numbers::pi * std::numbers::pi;
  const Eigen::Matrix2f metric = (two_pi2 * (photo.width_px2 + sampling) * square_mm).cast<float>();
  patch.blur = {metric(0, 0), metric(0, 1), metric(1, 1)};
  patch.blur_moment_mm2 = ((photo.moment_px2 + sampling) * square_mm).cast<float>();
  patch.learnt_blur = static_cast<float>(two_pi2 * mean_blur(tags).width_px2 * learnt_density2_px);
}

}  // namespace

std::vector<int> all_pixels(const Patch& patch) {
  std::vector<int> pixels(patch.size());
  std::iota(pixels.begin(), pixels.end(), 0);
  return pixels;
}

PixelGeometry geometry_of(const Patch& patch, const std::vector<int>& pixels) {
  PixelGeometry out;
  const std::size_t n = pixels.size();
  for (auto* v : {&out.x_mm, &out.y_mm, &out.shift_x, &out.shift_y, &out.ray_x, &out.ray_y, &out.ray_z,
                  &out.inverse_ray_z, &out.slope_x, &out.slope_y, &out.from_normal, &out.from_across,
                  &out.ray_normal, &out.ray_across, &out.phase_x, &out.phase_y})
    v->resize(n);
  for (auto& column : out.level) column.resize(n);
  for (std::size_t k = 0; k < n; ++k) {
    const auto i = static_cast<std::size_t>(pixels[k]);
    const MirrorPixel& m = patch.pixel[i];
    out.x_mm[k] = m.x_mm, out.y_mm[k] = m.y_mm;
    out.shift_x[k] = m.ray_x / m.ray_z, out.shift_y[k] = m.ray_y / m.ray_z;
    out.ray_x[k] = m.ray_x, out.ray_y[k] = m.ray_y, out.ray_z[k] = m.ray_z,
    out.inverse_ray_z[k] = 1 / m.ray_z;
    out.slope_x[k] = m.slope_x, out.slope_y[k] = m.slope_y;
    out.from_normal[k] = m.from_normal, out.from_across[k] = m.from_across;
    out.ray_normal[k] = m.ray_normal, out.ray_across[k] = m.ray_across;
    out.phase_x[k] = m.phase_x, out.phase_y[k] = m.phase_y;
    const auto x = static_cast<float>(patch.xn(i)), y = static_cast<float>(patch.yn(i));
    const float level[] = {1, x, y, x * x, x * y, y * y};
    for (std::size_t t = 0; t < out.level.size(); ++t) out.level[t][k] = level[t];
  }
  std::array<const float*, LightModel::level_terms> columns{};
  for (std::size_t t = 0; t < out.level.size(); ++t) columns[t] = out.level[t].data();
  Eigen::Matrix<double, LightModel::level_terms, LightModel::level_terms, Eigen::RowMajor> gram;
  gram_of_columns(columns.data(), LightModel::level_terms, 0, nullptr, n, gram.data());
  out.level_normal = gram.selfadjointView<Eigen::Lower>();
  return out;
}

void set_geometry(Patch& patch) {
  patch.geometry = std::make_shared<const PixelGeometry>(geometry_of(patch, all_pixels(patch)));
}

float whitening_at(const Patch& patch, double phase_cycles) {
  const StripeProfile& s = *patch.profile;
  const double near = std::abs(s.value(phase_cycles + 0.02) - s.value(phase_cycles - 0.02)) / 0.04;
  const double wide = std::abs(s.value(phase_cycles + 0.05) - s.value(phase_cycles - 0.05)) / 0.10;
  const double jitter = std::max(near, wide) * patch.edge_jitter_cycles;
  return static_cast<float>(1 / std::sqrt(patch.noise * patch.noise + jitter * jitter));
}

float mean_whitening(const Patch& patch) {
  constexpr int steps = 64;
  double variance = 0;
  for (int i = 0; i < steps; ++i) variance += std::pow(whitening_at(patch, (i + 0.5) / steps), -2) / steps;
  return static_cast<float>(1 / std::sqrt(variance));
}

Patch make_patch(const cv::Mat& grey, const BundleProblem& problem, const PanelVector& parameters,
                 const ResidualField& field, const PatchRequest& request, const std::vector<Disc>& leave_out,
                 double pixels_per_mm) {
  const PanelModel<double> model(problem.constants, parameters);
  const PanelGrid grid =
      grid_around(request.x_mm - request.half_mm, request.y_mm - request.half_mm,
                  request.x_mm + request.half_mm, request.y_mm + request.half_mm, request.step_mm);
  Patch patch;
  patch.x_mm = request.x_mm, patch.y_mm = request.y_mm, patch.threads = request.threads;
  patch.half_mm = request.half_mm, patch.step_mm = grid.step_mm;
  patch.board = {model.board_normal(), model.across_stripes(), problem.constants.pitch_mm,
                 model.board_phase_offset()};
  patch.profile = &field.pixel_profile;
  patch.noise =
      std::max(field.noise, 0.04);  // JPEG and paint texture: never trust a pixel better than 4 % of contrast
  patch.edge_jitter_cycles = field.edge_jitter_cycles;
  patch.peel_cell_mm = field.peel_cell_mm;
  patch.columns = grid.columns, patch.rows = grid.rows;

  set_blur(patch, model, problem.tags, reduction_for(grid.step_mm, pixels_per_mm), field.learnt_density2_px);

  const PanelMaps maps = panel_maps(model, grid);
  double u0 = 0, u1 = 0, v0 = 0, v1 = 0;
  cv::minMaxLoc(maps.u_px, &u0, &u1);
  cv::minMaxLoc(maps.v_px, &v0, &v1);
  const cv::Rect used = cv::Rect(cv::Point(static_cast<int>(u0) - 8, static_cast<int>(v0) - 8),
                                 cv::Point(static_cast<int>(u1) + 9, static_cast<int>(v1) + 9)) &
                        cv::Rect(0, 0, grey.cols, grey.rows);
  if (used.area() == 0) return patch;
  const ReducedLight light(grey, reduction_for(grid.step_mm, pixels_per_mm), used);
  const cv::Mat paper = paper_mask(problem.card, problem.card_scale, grid, 1.0);

  const double share = std::min(
      1.0, static_cast<double>(request.max_pixels) / (static_cast<double>(grid.rows) * grid.columns));

  constexpr int around = 4;  // cells; the undisturbed phase changes slowly
  const auto gradient = [&](int r0, int c0, int r1, int c1) {
    const auto cells = static_cast<float>((r1 - r0) + (c1 - c0));
    return (maps.phase_cycles.at<float>(r1, c1) - maps.phase_cycles.at<float>(r0, c0)) /
           (cells * static_cast<float>(grid.step_mm));
  };
  std::vector<float> contrasts, gains;
  std::size_t area_cells = 0, clipped = 0;
  for (int r = 0; r < grid.rows; ++r)
    for (int c = 0; c < grid.columns; ++c) {
      const double x = grid.x_mm(c), y = grid.y_mm(r);
      const int fr = static_cast<int>(std::lround(field.grid.row_of(y))),
                fc = static_cast<int>(std::lround(field.grid.column_of(x)));
      if (!field.grid.contains(fr, fc) || field.valid.at<uchar>(fr, fc) == 0 || paper.at<uchar>(r, c) != 0)
        continue;
      bool left_out = false;
      for (const Disc& disc : leave_out) {
        const double dx = x - disc.x_mm, dy = y - disc.y_mm;
        left_out |= dx * dx + dy * dy < disc.radius_mm * disc.radius_mm;
      }
      if (left_out) continue;
      ++area_cells;
      const int cell = r * grid.columns + c;
      if (scramble(static_cast<std::uint32_t>(cell)) >= share) continue;
      const float value = light.sample(maps.u_px.at<float>(r, c), maps.v_px.at<float>(r, c));
      if (value < 0) continue;
      const auto m = model.mirror_point(x, y);
      const auto f = [](double v) { return static_cast<float>(v); };
      patch.pixel.push_back({f(x), f(y), f(m.ray_x), f(m.ray_y), f(m.ray_z), f(m.panel_slope_x),
                             f(m.panel_slope_y), f(m.from_normal), f(m.from_across), f(m.ray_normal),
                             f(m.ray_across),
                             gradient(r, std::max(c - around, 0), r, std::min(c + around, grid.columns - 1)),
                             gradient(std::max(r - around, 0), c, std::min(r + around, grid.rows - 1), c)});
      patch.light.push_back(value);
      patch.clipped.push_back(value > clipped_light ? 1 : 0);
      clipped += patch.clipped.back();
      patch.cell.push_back(cell);
      constexpr std::size_t enough_for_medians = 8;  // every eighth
      if (patch.size() % enough_for_medians != 1) continue;
      contrasts.push_back(std::abs(field.contrast.at<float>(fr, fc)));
      const PhaseAt phase = patch.board.phase(patch.pixel.back(), 0, 0, 0);
      gains.push_back(f(std::hypot(phase.by_slope_x, phase.by_slope_y)));
    }
  const std::size_t n = patch.size();
  patch.whitening.assign(n, mean_whitening(patch));
  patch.base_z.assign(n, 0);
  patch.base_slope_x.assign(n, 0);
  patch.base_slope_y.assign(n, 0);
  patch.soft_slope_x.assign(n, 0);
  patch.soft_slope_y.assign(n, 0);
  patch.base_xx.assign(n, 0);
  patch.base_xy.assign(n, 0);
  patch.base_yy.assign(n, 0);
  if (n == 0) return patch;
  set_geometry(patch);
  patch.contrast = std::max<double>(median_of(contrasts), 1e-4);
  patch.gain = median_of(gains);
  patch.clipped_fraction = static_cast<double>(clipped) / static_cast<double>(n);
  constexpr double correlation_mm = 0.3;  // one independent pixel per 0.3 x 0.3 mm: blur, sharpening and JPEG
  const double independent =
      static_cast<double>(area_cells) * grid.step_mm * grid.step_mm / (correlation_mm * correlation_mm);
  patch.effective_pixel_share = std::min(1.0, independent / static_cast<double>(n));
  return patch;
}

}  // namespace ripplegauge
