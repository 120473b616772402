// The panel's own shape, without its dents: height, slope and where a ray hits it, in the card frame, mm.
//
// A new shape: 1. its parameters in PanelParameter (panel_model.hpp) and their priors in PanelPriors
// (bundle.hpp);
// 2. its height, slope and bend here; 3. its derivatives by its parameters in `derivatives_at`, and their
// places in PixelPhase (src/panel/pixel_phase.hpp); 4. who finds out that a photo shows it, as
// src/stripes/body_line.hpp does for a fold. Everything else asks this type.
#pragma once

#include <array>
#include <cmath>
#include <cstddef>
#include <span>

#include "core/dual.hpp"

namespace ripplegauge {

template <class T>
struct Slope {
  T x, y;
};

/// Second derivatives of the height, 1/mm.
struct Bend {
  double xx = 0, xy = 0, yy = 0;
};

/// A body line: the panel turns away along a straight line. With s the distance beyond the line and S the
/// same rounded off over the width w, S = w ln(1 + exp(s / w)), the height is -(turn S + bend S^2 / 2):
/// nothing on the near side, a plane (or a slow curve) on the far one.
template <class T>
struct Fold {
  T turn;           ///< slope lost beyond the line; positive = convex
  T place_mm;       ///< distance of the line from the card's origin, along its normal
  T direction_rad;  ///< of that normal, which points to the far side
  T log_width;      ///< ln(w / mm)
  T bend_per_mm;    ///< curvature that the far side has beyond the near side's, across the line
};

/// How many body lines one photo shows at most. With the card on the near side of each, they add up.
inline constexpr int most_folds = 2;
inline constexpr int fold_parameters = 5;

/// A fold made ready for evaluation.
template <class T>
class PlacedFold {
 public:
  PlacedFold() = default;
  explicit PlacedFold(const Fold<T>& fold) : fold_(fold) {
    using std::cos;
    using std::exp;
    using std::sin;
    normal_x_ = cos(fold.direction_rad), normal_y_ = sin(fold.direction_rad);
    width_ = exp(fold.log_width);
  }
  const Fold<T>& fold() const { return fold_; }

  /// Distance beyond the line, negative on the near side, mm.
  T across_mm(const T& x, const T& y) const { return x * normal_x_ + y * normal_y_ - fold_.place_mm; }

  T height(const T& x, const T& y) const {
    const T beyond = beyond_mm(x, y);
    return -(beyond * (fold_.turn + 0.5 * fold_.bend_per_mm * beyond));
  }
  Slope<T> slope(const T& x, const T& y) const {
    const T drop = (fold_.turn + fold_.bend_per_mm * beyond_mm(x, y)) * share_beyond(x, y);
    return {-(drop * normal_x_), -(drop * normal_y_)};
  }
  Bend bend(double x, double y) const {
    const double share = share_beyond(x, y), beyond = beyond_mm(x, y);
    const double across = -(fold_.bend_per_mm * share * share +
                            (fold_.turn + fold_.bend_per_mm * beyond) * share * (1 - share) / width_);
    return {across * normal_x_ * normal_x_, across * normal_x_ * normal_y_, across * normal_y_ * normal_y_};
  }

  /// Derivatives of height and slope at a point by the fold's parameters, in Fold's order.
  struct ByParameter {
    double height = 0, slope_x = 0, slope_y = 0;
  };
  std::array<ByParameter, fold_parameters> derivatives_at(double x, double y) const {
    const double share = share_beyond(x, y), beyond = beyond_mm(x, y), s = across_mm(x, y);
    const double turn_here = fold_.turn + fold_.bend_per_mm * beyond;
    const double drop = turn_here * share;  // slope across, downwards
    const double steepening = share * (1 - share) / width_;
    const double drop_by_s = fold_.bend_per_mm * share * share + turn_here * steepening;
    const double beyond_by_log_width = beyond - s * share;
    const double drop_by_log_width =
        fold_.bend_per_mm * beyond_by_log_width * share - turn_here * s * steepening;
    const double along = normal_x_ * y - normal_y_ * x;  // ds / d direction
    const auto downwards = [&](double height, double slope) {
      return ByParameter{-height, -slope * normal_x_, -slope * normal_y_};
    };
    ByParameter by_direction = downwards(drop * along, drop_by_s * along);
    by_direction.slope_x += drop * normal_y_, by_direction.slope_y -= drop * normal_x_;
    return {downwards(beyond, share), downwards(-drop, -drop_by_s), by_direction,
            downwards(turn_here * beyond_by_log_width, drop_by_log_width),
            downwards(0.5 * beyond * beyond, beyond * share)};
  }

 private:
  /// The same rounded off: S.
  T beyond_mm(const T& x, const T& y) const {
    using std::exp;
    using std::log;
    const T widths = across_mm(x, y) / width_;
    if (value_of(widths) > far_widths) return widths * width_;
    if (value_of(widths) < -far_widths) return T(0.0) * widths;
    return width_ * log(1.0 + exp(widths));
  }
  /// dS / ds: 0 on the near side, 1 on the far one.
  T share_beyond(const T& x, const T& y) const {
    using std::exp;
    const T widths = across_mm(x, y) / width_;
    if (value_of(widths) > far_widths) return T(1.0);
    if (value_of(widths) < -far_widths) return T(0.0);
    return 1.0 / (1.0 + exp(-widths));
  }
  static constexpr double far_widths = 35;

  Fold<T> fold_{};
  T normal_x_{}, normal_y_{}, width_{};
};

/// z = -(kx x^2 + 2 kxy x y + ky y^2) / 2, positive = convex, plus the folds that there are.
template <class T>
class PanelSurface {
 public:
  PanelSurface() = default;
  PanelSurface(const T& kx, const T& ky, const T& kxy) : kx_(kx), ky_(ky), kxy_(kxy) {}

  /// Of at most most_folds.
  void add_fold(const Fold<T>& fold) { folds_[count_++] = PlacedFold<T>(fold); }
  std::span<const PlacedFold<T>> folds() const { return std::span(folds_).first(count_); }
  const T& kx() const { return kx_; }
  const T& ky() const { return ky_; }
  const T& kxy() const { return kxy_; }

  T height(const T& x, const T& y) const {
    T z = -0.5 * (kx_ * x * x + 2.0 * kxy_ * x * y + ky_ * y * y);
    for (const PlacedFold<T>& fold : folds()) z = z + fold.height(x, y);
    return z;
  }

  Slope<T> slope(const T& x, const T& y) const {
    Slope<T> g{-(kx_ * x + kxy_ * y), -(ky_ * y + kxy_ * x)};
    for (const PlacedFold<T>& fold : folds()) {
      const Slope<T> more = fold.slope(x, y);
      g = {g.x + more.x, g.y + more.y};
    }
    return g;
  }

  /// How far along origin + t direction a ray meets the surface: the crowned panel's nearer root in closed
  /// form, the folds by Newton's steps from there.
  template <class Vector>
  T hit(const Vector& origin, const Vector& direction) const {
    T t = hit_of_crown(origin, direction);
    if (folds().empty()) return t;
    constexpr int most_steps = 6;     // the far side lies centimetres lower at most, and is nearly plane
    constexpr double settled = 1e-7;  // of the way: what is left is as the square of it, of derivatives as it
    for (int i = 0; i < most_steps; ++i) {
      const Vector q = origin + direction * t;
      const Slope<T> g = slope(q.x, q.y);
      const T step = (q.z - height(q.x, q.y)) / (direction.z - g.x * direction.x - g.y * direction.y);
      t = t - step;
      if (std::abs(value_of(step)) < settled * std::abs(value_of(t))) break;
    }
    return t;
  }

  /// Second derivatives of the height at a point.
  Bend bend(double x, double y) const {
    Bend b{-kx_, -kxy_, -ky_};
    for (const PlacedFold<T>& fold : folds()) {
      const Bend more = fold.bend(x, y);
      b.xx += more.xx, b.xy += more.xy, b.yy += more.yy;
    }
    return b;
  }

 private:
  template <class Vector>
  T hit_of_crown(const Vector& origin, const Vector& d) const {
    using std::sqrt;
    // z + crown(x, y) / 2 = 0 along origin + t d: t^2 A + t B + C = 0, the root nearer the plane's.
    const auto crown = [&](const Vector& m, const Vector& n) {
      return kx_ * m.x * n.x + kxy_ * (m.x * n.y + m.y * n.x) + ky_ * m.y * n.y;
    };
    const T A = 0.5 * crown(d, d);
    const T B = d.z + crown(origin, d);
    const T C = origin.z + 0.5 * crown(origin, origin);
    T discriminant = B * B - 4.0 * A * C;
    if (!(value_of(discriminant) > 0))
      discriminant = T(0.0) * discriminant + B * B;  // ray misses: fall back to a plane
    const T root = sqrt(discriminant);
    // 2C / (-B +- root) is the form without cancellation for the small root.
    return value_of(B) < 0 ? 2.0 * C / (root - B) : -2.0 * C / (root + B);
  }

  T kx_{}, ky_{}, kxy_{};
  std::array<PlacedFold<T>, most_folds> folds_{};
  std::size_t count_ = 0;
};

}  // namespace ripplegauge
