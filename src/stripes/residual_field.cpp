// What is left of the stripes' light once the undisturbed panel is explained. The profile of the stripes is
// learnt from the photo, since board, blur, sharpening and tone curve all make it; so are noise and orange
// peel.
#include "stripes/residual_field.hpp"

#include <algorithm>
#include <array>
#include <atomic>
#include <cmath>
#include <limits>
#include <numeric>
#include <opencv2/imgproc.hpp>
#include <optional>
#include <vector>

#include "core/linear_light.hpp"
#include "core/quantile.hpp"
#include "sample_kernel.hpp"
#include "stripe_kernel.hpp"
#include "stripes/block_means.hpp"

namespace ripplegauge {
namespace {

double quantile_or_zero(std::vector<float>& values, double share) {
  return values.empty() ? 0 : quantile_of(values, share);
}

template <std::size_t n>
using Lists = std::array<std::vector<float>, n>;

/// What add_row(row, lists) appends to lists for the rows 0 ... rows - 1, in their order; rows are looked at
/// on several threads.
template <std::size_t n, class AddRow>
Lists<n> gathered(int rows, const AddRow& add_row) {
  constexpr int band = 16;
  std::vector<Lists<n>> of_band(static_cast<std::size_t>((rows + band - 1) / band));
  for_rows(static_cast<int>(of_band.size()), [&](int from, int to) {
    for (int b = from; b < to; ++b)
      for (int r = b * band; r < std::min(rows, (b + 1) * band); ++r)
        add_row(r, of_band[static_cast<std::size_t>(b)]);
  });
  Lists<n> all;
  for (std::size_t k = 0; k < n; ++k) {
    std::size_t size = 0;
    for (const Lists<n>& some : of_band) size += some[k].size();
    all[k].reserve(size);
    for (const Lists<n>& some : of_band) all[k].insert(all[k].end(), some[k].begin(), some[k].end());
  }
  return all;
}

/// Median over every second valid cell of every second row.
double typical_of(const cv::Mat& picture, const cv::Mat& valid) {
  auto [values] = gathered<1>(picture.rows, [&](int r, Lists<1>& lists) {
    if (r % 2 != 0) return;
    const float* value = picture.ptr<float>(r);
    const uchar* seen = valid.ptr<uchar>(r);
    for (int c = 0; c < picture.cols; c += 2)
      if (seen[c] != 0) lists[0].push_back(value[c]);
  });
  return quantile_or_zero(values, 0.5);
}

cv::Mat profile_image(const StripeProfile& profile, const cv::Mat& phase) {
  std::vector<float> values(StripeProfile::table_stride);
  std::transform(profile.level(0), profile.level(1), values.begin(),
                 [](const StripeProfile::Sample& s) { return s.value; });
  cv::Mat out(phase.size(), CV_32FC1);
  for_rows(phase.rows, [&](int from, int to) {
    for (int r = from; r < to; ++r) {
      kernel::look_up(values.data(), StripeProfile::table_size, phase.ptr<float>(r), phase.cols,
                      out.ptr<float>(r));
    }
  });
  return out;
}

/// Two passes: the second one follows what the first, wider one left.
void fit_light(ResidualField& f, const cv::Mat& profile_value, const cv::Mat& weight) {
  local_light(f.light, profile_value, weight, 1.2 * f.period_mm / f.grid.step_mm, f.level, f.contrast);
  cv::Mat rest(f.light.size(), CV_32FC1), level, contrast;
  for_rows(rest.rows, [&](int from, int to) {
    for (int r = from; r < to; ++r) {
      const float *light = f.light.ptr<float>(r), *a = f.level.ptr<float>(r), *b = f.contrast.ptr<float>(r),
                  *s = profile_value.ptr<float>(r);
      float* out = rest.ptr<float>(r);
      for (int c = 0; c < rest.cols; ++c) out[c] = light[c] - a[c] - b[c] * s[c];
    }
  });
  local_light(rest, profile_value, weight, 0.9 * f.period_mm / f.grid.step_mm, level, contrast);
  f.level += level;
  f.contrast += contrast;
}

/// What level and contrast leave over, in contrasts; 0 where not valid.
cv::Mat residual_of(const ResidualField& f, const cv::Mat& profile_value) {
  cv::Mat residual(f.light.size(), CV_32FC1);
  const float floor = 0.3F * static_cast<float>(f.typical_contrast);
  for_rows(f.grid.rows, [&](int from, int to) {
    for (int r = from; r < to; ++r) {
      const uchar* valid = f.valid.ptr<uchar>(r);
      const float *seen = f.light.ptr<float>(r), *level = f.level.ptr<float>(r),
                  *contrast = f.contrast.ptr<float>(r), *s = profile_value.ptr<float>(r);
      float* out = residual.ptr<float>(r);
      for (int c = 0; c < f.grid.columns; ++c)
        out[c] =
            valid[c] != 0 ? (seen[c] - level[c] - contrast[c] * s[c]) / std::max(contrast[c], floor) : 0.0F;
    }
  });
  return residual;
}

cv::Mat eroded_by(const cv::Mat& mask, int margin) {
  cv::Mat out;
  const cv::Mat square = cv::getStructuringElement(cv::MORPH_RECT, cv::Size(2 * margin + 1, 2 * margin + 1));
  cv::erode(mask, out, square, cv::Point(-1, -1), 1, cv::BORDER_CONSTANT, 0);
  return out;
}

/// How wide a wave of orange peel is: the distance along a stripe's edge at which the edge's wandering has
/// lost half of its correlation (against what is left of it a centimetre away, where other things than peel
/// bend a stripe). For heights of correlation exp(-L^2 / 4 s^2) that is 1.7 s. NaN where noise hides it.
double half_correlation_mm(const ResidualField& f, double steep) {
  constexpr float nothing = std::numeric_limits<float>::max();
  cv::Mat jitter(f.light.size(), CV_32FC1, cv::Scalar(nothing));
  const float largest = static_cast<float>(4 * f.edge_jitter_cycles);  // dents and specks are not peel
  for_rows(jitter.rows, [&](int from, int to) {
    for (int r = from; r < to; ++r) {
      const float *phase = f.phase_cycles.ptr<float>(r), *residual = f.residual.ptr<float>(r);
      const uchar* inner = f.inner.ptr<uchar>(r);
      float* out = jitter.ptr<float>(r);
      for (int c = 0; c < jitter.cols; ++c) {
        if (inner[c] == 0) continue;
        const float slope = f.profile.at(phase[c]).derivative, j = residual[c] / slope;
        if (std::abs(slope) > static_cast<float>(steep) && std::abs(j) < largest) out[c] = j;
      }
    }
  });
  constexpr double lag_step_mm = 0.5;
  constexpr int lags = 20;
  struct Sums {
    std::array<double, lags + 1> covariance{}, count{};
  };
  const auto unit = static_cast<float>(lag_step_mm / f.grid.step_mm);
  std::vector<Sums> of_row(static_cast<std::size_t>((f.grid.rows + 1) / 2));
  for_rows(static_cast<int>(of_row.size()), [&](int from, int to) {
    for (int i = from; i < to; ++i) {
      const int r = 2 * i, above = std::max(r - 1, 0), below = std::min(r + 1, f.grid.rows - 1);
      Sums& sums = of_row[static_cast<std::size_t>(i)];
      for (int c = 0; c < f.grid.columns; ++c) {
        const float here = jitter.at<float>(r, c);
        if (here == nothing) continue;
        const float gx = f.phase_cycles.at<float>(r, std::min(c + 1, f.grid.columns - 1)) -
                         f.phase_cycles.at<float>(r, std::max(c - 1, 0));
        const float gy = f.phase_cycles.at<float>(below, c) - f.phase_cycles.at<float>(above, c);
        const float scale = unit / (std::sqrt(gx * gx + gy * gy) + 1e-12F), down = gx * scale,
                    left = gy * scale;
        for (std::size_t lag = 1; lag <= lags; ++lag) {
          const auto distance = static_cast<float>(lag);
          const int row = r + cvRound(distance * down), column = c - cvRound(distance * left);
          if (!f.grid.contains(row, column)) continue;
          const float there = jitter.at<float>(row, column);
          if (there != nothing) sums.covariance[lag] += here * there, ++sums.count[lag];
        }
      }
    }
  });
  std::array<double, lags + 1> covariance{}, count{};
  for (const Sums& sums : of_row)
    for (std::size_t lag = 1; lag <= lags; ++lag)
      covariance[lag] += sums.covariance[lag], count[lag] += sums.count[lag];
  for (std::size_t lag = 1; lag <= lags; ++lag) {
    constexpr double enough = 300;
    if (count[lag] < enough) return std::numeric_limits<double>::quiet_NaN();
    covariance[lag] /= count[lag];
  }
  const double rest = 0.25 * (covariance[17] + covariance[18] + covariance[19] + covariance[20]);
  const double near = covariance[1] - rest;
  if (near < 0.3 * f.edge_jitter_cycles * f.edge_jitter_cycles)
    return std::numeric_limits<double>::quiet_NaN();
  for (std::size_t lag = 2; lag <= lags; ++lag) {
    const double a = covariance[lag - 1] - rest, b = covariance[lag] - rest;
    if (b < 0.5 * near) return lag_step_mm * (static_cast<double>(lag) - (0.5 * near - b) / (a - b));
  }
  return std::numeric_limits<double>::quiet_NaN();
}

/// The profile from the pixels nearest to some of the grid's cells, each at its own phase, so that neither
/// blocks nor interpolation soften it; the grid's own profile where those are too few.
template <class Usable>
void learn_pixel_profile(const cv::Mat& grey, const PanelMaps& maps, const Usable& usable, ResidualField& f) {
  constexpr int around = 4;  // cells; pixel and phase change slowly
  constexpr std::size_t enough = 2000;
  const auto& linear = linear_from_srgb8();
  const float floor = 0.3F * static_cast<float>(f.typical_contrast);
  std::vector<double> density2_of_row(static_cast<std::size_t>(f.grid.rows));
  const auto [phases, values] = gathered<2>(f.grid.rows, [&](int r, Lists<2>& lists) {
    if (r < around || r + around >= f.grid.rows) return;
    struct Row {
      const float *here, *above, *below;
      Row(const cv::Mat& m, int row)
          : here(m.ptr<float>(row)), above(m.ptr<float>(row - around)), below(m.ptr<float>(row + around)) {}
      Eigen::Vector2d by_cells(int c) const {
        return {here[c + around] - here[c - around], below[c] - above[c]};
      }
    };
    const Row u_px(maps.u_px, r), v_px(maps.v_px, r), cycles(maps.phase_cycles, r);
    const float *level = f.level.ptr<float>(r), *contrast = f.contrast.ptr<float>(r);
    double& density2 = density2_of_row[static_cast<std::size_t>(r)];
    for (int c = around + r % 2; c + around < f.grid.columns; c += 2) {
      if (!usable(r, c)) continue;
      const double u = u_px.here[c], v = v_px.here[c];
      const int pu = cvRound(u), pv = cvRound(v);
      if (pu < 0 || pv < 0 || pu >= grey.cols || pv >= grey.rows) continue;
      Eigen::Matrix2d pixels;
      pixels << u_px.by_cells(c), v_px.by_cells(c);
      const Eigen::Vector2d density = pixels.inverse() * cycles.by_cells(c);  // cycles / px
      lists[0].push_back(static_cast<float>(cycles.here[c] + density.dot(Eigen::Vector2d(pu - u, pv - v))));
      lists[1].push_back((linear[grey.at<uchar>(pv, pu)] - level[c]) / std::max(contrast[c], floor));
      density2 += density.squaredNorm();
    }
  });
  f.pixel_profile = values.size() < enough ? f.profile : StripeProfile::fit(phases, values);
  const double density2 = std::accumulate(density2_of_row.begin(), density2_of_row.end(), 0.0);
  f.learnt_density2_px = density2 / static_cast<double>(std::max<std::size_t>(values.size(), 1));
}
}  // namespace

void explain_light(ResidualField& field) {
  cv::Mat weight;
  field.valid.convertTo(weight, CV_32FC1);
  const cv::Mat profile_value = profile_image(field.profile, field.phase_cycles);
  field.level.release(), field.contrast.release();
  fit_light(field, profile_value, weight);
  field.residual = residual_of(field, profile_value);
}

namespace {

/// The field's cells, their light and their phases, from what was followed near the card; nothing where that
/// is next to nothing.
std::optional<PanelMaps> lay_grid(const cv::Mat& grey, const BundleProblem& problem, const StripeField& field,
                                  double pixels_per_mm, ResidualField& f) {
  const PanelModel<double> model(problem.constants, field.bundle.parameters);
  const PanelRegion search = region_around_card(problem.card, problem.card_scale, search_margin_mm);
  const cv::Rect near(cv::Point(static_cast<int>(field.grid.column_of(search.x0_mm)),
                                static_cast<int>(field.grid.row_of(search.y0_mm))),
                      cv::Point(static_cast<int>(field.grid.column_of(search.x1_mm)) + 1,
                                static_cast<int>(field.grid.row_of(search.y1_mm)) + 1));
  const cv::Rect box = cv::boundingRect(field.followed) & near;
  if (box.width < 3 || box.height < 3) return std::nullopt;
  constexpr double step_mm = 0.35;  // the smallest dents are 3 mm wide
  const double step = std::max(step_mm, 0.7 / pixels_per_mm);
  f.grid = grid_around(field.grid.x_mm(box.x), field.grid.y_mm(box.y), field.grid.x_mm(box.x + box.width - 1),
                       field.grid.y_mm(box.y + box.height - 1), step);
  PanelMaps maps = panel_maps(model, f.grid);
  double u0 = 0, u1 = 0, v0 = 0, v1 = 0;
  cv::minMaxLoc(maps.u_px, &u0, &u1);
  cv::minMaxLoc(maps.v_px, &v0, &v1);
  const cv::Rect used(static_cast<int>(std::max(0.0, u0 - 8)), static_cast<int>(std::max(0.0, v0 - 8)),
                      static_cast<int>(std::min<double>(grey.cols, u1) - std::max(0.0, u0)) + 16,
                      static_cast<int>(std::min<double>(grey.rows, v1) - std::max(0.0, v0)) + 16);
  const ReducedLight light(grey, reduction_for(step, pixels_per_mm), used);
  f.light = sample_light(light, maps);
  f.phase_cycles = maps.phase_cycles;
  return maps;
}

/// `valid`, `inner` and `fold`. The card hides stripes but does not end them: what is half a period inside
/// counts the card in; so does a fold. The board's reflection has straight sides, on each side of a fold,
/// so its hull tells where it ends beside the card.
void set_masks(const BundleProblem& problem, const StripeField& field, ResidualField& f) {
  const PanelModel<double> model(problem.constants, field.bundle.parameters);
  f.period_mm = field.period_mm;
  const int margin = std::max(1, static_cast<int>(0.5 * field.period_mm / field.grid.step_mm));
  const double hidden_mm = 2.0 + 0.5 * field.period_mm;
  const cv::Mat fold = fold_mask(model, field.grid, hidden_mm);
  const cv::Mat striped =
      field.followed | fold | paper_mask(problem.card, problem.card_scale, field.grid, hidden_mm);
  constexpr double chance = 0.05;  // smaller parts may be anything
  const cv::Mat hulls = hulls_by_side(field.followed, sides_of_folds(model, field.grid), chance) | fold;
  const cv::Mat well_inside = eroded_by(striped, margin) & eroded_by(hulls, margin);
  const cv::Mat followed = nearest_cells(field.followed, field.grid, f.grid),
                inner = nearest_cells(well_inside, field.grid, f.grid);
  const cv::Mat covered = paper_mask(problem.card, problem.card_scale, f.grid, 1.5) |
                          board_tag_mask(problem, model, f.grid) | fold_mask(model, f.grid);
  f.fold = fold_mask(model, f.grid, 0.25 * field.period_mm);
  f.valid.create(f.light.size(), CV_8UC1);
  f.inner.create(f.light.size(), CV_8UC1);
  for_rows(f.grid.rows, [&](int from, int to) {
    for (int r = from; r < to; ++r) {
      const uchar *hidden = covered.ptr<uchar>(r), *striped_here = followed.ptr<uchar>(r),
                  *far_inside = inner.ptr<uchar>(r), *at_fold = f.fold.ptr<uchar>(r);
      uchar *valid = f.valid.ptr<uchar>(r), *inside = f.inner.ptr<uchar>(r);
      float* seen = f.light.ptr<float>(r);
      for (int c = 0; c < f.grid.columns; ++c) {
        valid[c] = seen[c] >= 0 && hidden[c] == 0 && striped_here[c] != 0;
        inside[c] = valid[c] != 0 && far_inside[c] != 0 && at_fold[c] == 0;
        seen[c] = std::max(seen[c], 0.0F);
      }
    }
  });
}

/// Where the profile is learnt: as far from the anchor as the model is surely right.
struct LearningArea {
  double x_mm, y_mm;
  bool contains(double x, double y) const {
    constexpr double within_mm = 110;
    return (x - x_mm) * (x - x_mm) + (y - y_mm) * (y - y_mm) <= within_mm * within_mm;
  }
};

/// Phases, values of the profile and their misfits, by the light as fitted so far.
std::array<std::vector<float>, 3> profile_samples(const ResidualField& f, const cv::Mat& profile_value,
                                                  const LearningArea& area) {
  constexpr float far_out = 3, least_contrast = 0.3F;  // of the typical one
  return gathered<3>(f.grid.rows, [&](int r, Lists<3>& lists) {
    if (r % 2 != 0) return;
    const uchar* valid = f.valid.ptr<uchar>(r);
    const float *seen = f.light.ptr<float>(r), *level = f.level.ptr<float>(r),
                *contrast = f.contrast.ptr<float>(r);
    const float *cycles = f.phase_cycles.ptr<float>(r), *expected = profile_value.ptr<float>(r);
    for (int c = (r / 2) % 2; c < f.grid.columns; c += 3) {
      if (valid[c] == 0 || !area.contains(f.grid.x_mm(c), f.grid.y_mm(r))) continue;
      const float b = std::max(contrast[c], least_contrast * static_cast<float>(f.typical_contrast));
      const float t = (seen[c] - level[c]) / b;
      if (std::abs(t) > far_out) continue;
      lists[0].push_back(cycles[c]);
      lists[1].push_back(t);
      lists[2].push_back(std::abs(t - expected[c]));
    }
  });
}

/// Profile and light in turn, three times; from the second on without what does not look like stripes. The
/// misfit up to which samples counted in the end; nothing where there are too few.
std::optional<float> learn_profile(const LearningArea& area, ResidualField& f, cv::Mat& profile_value) {
  cv::Mat weight;
  f.valid.convertTo(weight, CV_32FC1);
  float misfit_limit = 0;
  constexpr int rounds = 3;
  constexpr std::size_t fewest = 200;
  for (int round = 0; round < rounds; ++round) {
    fit_light(f, profile_value, weight);
    f.typical_contrast = typical_of(f.contrast, f.valid);
    if (round == rounds - 1) f.typical_level = typical_of(f.level, f.valid);
    if (std::abs(f.typical_contrast) < 1e-5) return std::nullopt;
    auto [phases, values, misfits] = profile_samples(f, profile_value, area);
    if (phases.size() < fewest) return std::nullopt;
    if (round > 0) {
      std::vector<float> sorted = misfits;
      misfit_limit = static_cast<float>(3 * quantile_or_zero(sorted, 0.5) + 0.2);
      std::size_t kept = 0;
      for (std::size_t i = 0; i < phases.size(); ++i) {
        if (misfits[i] >= misfit_limit) continue;
        phases[kept] = phases[i];
        values[kept] = values[i];
        ++kept;
      }
      phases.resize(kept);
      values.resize(kept);
    }
    f.profile = StripeProfile::fit(phases, values);
    profile_value = profile_image(f.profile, f.phase_cycles);
  }
  fit_light(f, profile_value, weight);
  return misfit_limit;
}

double clipped_share_of_bright(const ResidualField& f, const cv::Mat& profile_value) {
  std::atomic<std::size_t> bright = 0, clipped = 0;
  for_rows(f.grid.rows, [&](int from, int to) {
    std::size_t bright_here = 0, clipped_here = 0;
    for (int r = from; r < to; ++r) {
      const uchar* valid = f.valid.ptr<uchar>(r);
      const float *seen = f.light.ptr<float>(r), *s = profile_value.ptr<float>(r);
      for (int c = 0; c < f.grid.columns; ++c) {
        if (valid[c] == 0 || s[c] <= 0.5F) continue;
        ++bright_here;
        clipped_here += seen[c] > clipped_light;
      }
    }
    bright += bright_here;
    clipped += clipped_here;
  });
  return bright > 0 ? static_cast<double>(clipped) / static_cast<double>(bright) : 0;
}

/// Noise on the flat parts of the profile, jitter on its flanks, and the width of a wave of peel.
void tell_noise(ResidualField& f) {
  const auto [all_slopes, misfits] = gathered<2>(f.grid.rows, [&](int r, Lists<2>& lists) {
    if (r % 2 != 0) return;
    const uchar* inside = f.inner.ptr<uchar>(r);
    const float *cycles = f.phase_cycles.ptr<float>(r), *residual = f.residual.ptr<float>(r);
    for (int c = 0; c < f.grid.columns; c += 2) {
      if (inside[c] == 0) continue;
      lists[0].push_back(std::abs(f.profile.at(cycles[c]).derivative));
      lists[1].push_back(std::abs(residual[c]));
    }
  });
  std::vector<float> flat, edge, slopes, sorted = all_slopes;
  const double low_slope = quantile_or_zero(sorted, 0.35), high_slope = quantile_or_zero(sorted, 0.88);
  for (std::size_t i = 0; i < all_slopes.size(); ++i) {
    if (all_slopes[i] < low_slope) flat.push_back(misfits[i]);
    if (all_slopes[i] <= high_slope) continue;
    edge.push_back(misfits[i]);
    slopes.push_back(all_slopes[i]);
  }
  f.noise = 1.4826 * quantile_or_zero(flat, 0.5) + 0.01;
  const double at_edge = 1.4826 * quantile_or_zero(edge, 0.5);
  f.edge_jitter_cycles = std::sqrt(std::max(at_edge * at_edge - f.noise * f.noise, 1e-8)) /
                         std::max(quantile_or_zero(slopes, 0.5), 1e-3);
  const double half_mm = half_correlation_mm(f, high_slope);
  constexpr double cell_over_half = 1.1;
  if (!std::isnan(half_mm)) f.peel_cell_mm = cell_over_half * half_mm;
}

}  // namespace

ResidualField stripe_residual(const cv::Mat& grey, const BundleProblem& problem, const StripeField& field,
                              double pixels_per_mm) {
  ResidualField f;
  const auto maps = lay_grid(grey, problem, field, pixels_per_mm, f);
  if (!maps) return f;
  set_masks(problem, field, f);
  const LearningArea area{problem.constants.anchor_x_mm, problem.constants.anchor_y_mm};
  cv::Mat profile_value = profile_image(f.profile, f.phase_cycles);
  const auto misfit_limit = learn_profile(area, f, profile_value);
  if (!misfit_limit) return f;
  f.residual = residual_of(f, profile_value);
  f.clipped_fraction = clipped_share_of_bright(f, profile_value);
  const auto seen_undisturbed = [&](int r, int c) {
    return f.inner.at<uchar>(r, c) != 0 && std::abs(f.residual.at<float>(r, c)) < *misfit_limit &&
           area.contains(f.grid.x_mm(c), f.grid.y_mm(r));
  };
  learn_pixel_profile(grey, *maps, seen_undisturbed, f);
  tell_noise(f);
  return f;
}

}  // namespace ripplegauge
