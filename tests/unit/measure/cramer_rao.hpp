// How little the pixels' noise could move the reading of a dent at best.
#pragma once

#include <Eigen/Dense>
#include <cmath>
#include <functional>
#include <utility>
#include <vector>

#include "rendered_photo.hpp"

namespace ripplegauge::rendered {

/// An elongated dent whose bound is known.
inline Dent simple_dent() {
  Dent dent;
  dent.x_mm = 60;
  dent.y_mm = 50;
  dent.length_mm = 19;
  dent.width_mm = 16;
  dent.angle_deg = 35;
  dent.height_mm = -0.12;
  return dent;
}

/// Relative standard deviations.
struct Bound {
  double diameter = 0, depth = 0;
};

/// Cramer-Rao: no unbiased reading of these pixels scatters less (H. Cramer, Mathematical Methods of
/// Statistics, 1946, section 32.3). Fisher's information of the unknowns p, q is the sum over pixels of
/// (dI/dp) (dI/dq) / sigma^2, with the derivatives taken of the render itself by central differences.
/// Several photos share their dent and nothing else: what each tells of it, whatever its own unknowns are,
/// adds up.
///
/// Unknown: the dent's place, length, width, direction, depth and flatness; of each photo the paint's light,
/// the stripes' contrast and its fall, their phase and duty, and the blur. Taken as known: camera, crown and
/// board (which a whole photo of card and stripes tells far better than a dent's few pixels), and that the
/// shape is of this family, unslanted. The rounding to 8 bits is left out. All of this makes the bound
/// smaller than what could really be reached.
inline Bound cramer_rao(const std::vector<Scene>& photos, double noise) {
  enum { length, width, depth };  // places of these three in the list, in logarithms
  const std::vector<std::pair<std::function<void(Scene&, double)>, double>> unknowns = {
      {[](Scene& s, double d) { s.dents[0].length_mm *= std::exp(d); }, 1e-3},
      {[](Scene& s, double d) { s.dents[0].width_mm *= std::exp(d); }, 1e-3},
      {[](Scene& s, double d) { s.dents[0].height_mm *= std::exp(d); }, 1e-3},
      {[](Scene& s, double d) { s.dents[0].x_mm += d; }, 0.01},
      {[](Scene& s, double d) { s.dents[0].y_mm += d; }, 0.01},
      {[](Scene& s, double d) { s.dents[0].angle_deg += d; }, 0.5},
      {[](Scene& s, double d) { s.dents[0].power += d; }, 0.01},
      {[](Scene& s, double d) { s.light.base += d; }, 1e-3},
      {[](Scene& s, double d) { s.light.stripes += d; }, 1e-3},
      {[](Scene& s, double d) { s.light.fall_x += d; }, 1e-2},
      {[](Scene& s, double d) { s.light.fall_y += d; }, 1e-2},
      {[](Scene& s, double d) { s.board.phase_cycles += d; }, 1e-3},
      {[](Scene& s, double d) { s.board.duty += d; }, 1e-3},
      {[](Scene& s, double d) { s.blur_px += d; }, 1e-2},
  };
  constexpr Eigen::Index of_dent = 7;
  const auto size = static_cast<Eigen::Index>(unknowns.size()), own = size - of_dent;
  Eigen::MatrixXd of_all = Eigen::MatrixXd::Zero(of_dent, of_dent);
  for (const Scene& scene : photos) {
    const Dent& dent = scene.dents.at(0);
    const cv::Point2d middle = pixel_of(scene, dent.x_mm, dent.y_mm);
    const double px_per_mm = cv::norm(pixel_of(scene, dent.x_mm + 1, dent.y_mm) - middle);
    const int half = static_cast<int>(px_per_mm * dent.length_mm);  // twice the dent: where its slope can be
                                                                    // told from none
    const cv::Rect part(static_cast<int>(middle.x) - half, static_cast<int>(middle.y) - half, 2 * half + 1,
                        2 * half + 1);
    std::vector<cv::Mat> derivative;
    for (const auto& [move, step] : unknowns) {
      Scene more = scene, less = scene;
      move(more, step);
      move(less, -step);
      derivative.push_back((render(more, part) - render(less, part)) / (2 * step));
    }
    Eigen::MatrixXd information(size, size);
    for (Eigen::Index i = 0; i < size; ++i)
      for (Eigen::Index j = 0; j < size; ++j)
        information(i, j) =
            derivative[static_cast<std::size_t>(i)].dot(derivative[static_cast<std::size_t>(j)]) /
            (noise * noise);
    const Eigen::MatrixXd cross = information.topRightCorner(of_dent, own);
    of_all += information.topLeftCorner(of_dent, of_dent) -
              cross * information.bottomRightCorner(own, own).ldlt().solve(cross.transpose());
  }
  // Unknowns differ in scale by any factor.
  const Eigen::VectorXd scale = of_all.diagonal().cwiseSqrt().cwiseInverse();
  const Eigen::MatrixXd scaled = scale.asDiagonal() * of_all * scale.asDiagonal();
  const Eigen::MatrixXd covariance = scale.asDiagonal() *
                                     scaled.ldlt().solve(Eigen::MatrixXd::Identity(of_dent, of_dent)) *
                                     scale.asDiagonal();
  // ln diameter = (ln length + ln width) / 2
  const double diameter =
      0.25 * (covariance(length, length) + covariance(width, width) + 2 * covariance(length, width));
  return {std::sqrt(diameter), std::sqrt(covariance(depth, depth))};
}

}  // namespace ripplegauge::rendered
