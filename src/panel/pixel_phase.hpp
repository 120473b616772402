#pragma once

#include "panel/panel_model.hpp"

namespace ripplegauge {

/// The stripe phase that a pixel shows, with its derivatives: what PanelModel<Dual<N>> says by
/// panel_from_pixel and phase, a tenth as dear. The law is followed once in plain numbers, then backwards
/// (reverse mode: Griewank & Walther, Evaluating Derivatives, 2008, 10.1137/1.9780898717761, section 3.2) to
/// the few quantities that the model keeps, whose derivatives by the parameters are the same for all pixels.
template <int N>
class PixelPhase {
 public:
  PixelPhase(const PanelModel<Dual<N>>& model, const PanelModel<double>& plain);
  Dual<N> at(double u_px, double v_px) const;

  enum Quantity : int {
    q_row = 0,  ///< 9
    q_camera = 9,
    q_board_origin = 12,
    q_board_normal = 15,
    q_across = 18,
    q_along = 21,
    q_bow = 24,  ///< 3
    q_k1 = 27,
    q_k2,
    q_focal,
    q_centre_u,
    q_centre_v,
    q_kx,
    q_ky,
    q_kxy,
    q_fold,  ///< 5 of each fold, as Fold has them
    q_phase = q_fold + most_folds * fold_parameters,
    quantities
  };
  using ByQuantity = Eigen::Matrix<double, quantities, 1>;
  /// The phase in cycles and its derivatives by the quantities, of which sums may be taken before
  /// by_parameter() is applied.
  double at(double u_px, double v_px, ByQuantity& by) const;
  /// Derivatives of the quantities by the parameters.
  const Eigen::Matrix<double, N, quantities>& by_parameter() const { return by_parameter_; }

 private:
  using Vector = Vector3<double>;
  static void put(ByQuantity& by, int first, const Vector& v) {
    by[first] = v.x, by[first + 1] = v.y, by[first + 2] = v.z;
  }

  const PanelModel<double>& plain_;
  Eigen::Matrix<double, N, quantities> by_parameter_;
};

template <int N>
PixelPhase<N>::PixelPhase(const PanelModel<Dual<N>>& model, const PanelModel<double>& plain) : plain_(plain) {
  const auto scalar = [&](int index, const Dual<N>& quantity) {
    by_parameter_.col(index) = quantity.gradient;
  };
  const auto vector = [&](int first, const Vector3<Dual<N>>& v) {
    scalar(first, v.x), scalar(first + 1, v.y), scalar(first + 2, v.z);
  };
  for (int i = 0; i < 3; ++i) vector(q_row + 3 * i, model.row_[i]);
  vector(q_camera, model.camera_);
  vector(q_board_origin, model.board_origin_), vector(q_board_normal, model.board_normal_),
      vector(q_across, model.across_), vector(q_along, model.along_);
  for (int i = 0; i < 3; ++i) scalar(q_bow + i, model.bow_[i]);
  scalar(q_k1, model.k1_), scalar(q_k2, model.k2_), scalar(q_focal, model.focal_);
  scalar(q_centre_u, model.centre_u_), scalar(q_centre_v, model.centre_v_);
  const PanelSurface<Dual<N>>& surface = model.surface_;
  scalar(q_kx, surface.kx()), scalar(q_ky, surface.ky()), scalar(q_kxy, surface.kxy());
  by_parameter_.template middleCols<most_folds * fold_parameters>(q_fold).setZero();
  int next = q_fold;
  for (const PlacedFold<Dual<N>>& placed : surface.folds()) {
    const Fold<Dual<N>>& fold = placed.fold();
    for (const Dual<N>* q :
         {&fold.turn, &fold.place_mm, &fold.direction_rad, &fold.log_width, &fold.bend_per_mm})
      scalar(next++, *q);
  }
  scalar(q_phase, model.phase_);
}

template <int N>
Dual<N> PixelPhase<N>::at(double u_px, double v_px) const {
  ByQuantity by;
  Dual<N> phase(at(u_px, v_px, by));
  phase.gradient.noalias() = by_parameter_ * by;
  return phase;
}

template <int N>
double PixelPhase<N>::at(double u_px, double v_px, ByQuantity& by) const {
  const PanelModel<double>& m = plain_;
  const auto point = m.panel_from_pixel(u_px, v_px);
  const double x = point.x_mm, y = point.y_mm;
  const Vector p{x, y, m.height(x, y)}, ray = p - m.camera_;
  const Slope<double> slope = m.surface_.slope(x, y);
  const Bend bend = m.surface_.bend(x, y);
  const Vector normal{-slope.x, -slope.y, 1};
  const double twice = 2 / dot(normal, normal), turn = twice * dot(ray, normal);
  const Vector mirrored = ray - normal * turn, from = p - m.board_origin_;
  const double reach = m.reach(from, mirrored);
  const Vector on_board = from + mirrored * reach;
  const double along = dot(on_board, m.along_), across = dot(on_board, m.across_);
  const double bow_by_along = m.bow_[0] * along + m.bow_[1] * across,
               bow_by_across = m.bow_[1] * along + m.bow_[2] * across;
  const Vector square = m.board_normal_ - m.along_ * bow_by_along - m.across_ * bow_by_across;
  const double cycles = 1 / m.pitch_mm_;

  by[q_phase] = 1;
  // Where the mirrored ray meets the board: what moves it square to the board there is made up for by a
  // longer ray.
  const double lean = dot(m.across_, mirrored) / dot(square, mirrored);
  const Vector by_from = (m.across_ - square * lean) * cycles;
  put(by, q_across, on_board * ((1 + lean * bow_by_across) * cycles));
  put(by, q_along, on_board * (lean * bow_by_along * cycles));
  const double by_bow = lean * cycles;
  by[q_bow] = by_bow * 0.5 * along * along, by[q_bow + 1] = by_bow * along * across,
  by[q_bow + 2] = by_bow * 0.5 * across * across;
  put(by, q_board_normal, on_board * (-lean * cycles));
  put(by, q_board_origin, by_from * -1.0);
  // The law of reflection.
  const Vector by_mirrored = by_from * reach;
  const double by_turn = twice * dot(by_mirrored, normal);
  const Vector by_ray = by_mirrored - normal * by_turn,
               by_normal = (by_mirrored * turn + mirrored * by_turn) * -1.0;
  const Vector by_p = by_ray + by_from;
  // The panel point stays on the panel and on the pixel's ray.
  const Vector by_place{by_p.x - by_p.z * normal.x - by_normal.x * bend.xx - by_normal.y * bend.xy,
                        by_p.y - by_p.z * normal.y - by_normal.x * bend.xy - by_normal.y * bend.yy, 0};
  const double by_height = dot(by_place, ray) / dot(normal, ray), by_crown = -(by_p.z + by_height);
  by[q_kx] = by_normal.x * x + by_crown * 0.5 * x * x;
  by[q_ky] = by_normal.y * y + by_crown * 0.5 * y * y;
  by[q_kxy] = by_normal.x * y + by_normal.y * x + by_crown * x * y;
  by.template segment<most_folds * fold_parameters>(q_fold).setZero();
  int next = q_fold;
  for (const PlacedFold<double>& fold : m.surface_.folds())
    for (const auto& d : fold.derivatives_at(x, y))
      by[next++] = -(by_normal.x * d.slope_x + by_normal.y * d.slope_y) - by_crown * d.height;
  const Vector by_moved_ray = by_place - normal * by_height;
  put(by, q_camera, by_moved_ray - by_ray);
  // The pixel's ray from the lens: (ax, by, 1) in the camera's frame, for an undistorted (ax, by).
  const double depth = m.depth_mm(x, y);
  const Vector by_direction = by_moved_ray * depth;
  const double ray_u = dot(m.row_[0], ray) / depth, ray_v = dot(m.row_[1], ray) / depth;
  put(by, q_row, by_direction * ray_u), put(by, q_row + 3, by_direction * ray_v),
      put(by, q_row + 6, by_direction);
  const double by_ray_u = dot(m.row_[0], by_direction), by_ray_v = dot(m.row_[1], by_direction);
  const double r2 = ray_u * ray_u + ray_v * ray_v, distortion = 1 + r2 * (m.k1_ + r2 * m.k2_),
               scale = 1 / distortion;
  const double a = ray_u * distortion, b = ray_v * distortion;
  const double by_distortion =
      -scale * (by_ray_u * a + by_ray_v * b) / (1 + r2 * (3 * m.k1_ + 5 * m.k2_ * r2));
  by[q_k1] = by_distortion * r2, by[q_k2] = by_distortion * r2 * r2;
  const double by_square = by_distortion * scale * scale * (m.k1_ + 2 * m.k2_ * r2);
  const double by_a = by_ray_u * scale + 2 * a * by_square, by_b = by_ray_v * scale + 2 * b * by_square;
  by[q_centre_u] = -by_a / m.focal_, by[q_centre_v] = -by_b / m.focal_;
  by[q_focal] = -(by_a * a + by_b * b) / m.focal_;

  return across * cycles + m.phase_;
}

}  // namespace ripplegauge
