// The photos of a set in the fit of one dent: what each shows of its place, and the fit of all of them.
#pragma once

#include <vector>

#include "joint_spot.hpp"

namespace ripplegauge {

using Parts = std::vector<SpotVector>;  ///< spots whose sum is one dent

constexpr std::size_t fewest_joint_pixels = 500;

/// Half of what no formula knows of (see model_depth) is each photo's own: lens, lift, focus; the other half
/// is the paint's and the program's.
constexpr double own_share = 0.5;

/// A photo in the fit of one spot.
struct SetLook {
  std::size_t view = 0;
  PanelScene scene;  ///< its parameters as the dent has told so far
  FrameMatrix covariance;
  FrameVector shift = FrameVector::Zero(), expected = FrameVector::Zero();
  Eigen::Vector3d drift = Eigen::Vector3d::Zero();
  Patch patch;
  Eigen::Vector2d gain = Eigen::Vector2d::Zero();  ///< cycles per unit slope at the spot
  double noise_times = 1;                          ///< variance of what the pixels say, over independent ones
};

/// What a photo's geometry leaves open of a spot there.
FrameMatrix frame_covariance(const SetView& view, double x_mm, double y_mm);

/// The pixels for fitting the parts of a dent, others explained.
Patch pixels_round(const PanelScene& scene, const Parts& parts, const std::vector<SpotVector>& others,
                   std::size_t most);

/// The parts as a photo shows them in its own geometry.
Parts seen_by(const SetLook& look, const Parts& parts);

/// Minus the log likelihood that a whitening itself costs: puts fits under different whitenings on one scale.
double whitening_cost(const Patch& patch);

/// Weighs the edges of the stripes as these spots place them, and lets blur move them.
void look_closely(Patch& patch, const Parts& parts);

/// The joint fit of what the looks' patches show.
class JointPolish {
 public:
  JointPolish(std::vector<SetLook>& looks, int threads) : looks_(looks), threads_(threads) {}

  JointFit run(const Parts& start, std::size_t pixels_a_photo, bool highlight, int iterations,
               double tolerance, bool height_fixed = false) const {
    std::vector<PixelArrays> pixels(looks_.size());
    std::vector<JointView> views(looks_.size());
    for (std::size_t i = 0; i < looks_.size(); ++i) {
      pixels[i] = some_pixels(looks_[i].patch, pixels_a_photo);
      views[i] = {&pixels[i], highlight, looks_[i].shift, looks_[i].expected, looks_[i].covariance.inverse()};
    }
    return fit_jointly(views, start, {height_fixed, iterations, tolerance, threads_});
  }

  /// Lets each photo see where the fit has put its part.
  void take(const JointFit& fit) const {
    for (std::size_t i = 0; i < looks_.size(); ++i)
      looks_[i].shift = fit.shifts[i], looks_[i].drift = fit.drifts[i];
  }

  void look_closely_at(const Parts& parts) const {
    for (SetLook& look : looks_) look_closely(look.patch, seen_by(look, parts));
  }

 private:
  std::vector<SetLook>& looks_;
  int threads_;
};

/// Puts right what the dent has told of a photo's geometry, as far as the bundle leaves it open; what remains
/// of the shift goes on.
void tie_geometry(SetLook& look, const SetView& view, double x_mm, double y_mm);

/// How well the joint answer explains what one photo shows.
SpotJudgement judged_by_look(const SetLook& look, const Parts& parts, bool highlight);

/// By what factor a photo's pixels tell less than independent ones: see correlated_noise.
double correlation_of(const SetLook& look, const Parts& parts, bool highlight);

/// Cycles per unit slope at a place, along x and y.
Eigen::Vector2d gain_at(const Patch& patch, double x_mm, double y_mm);

}  // namespace ripplegauge
