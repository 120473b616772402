// The geometry of one photo: camera, panel, board. Everything that the photo shows of the stripes is the
// board's phase at a panel point, seen through the mirror of the paint.
//
// Frames: card frame (see core/reading.hpp), millimetres; pixels of the upright photo, centres at integers.
// Panel: the smooth surface of panel_surface.hpp plus the relief h whose slopes are given. Law of reflection:
// r = d - 2 (d . n) n (Burke et al., Adv. Opt. Technol. 12, 2023, 10.3389/aot.2023.1237687).
//
// Another term of the lens: 1. its place in PanelParameter, what is known of it in PanelPriors and in
// add_priors (bundle.cpp); 2. PanelModel: its member, pixel_from_point, and the inverse in panel_from_pixel;
// 3. its derivative in PixelPhase (src/panel/pixel_phase.hpp), which a test holds against the duals; 4. if a
// calibration tells it: lens_prior and the camera file.
#pragma once

#include <Eigen/Dense>
#include <array>
#include <cmath>

#include "core/dual.hpp"
#include "panel/panel_surface.hpp"

namespace ripplegauge {

/// Places of the unknowns in the bundle's parameter vector.
enum PanelParameter : int {
  p_rotation = 0,     ///< 3: small rotation (Gibbs vector) on top of the base rotation camera_from_card
  p_translation = 3,  ///< 3: camera_from_card translation, mm
  p_k1 = 6,           ///< radial distortion, coefficient of r^2 in normalised image coordinates
  p_k2 = 7,           ///< coefficient of r^4
  p_log_focal = 8,    ///< ln(focal length / nominal focal length)
  p_centre = 9,       ///< 2: principal point minus nominal centre, px
  p_crown = 11,       ///< 3: kx, ky, kxy, 1/mm
  p_fold = 14,        ///< 5 of each body line, as Fold has them; free only of those that the photo shows
  /// How much wider than nominal half a tag's black square is printed or seen, mm.
  p_ink = p_fold + most_folds * fold_parameters,
  p_lift,  ///< 2: how far the card's far ends, along x and along y, lie above the panel, mm
  /// 2: ln odds of the place, 0 to 3/4 of the way out, where the card leaves the panel.
  p_lift_from = p_lift + 2,
  /// 2: slopes of the board against the plane square to the central reflected ray.
  p_board_tilt = p_lift_from + 2,
  p_board_spin = p_board_tilt + 2,  ///< direction across the stripes in the board plane, rad
  p_board_phase,                    ///< phase at the anchor, cycles
  p_board_distance,                 ///< distance along the reflected ray minus the nominal one, mm
  p_board_bow,  ///< 3: curvatures of the board along, along by across, and across its stripes, 1/mm
  /// 2: position on the board, x and y of the board frame, of the anchor's image, mm.
  p_board_shift = p_board_bow + 3,
  panel_parameters = p_board_shift + 2
};

/// The place of one body line's parameters.
constexpr int fold_at(int line) { return p_fold + line * fold_parameters; }

using PanelVector = Eigen::Matrix<double, panel_parameters, 1>;
using PanelDual = Dual<panel_parameters>;

/// The board's parameters, which stand last, alone.
inline constexpr int board_parameters = panel_parameters - p_board_tilt;
using BoardDual = Dual<board_parameters>;

/// What is fixed in one photo's bundle.
struct PanelConstants {
  Eigen::Matrix3d base_rotation = Eigen::Matrix3d::Identity();  ///< camera_from_card
  double nominal_focal_px = 0;
  double centre_u_px = 0, centre_v_px = 0;
  double anchor_x_mm = 60, anchor_y_mm = 45;  ///< panel point that the board's distance is told for
  double pitch_mm = 0;
  double nominal_distance_mm = 0;
  int folds = 0;  ///< how many body lines of the panel are in view
};

template <class T>
struct Vector3 {
  T x, y, z;
};
template <class T>
Vector3<T> operator+(const Vector3<T>& a, const Vector3<T>& b) {
  return {a.x + b.x, a.y + b.y, a.z + b.z};
}
template <class T>
Vector3<T> operator-(const Vector3<T>& a, const Vector3<T>& b) {
  return {a.x - b.x, a.y - b.y, a.z - b.z};
}
template <class T, class S>
Vector3<T> operator*(const Vector3<T>& a, const S& s) {
  return {a.x * s, a.y * s, a.z * s};
}
template <class T>
T dot(const Vector3<T>& a, const Vector3<T>& b) {
  return a.x * b.x + a.y * b.y + a.z * b.z;
}
template <class T>
Vector3<T> cross(const Vector3<T>& a, const Vector3<T>& b) {
  return {a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x};
}
template <class T>
Vector3<T> normalized(const Vector3<T>& a) {
  using std::sqrt;
  return a * (T(1.0) / sqrt(dot(a, a)));
}

template <int N>
class PixelPhase;

/// A parameter set made ready for evaluation. T is double, PanelDual for derivatives by the parameters, or
/// BoardDual for derivatives by the board's alone.
template <class T>
class PanelModel {
 public:
  PanelModel(const PanelConstants& constants, const PanelVector& parameters);

  struct Point {
    T x_mm, y_mm, z_mm;
  };
  struct Pixel {
    T u_px, v_px;
  };
  struct BoardPoint {
    T along_mm, across_mm;
  };  ///< in the board plane, from the anchor's image, along/across stripes

  T height(const T& x, const T& y) const { return surface_.height(x, y); }
  const PanelSurface<T>& surface() const { return surface_; }

  Pixel pixel_from_panel(const T& x, const T& y) const { return pixel_from_point({x, y, height(x, y)}); }
  /// The pixel of a mark on the card, whose ends may lie above the panel; `ends_mm` is how far out they are.
  Pixel pixel_from_card(const T& x, const T& y, const std::array<double, 2>& ends_mm) const {
    return pixel_from_point({x, y, height(x, y) + lift(0, x, ends_mm[0]) + lift(1, y, ends_mm[1])});
  }
  /// Distance of a panel point from the camera along the optical axis.
  T depth_mm(const T& x, const T& y) const {
    return dot(row_[2], Vector3<T>{x, y, height(x, y)}) + translation_.z;
  }
  /// The panel point that a pixel shows: ray against the crowned panel.
  Point panel_from_pixel(double u_px, double v_px) const;

  /// Where the ray camera -> (x, y) -> mirror meets the board, with relief slopes added to the panel's own.
  BoardPoint board_from_panel(const T& x, const T& y, const T& slope_x, const T& slope_y) const;
  /// Stripe phase in cycles seen at a panel point.
  T phase(const T& x, const T& y, const T& slope_x, const T& slope_y) const {
    return board_from_panel(x, y, slope_x, slope_y).across_mm / pitch_mm_ + phase_;
  }
  /// What a smooth panel shows at (x, y), in the board's own frame (core/board_definition.hpp): x along the
  /// stripes, y across them. Right-handed seen from the printed face, which looks against the reflected ray.
  struct BoardFramePoint {
    T x_mm, y_mm;
  };
  BoardFramePoint board_frame_from_panel(const T& x, const T& y) const {
    const BoardPoint q = board_from_panel(x, y, T(0.0), T(0.0));
    return {q.along_mm + shift_x_, q.across_mm + shift_y_};
  }
  T board_phase_offset() const { return phase_; }
  /// Length of the reflected ray from a panel point to the board, and angle between board normal and that
  /// ray.
  struct BoardView {
    T distance_mm, cos_tilt;
  };
  BoardView board_view(const T& x, const T& y) const;
  /// What the phase at one panel point needs, with everything that does not depend on the relief done once.
  struct MirrorPoint {
    T ray_x, ray_y, ray_z;           ///< camera to panel point, mm
    T panel_slope_x, panel_slope_y;  ///< of the smooth panel
    T from_normal,
        from_across;  ///< panel point minus board origin, along board normal (from the board as bowed) and
                      ///< across the stripes
    T ray_normal, ray_across;  ///< the camera ray, along the same two
  };
  MirrorPoint mirror_point(const T& x, const T& y) const;
  const Vector3<T>& board_normal() const { return board_normal_; }
  const Vector3<T>& across_stripes() const { return across_; }

  /// Centre of projection in the card frame, mm.
  const Vector3<T>& camera_centre() const { return camera_; }
  const T& ink() const { return ink_; }

 private:
  template <int>
  friend class PixelPhase;
  struct Ray {
    Vector3<T> origin, direction;
  };
  Ray reflect(const T& x, const T& y, const T& slope_x, const T& slope_y) const;
  Pixel pixel_from_point(const Vector3<T>& p) const;
  /// How far the bowed board stands behind its tangent plane at the anchor's image, mm.
  T bow(const T& along, const T& across) const {
    return 0.5 * (bow_[0] * along * along + 2.0 * bow_[1] * along * across + bow_[2] * across * across);
  }
  /// Length of a ray, in units of its direction, to the board; `from` is its start minus the board's origin.
  T reach(const Vector3<T>& from, const Vector3<T>& direction) const {
    const T towards_board = 1.0 / dot(direction, board_normal_), start = dot(from, board_normal_);
    T t = -start * towards_board;
    // A bow of millimetres moves the point by less again: two steps leave hundredths.
    for (int i = 0; i < 2; ++i) {
      const Vector3<T> q = from + direction * t;
      t = (bow(dot(q, along_), dot(q, across_)) - start) * towards_board;
    }
    return t;
  }
  /// A sheet that leaves the panel bends away from it evenly: as the square of the way from there.
  T lift(std::size_t arm, const T& along, double end_mm) const {
    const T from = end_mm * lift_from_[arm];
    if (!(value_of(along) > value_of(from))) return T(0.0);
    const T part = (along - from) / (end_mm - from);
    return lift_[arm] * part * part;
  }

  Vector3<T> row_[3];  ///< camera_from_card rotation
  Vector3<T> translation_, camera_;
  T lift_[2], lift_from_[2];  ///< mm; as a part of the way out
  T bow_[3];
  T k1_, k2_, focal_, centre_u_, centre_v_, ink_, phase_, shift_x_, shift_y_;
  PanelSurface<T> surface_;
  double pitch_mm_;
  Vector3<T> board_origin_, board_normal_, across_, along_;
};

namespace detail {
template <class T>
T make_parameter(double value, int index);
template <>
inline double make_parameter<double>(double value, int) {
  return value;
}
template <>
inline PanelDual make_parameter<PanelDual>(double value, int index) {
  return PanelDual::variable(value, index);
}
template <>
inline BoardDual make_parameter<BoardDual>(double value, int index) {
  return index < p_board_tilt ? BoardDual(value) : BoardDual::variable(value, index - p_board_tilt);
}
}  // namespace detail

template <class T>
PanelModel<T>::PanelModel(const PanelConstants& c, const PanelVector& parameters) : pitch_mm_(c.pitch_mm) {
  using std::cos;
  using std::exp;
  using std::sin;
  const auto p = [&](int index) { return detail::make_parameter<T>(parameters[index], index); };
  // Rotation from the Gibbs vector g: a unit quaternion proportional to (1, g / 2).
  const T gx = 0.5 * p(0), gy = 0.5 * p(1), gz = 0.5 * p(2);
  const T s = 2.0 / (1.0 + gx * gx + gy * gy + gz * gz);
  const Vector3<T> turn[3] = {{1.0 - s * (gy * gy + gz * gz), s * (gx * gy - gz), s * (gx * gz + gy)},
                              {s * (gx * gy + gz), 1.0 - s * (gx * gx + gz * gz), s * (gy * gz - gx)},
                              {s * (gx * gz - gy), s * (gy * gz + gx), 1.0 - s * (gx * gx + gy * gy)}};
  for (int i = 0; i < 3; ++i) {
    const auto& b = c.base_rotation;
    row_[i] = {turn[i].x * b(0, 0) + turn[i].y * b(1, 0) + turn[i].z * b(2, 0),
               turn[i].x * b(0, 1) + turn[i].y * b(1, 1) + turn[i].z * b(2, 1),
               turn[i].x * b(0, 2) + turn[i].y * b(1, 2) + turn[i].z * b(2, 2)};
  }
  translation_ = {p(3), p(4), p(5)};
  camera_ = (row_[0] * translation_.x + row_[1] * translation_.y + row_[2] * translation_.z) * -1.0;
  k1_ = p(p_k1);
  k2_ = p(p_k2);
  focal_ = c.nominal_focal_px * exp(p(p_log_focal));
  centre_u_ = c.centre_u_px + p(p_centre);
  centre_v_ = c.centre_v_px + p(p_centre + 1);
  surface_ = PanelSurface<T>(p(p_crown), p(p_crown + 1), p(p_crown + 2));
  for (int line = 0; line < c.folds; ++line) {
    const int at = fold_at(line);
    surface_.add_fold({p(at), p(at + 1), p(at + 2), p(at + 3), p(at + 4)});
  }
  ink_ = p(p_ink);
  for (int arm = 0; arm < 2; ++arm)
    lift_[arm] = p(p_lift + arm), lift_from_[arm] = 0.75 / (1.0 + exp(-p(p_lift_from + arm)));
  phase_ = p(p_board_phase);
  for (int i = 0; i < 3; ++i) bow_[i] = p(p_board_bow + i);
  shift_x_ = p(p_board_shift);
  shift_y_ = p(p_board_shift + 1);

  const Ray central = reflect(T(c.anchor_x_mm), T(c.anchor_y_mm), T(0.0), T(0.0));
  const Vector3<T> r = normalized(central.direction);
  const Vector3<T> u = normalized(cross(Vector3<T>{T(0.0), T(1.0), T(0.0)}, r));
  const Vector3<T> v = cross(r, u);
  board_origin_ = central.origin + r * (c.nominal_distance_mm + p(p_board_distance));
  board_normal_ = normalized(r + u * p(p_board_tilt) + v * p(p_board_tilt + 1));
  const Vector3<T> eu = normalized(u - board_normal_ * dot(u, board_normal_));
  const Vector3<T> ev = cross(board_normal_, eu);
  const T spin = p(p_board_spin);
  across_ = eu * cos(spin) + ev * sin(spin);
  along_ = ev * cos(spin) - eu * sin(spin);
}

template <class T>
typename PanelModel<T>::Pixel PanelModel<T>::pixel_from_point(const Vector3<T>& p) const {
  const T inverse_depth = 1.0 / (dot(row_[2], p) + translation_.z);
  const T a = (dot(row_[0], p) + translation_.x) * inverse_depth;
  const T b = (dot(row_[1], p) + translation_.y) * inverse_depth;
  const T r2 = a * a + b * b;
  const T d = focal_ * (1.0 + r2 * (k1_ + r2 * k2_));
  return {d * a + centre_u_, d * b + centre_v_};
}

template <class T>
typename PanelModel<T>::Point PanelModel<T>::panel_from_pixel(double u_px, double v_px) const {
  using std::sqrt;
  const T a = (u_px - centre_u_) / focal_, b = (v_px - centre_v_) / focal_;
  // Undo the distortion by fixed point, which contracts by about k1 r^2 a step, under 0.03 for any phone
  // lens, and a last step of Newton's, which takes the derivatives along.
  const T square = a * a + b * b;
  const double distorted = value_of(square), k1 = value_of(k1_), k2 = value_of(k2_);
  double s = 1, r2 = distorted;
  for (int i = 0; i < 5; ++i) {
    s = 1 / (1 + r2 * (k1 + r2 * k2));
    r2 = distorted * s * s;
  }
  const T r2_there = square * (s * s);
  const T scale =
      s - (s * (1.0 + r2_there * (k1_ + r2_there * k2_)) - 1.0) / (1 + r2 * (3 * k1 + 5 * k2 * r2));
  const T ax = a * scale, by = b * scale;
  const Vector3<T> d = row_[0] * ax + row_[1] * by + row_[2];
  const Vector3<T> q = camera_ + d * surface_.hit(camera_, d);
  return {q.x, q.y, q.z};
}

template <class T>
typename PanelModel<T>::Ray PanelModel<T>::reflect(const T& x, const T& y, const T& slope_x,
                                                   const T& slope_y) const {
  const Vector3<T> p{x, y, height(x, y)};
  const Vector3<T> d = p - camera_;
  const Slope<T> panel = surface_.slope(x, y);
  const T gx = slope_x + panel.x, gy = slope_y + panel.y;
  // n ~ (-gx, -gy, 1); r = d - 2 (d . n) n / (n . n), not normalised.
  const T s = 2.0 * (d.z - d.x * gx - d.y * gy) / (1.0 + gx * gx + gy * gy);
  return {p, {d.x + s * gx, d.y + s * gy, d.z - s}};
}

template <class T>
typename PanelModel<T>::BoardPoint PanelModel<T>::board_from_panel(const T& x, const T& y, const T& slope_x,
                                                                   const T& slope_y) const {
  const Ray ray = reflect(x, y, slope_x, slope_y);
  const Vector3<T> from = ray.origin - board_origin_;
  const Vector3<T> q = from + ray.direction * reach(from, ray.direction);
  return {dot(q, along_), dot(q, across_)};
}

template <class T>
typename PanelModel<T>::MirrorPoint PanelModel<T>::mirror_point(const T& x, const T& y) const {
  const Vector3<T> p{x, y, height(x, y)};
  const Vector3<T> d = p - camera_, from = p - board_origin_;
  const Slope<T> panel = surface_.slope(x, y);
  // Where relief leads a ray, the board is as far as where the smooth panel does.
  const Vector3<T> mirrored = reflect(x, y, T(0.0), T(0.0)).direction,
                   q = from + mirrored * reach(from, mirrored);
  return {d.x,
          d.y,
          d.z,
          panel.x,
          panel.y,
          dot(from, board_normal_) - bow(dot(q, along_), dot(q, across_)),
          dot(from, across_),
          dot(d, board_normal_),
          dot(d, across_)};
}

template <class T>
typename PanelModel<T>::BoardView PanelModel<T>::board_view(const T& x, const T& y) const {
  const Ray ray = reflect(x, y, T(0.0), T(0.0));
  const Vector3<T> r = normalized(ray.direction);
  return {reach(ray.origin - board_origin_, r), dot(r, board_normal_)};
}

}  // namespace ripplegauge
