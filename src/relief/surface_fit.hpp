// Lets go of the parametric shape: a free surface against the same intensities, so that rims, kidneys,
// creases and slants come out as they are.
#pragma once

#include <Eigen/Dense>
#include <array>
#include <functional>
#include <span>
#include <vector>

#include "relief/light_fit.hpp"
#include "relief/patch.hpp"
#include "ripplegauge/core/relief.hpp"

namespace ripplegauge {

/// Uniform cubic B-splines on a square grid of control points; those outside an ellipse are held at zero, so
/// that the surface ends flat in undisturbed panel.
class SplineSurface {
 public:
  struct Extent {
    double x_mm = 0, y_mm = 0, semi_a_mm = 0, semi_b_mm = 0, angle_rad = 0;
  };
  SplineSurface(const Extent& extent, double spacing_mm);

  int size() const { return active_; }
  /// A place in its square of control points: the number of the square, and how far across it the place lies,
  /// 0 to 1.
  struct Place {
    int cell = 0;
    double u = 0, v = 0;
  };
  static constexpr int nowhere = -1;  ///< cell of a place where no control point matters
  Place place(double x_mm, double y_mm) const;
  /// The control points that matter in a cell, 4 rows of 4; nowhere: held at zero.
  std::array<int, 16> controls(int cell) const;
  double spacing_mm() const { return spacing_; }
  /// Adds the surface with these control heights, mm, to a map.
  void add_to(Relief& map, const Eigen::VectorXd& coefficients) const;
  /// Matrix of the bending energy, integral of h_xx^2 + 2 h_xy^2 + h_yy^2 (thin plate), 1 / mm^2 per mm^2,
  /// each square of control points (its cell) times its weight.
  Eigen::MatrixXd bending(const std::function<double(int cell)>& weight) const;

 private:
  /// count x side: the basis functions of one axis, whose first control point lies at the origin, along a row
  /// of places.
  Eigen::MatrixXd basis_at(double origin_mm, double first_mm, double step_mm, int count) const;

  double x0_, y0_, spacing_;
  int side_ = 0, active_ = 0;
  std::vector<int> column_;
};

struct SurfaceRequest {
  SplineSurface::Extent extent;              ///< of the control points
  double mean_radius_mm = 0, height_mm = 0;  ///< of the spot that is already in the patch's base relief
  double spacing_mm = 0;
  int iterations = 10;
  bool highlight = true;
  int threads = 1;           ///< the result does not depend on them
  double counted_twice = 1;  ///< variance: how often several photos show the same orange peel
  bool departs =
      true;  ///< false: the spot explains all there is; only what the stripes leave open is asked for
  bool odd_shape =
      false;  ///< the spot is known not to come from the parametric family: the prior leaves room for that
};

struct SurfaceFit {
  SplineSurface surface;
  Eigen::VectorXd departure;  ///< control heights, mm, on top of the patches' base relief
  /// Lower Cholesky factor of the normal matrix of control heights and every patch's drift, noise inflation
  /// included, with room for odd shapes: its inverse is their covariance.
  Eigen::MatrixXd precision_root;
  double effective_parameters = 0;
  std::vector<std::vector<float>> residuals;  ///< whitened, of every pixel of each patch
  bool solved = false;

  /// Control heights drawn from what the fit leaves open; `normal`: as many standard normal numbers as
  /// precision_root has rows.
  Eigen::VectorXd draw(const Eigen::VectorXd& normal) const;
};

/// Variance of block sums of the phase score over what independent pixels of unit variance would give: orange
/// peel, JPEG and what the model misses correlate neighbours. Median over the blocks between two distances
/// from a place; 1 where there are too few.
double score_inflation(const PixelArrays& pixels, const LightFit& light, double block_mm, double x_mm,
                       double y_mm, double from_mm, double to_mm);

/// One surface through what one photo or several show of it, each patch from a photo of its own. Gauss-Newton
/// with light and drift eliminated; the prior is the bending energy of the departure, its weight
/// from the evidence (MacKay, Neural Computation 4:415, 1992: lambda = gamma / c'Pc). The covariance is that
/// of a prior with room for odd shapes: where the family explains the stripes the evidence forbids any
/// departure, and yet nobody knows.
SurfaceFit fit_surface(std::span<const Patch> patches, const SurfaceRequest& request);

}  // namespace ripplegauge
