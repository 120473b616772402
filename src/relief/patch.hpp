// The pixels in and around one spot, ready for fitting: light, exact mirror geometry a pixel, and the light
// model.
#pragma once

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <atomic>
#include <cstdint>
#include <memory>
#include <opencv2/core.hpp>
#include <vector>

#include "stripes/residual_field.hpp"

namespace ripplegauge {

/// The stripe phase of one pixel as a function of the relief at it: exact law of reflection, and the shift of
/// the panel point along the camera's ray where the relief lies higher or lower than the smooth panel.
struct MirrorPixel {
  float x_mm = 0, y_mm = 0;               ///< panel point on the smooth panel
  float ray_x = 0, ray_y = 0, ray_z = 0;  ///< camera to panel point
  float slope_x = 0, slope_y = 0;         ///< of the smooth panel
  float from_normal = 0, from_across = 0, ray_normal = 0, ray_across = 0;
  float phase_x = 0, phase_y = 0;  ///< gradient of the undisturbed phase, cycles per mm

  /// Where a relief of height z at this pixel is really hit.
  float shifted_x(double z) const { return static_cast<float>(x_mm + z * ray_x / ray_z); }
  float shifted_y(double z) const { return static_cast<float>(y_mm + z * ray_y / ray_z); }
};

struct PhaseAt {
  double phase = 0, by_slope_x = 0, by_slope_y = 0;  ///< cycles, cycles per unit slope
};

/// Common to all pixels of a photo.
struct MirrorBoard {
  Vector3<double> normal{0, 0, 1}, across{1, 0, 0};
  double pitch_mm = 1, phase_cycles = 0;

  PhaseAt phase(const MirrorPixel& p, double z, double slope_x, double slope_y) const {
    const double gx = p.slope_x + slope_x, gy = p.slope_y + slope_y;
    const double shift = z / p.ray_z;
    const double q = 1 + gx * gx + gy * gy, m = p.ray_z - p.ray_x * gx - p.ray_y * gy;
    const double s = 2 * m / q;
    const double n = gx * normal.x + gy * normal.y - normal.z, e = gx * across.x + gy * across.y - across.z;
    const double rn = p.ray_normal + s * n, ra = p.ray_across + s * e;
    const double fn = p.from_normal + shift * p.ray_normal, fa = p.from_across + shift * p.ray_across;
    const double t = -fn / rn;
    // d(across)/dg = t (d ra - ra / rn d rn), with d r = ds (.) + s d(.)
    const double sx = 2 * (-p.ray_x - s * gx) / q, sy = 2 * (-p.ray_y - s * gy) / q;
    const double w = ra / rn;
    const double dx = sx * e + s * across.x - w * (sx * n + s * normal.x);
    const double dy = sy * e + s * across.y - w * (sy * n + s * normal.y);
    return {(fa + t * ra) / pitch_mm + phase_cycles, t * dx / pitch_mm, t * dy / pitch_mm};
  }
};

struct PatchRequest {
  double x_mm = 0, y_mm = 0, half_mm = 0, step_mm = 0;
  std::size_t max_pixels = 20000;  ///< more are thinned evenly
  int threads = 1;                 ///< that may work on the patch
};

/// A disc of panel to leave out (another spot that is not modelled).
struct Disc {
  double x_mm = 0, y_mm = 0, radius_mm = 0;
};

/// What no fit changes of some pixels, one array a quantity, so that the processor works on many at once.
/// Names as in MirrorPixel.
struct PixelGeometry {
  std::vector<float> x_mm, y_mm, shift_x, shift_y;  ///< shift: where a panel 1 mm higher is hit, mm
  std::vector<float> ray_x, ray_y, inverse_ray_z, ray_z, slope_x, slope_y, from_normal, from_across,
      ray_normal, ray_across;
  std::vector<float> phase_x, phase_y;
  std::array<std::vector<float>, 6> level;   ///< columns of the light model: 1, x, y, x^2, xy, y^2
  Eigen::Matrix<double, 6, 6> level_normal;  ///< their normal matrix
};

/// What fits have done so far, counted by any number of threads; the same on every machine, as time is not.
struct FitWork {
  std::atomic<std::int64_t> pixels{0};  ///< looked at, once an iteration
};

struct Patch {
  double x_mm = 0, y_mm = 0, half_mm = 0, step_mm = 0;
  MirrorBoard board;
  const StripeProfile* profile = nullptr;
  double contrast = 0;                                         ///< typical B: residuals are in units of it
  double noise = 0, edge_jitter_cycles = 0, peel_cell_mm = 0;  ///< see ResidualField
  double gain = 0;                                             ///< median phase gain, cycles per unit slope
  double effective_pixel_share = 1;  ///< independent pixels / pixels: blur and JPEG correlate neighbours
  double clipped_fraction = 0;
  int threads = 1;          ///< that may work on it
  FitWork* work = nullptr;  ///< where fits over these pixels count what they do, if anybody wants to know

  /// 2 pi^2 sigma^2 of a blur, as a metric on phase gradients in cycles per mm: blur exponent = g' M g.
  struct BlurMetric {
    float xx = 0, xy = 0, yy = 0;
  };
  BlurMetric blur;        ///< of these pixels
  float learnt_blur = 0;  ///< blur exponent of those that the profile was learnt from
  Eigen::Matrix2f blur_moment_mm2 =
      Eigen::Matrix2f::Zero();  ///< second moments of the blur on the panel: see soften

  std::vector<MirrorPixel> pixel;
  std::shared_ptr<const PixelGeometry>
      geometry;  ///< of all pixels, see set_geometry; copies of the patch share it
  std::vector<float> light;
  std::vector<std::uint8_t> clipped;
  /// Relief of spots that are already explained: height, slopes, second derivatives.
  std::vector<float> base_z, base_slope_x, base_slope_y, base_xx, base_xy, base_yy;
  /// What the photo's blur seems to add to the slopes of spots that are not explained yet: see soften.
  std::vector<float> soft_slope_x, soft_slope_y;
  std::vector<float>
      whitening;  ///< 1 / standard deviation of the residual (in contrasts): the mean one until set_whitening
  /// Grid cell of each pixel, and the grid's size: for what needs neighbours.
  std::vector<int> cell;
  int columns = 0, rows = 0;

  std::size_t size() const { return pixel.size(); }
  /// The stripes' jitter by orange peel, never zero: what is measured against it stays finite on a perfect
  /// mirror.
  double jitter_cycles() const { return std::max(edge_jitter_cycles, 1e-4); }
  /// Slope that makes it.
  double peel_slope() const { return jitter_cycles() / gain; }
  double xn(std::size_t i) const { return (pixel[i].x_mm - x_mm) / half_mm; }
  double yn(std::size_t i) const { return (pixel[i].y_mm - y_mm) / half_mm; }
};

Patch make_patch(const cv::Mat& grey, const BundleProblem& problem, const PanelVector& parameters,
                 const ResidualField& field, const PatchRequest& request, const std::vector<Disc>& leave_out,
                 double pixels_per_mm);

std::vector<int> all_pixels(const Patch& patch);

/// Geometry of some pixels, which are indices into the patch.
PixelGeometry geometry_of(const Patch& patch, const std::vector<int>& pixels);

/// To be called when all pixels are there: what looks at all of them need not gather them again.
void set_geometry(Patch& patch);

/// Noise of flat stripes plus what edge jitter does where the profile is steep at the given phase.
float whitening_at(const Patch& patch, double phase_cycles);

/// The same on average over a period: right as long as nobody knows where in a dent the stripes' edges lie.
float mean_whitening(const Patch& patch);

/// Columns of the light model: level (quadratic), contrast (linear), and optionally the broad highlight of
/// metallic paint, which moves with the slope: both slopes and their square.
struct LightModel {
  static constexpr int level_terms = 6, contrast_terms = 3, highlight_terms = 3;
  static constexpr int max_terms = level_terms + contrast_terms + highlight_terms;
  using Coefficients = Eigen::Matrix<double, max_terms, 1>;
};

}  // namespace ripplegauge
