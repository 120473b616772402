// Normal equations of the intensities of a patch by relief parameters, slow phase drift and light.
#pragma once

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <memory>
#include <span>
#include <vector>

#include "core/parallel_for.hpp"
#include "relief/patch.hpp"

namespace ripplegauge {

/// The relief at the pixels that take part: height, slopes and second derivatives, base included.
struct ReliefAtPixels {
  std::vector<float> z, slope_x, slope_y, xx, xy, yy;
  void resize(std::size_t n) {
    for (auto* v : {&z, &slope_x, &slope_y, &xx, &xy, &yy}) v->resize(n);
  }
};

/// The pixels of a fit, one array a quantity. Names as in Patch.
struct PixelArrays {
  const Patch* patch = nullptr;
  std::shared_ptr<const PixelGeometry> geometry;
  std::vector<float> light, whitening;      ///< whitening of residuals in units of the patch's contrast
  std::vector<int> clipped;                 ///< numbers of the clipped ones, in this order, ascending
  ReliefAtPixels base;                      ///< of the spots that are explained already
  Eigen::Matrix<double, 6, 1> level_light;  ///< the light on the level columns

  std::size_t size() const { return light.size(); }
  std::span<const int> clipped_in(std::size_t from, std::size_t to) const;

  /// Calls work(part, from, to) for each part of the pixels, on as many threads as the patch has. Sums over
  /// parts in their order are the same on any number.
  template <class Work>
  void for_parts(const Work& work) const {
    parallel_for(parts(), patch->threads,
                 [&](std::size_t part) { work(part, begin_of(part), begin_of(part + 1)); });
  }
  std::size_t parts() const { return std::max<std::size_t>((size() + part_size / 2) / part_size, 1); }

 private:
  static constexpr std::size_t part_size = 2048,
                               unit = 256;  ///< some 50 microseconds' work; what kernels sum at once
  std::size_t begin_of(std::size_t part) const {
    return part == parts() ? size() : part * size() / parts() / unit * unit;
  }
};

/// `pixels` are indices into the patch, which must outlive the arrays.
PixelArrays gather(const Patch& patch, const std::vector<int>& pixels);
/// All of them.
PixelArrays gather(const Patch& patch);

struct LightFitOptions {
  bool highlight = false;   ///< metallic paint: three more columns, see LightModel
  double slope_scale = 1;   ///< that they are divided by
  double robust_scale = 3;  ///< whitened residuals beyond this count linearly only
};

/// Light solved by least squares for a given relief, and what is left.
struct LightFit {
  LightModel::Coefficients coefficients = LightModel::Coefficients::Zero();
  std::vector<float> phase, profile_value, profile_slope;  ///< S and dS/dphase
  std::vector<float> by_slope_x, by_slope_y;               ///< of the phase
  std::array<std::vector<float>, 5> column;  ///< of the light model: S x, S y and the highlight's three
  std::vector<float> residual;               ///< whitened; 0 where a clipped pixel is explained
  double cost = 0;                           ///< sum of pseudo-Huber costs, not yet weighed
};

/// Phase, its gains and the stripes' brightness under a relief, by the exact law of reflection; stripes that
/// the relief crowds together lose contrast to the photo's blur. Drift in cycles: constant, by xn, by yn.
void predict_phase(const PixelArrays& pixels, const ReliefAtPixels& relief, const Eigen::Vector3d& drift,
                   LightFit& out);

/// The light for that phase, residuals and cost.
void solve_light(const PixelArrays& pixels, const ReliefAtPixels& relief, const LightFitOptions& options,
                 LightFit& out);

/// The light model's terms that `options` asks for.
inline int light_terms(const LightFitOptions& options) {
  return options.highlight ? LightModel::max_terms : LightModel::level_terms + LightModel::contrast_terms;
}

/// gram_of_columns over all pixels.
void gram_of_pixels(const PixelArrays& pixels, std::span<const float* const> columns, int first_row,
                    const float* weight, double* gram);

/// The light model's columns for all pixels of a fit, for the phase in `fit`, in the order of LightModel.
std::array<const float*, LightModel::max_terms> light_columns(const PixelArrays& pixels, const LightFit& fit);

/// What the rows of normal equations are made of, one a pixel: what the light changes by per cycle and per
/// unit of slope, the residual in light, and the row's weight (of whitening, of the pseudo-Huber cost, and
/// `importance`).
struct LightRows {
  std::vector<float> by_phase, by_slope_x, by_slope_y, residual, weight;
  double weight_sum = 0;
};
void light_rows(const PixelArrays& pixels, const LightFit& fit, double robust_scale, double importance,
                LightRows& out);

/// Ridge that keeps the light model tame, per unit of summed squared weight; order of LightModel.
double light_ridge(int column);

}  // namespace ripplegauge
