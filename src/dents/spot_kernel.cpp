// The spot family over arrays of places: heights, relief and derivatives, in single precision, as SpotShape
// defines them.
#include "spot_kernel.hpp"

#include <cmath>

#include "core/vector_math.hpp"
#include "core/vectorised.hpp"

namespace ripplegauge::kernel {
namespace {

constexpr float tiny_rho = 1e-6F, tiny_rest = 1e-9F, tiny_square = 1e-12F;
constexpr float least_exponent =
    -58;  // below 2^-58 is nothing, and products of it would be too small for a float's exponent
constexpr float ln2 = 0.693147181F;

/// Below n = 2 the foot is bent without bounds, but a pixel sees its mean over the pixel's width: some
/// hundredth of the spot's. Without it, single pixels blur and clear again as the foot passes them, and a
/// fit's cost jumps.
constexpr float soft_foot = 0.02F;

/// Everything at a point in the spot's own elliptic coordinates u, v.
struct At {
  float u, v, r, rho, log2_rho, grown, rest, log2_rest, foot;
  float grown_by_rest;  ///< grown / rest, bounded
};

[[gnu::always_inline]] inline At look(const Spot& s, float x, float y) {
  At a;
  const float dx = x - s.x, dy = y - s.y;
  a.u = (s.cos * dx + s.sin * dy) * s.inverse_a, a.v = (s.cos * dy - s.sin * dx) * s.inverse_b;
  a.r = std::sqrt(a.u * a.u + a.v * a.v + tiny_square);
  a.rho = std::fmax(a.r + s.slant_u * a.u + s.slant_v * a.v, tiny_rho);
  a.log2_rho = log2_of(a.rho);
  a.grown = s.rim * exp2_of(std::fmax(s.power * a.log2_rho, least_exponent));
  a.rest = std::fmax(1 - a.grown, tiny_rest);
  a.grown_by_rest = a.grown * a.rest / (a.rest * a.rest + soft_foot * soft_foot);
  a.log2_rest = log2_of(a.rest);
  const float exponent = (s.order - 1) * a.log2_rest, foot = exp2_of(std::fmax(exponent, least_exponent));
  a.foot = a.rest > tiny_rest && exponent > least_exponent ? foot : 0.0F;
  return a;
}

/// dz/drho, its derivative by rho, and the derivatives of rho by u and v.
struct Slope {
  float first, second, rho_u, rho_v, inverse_r;
};

[[gnu::always_inline]] inline Slope slope_at(const Spot& s, const At& a) {
  const float inverse_rho = 1 / a.rho;
  Slope d;
  d.first = -s.height * s.order * s.power * a.foot * a.grown * inverse_rho;
  d.second = d.first * inverse_rho * (s.power - 1 - (s.order - 1) * s.power * a.grown_by_rest);
  d.inverse_r = 1 / a.r;
  d.rho_u = a.u * d.inverse_r + s.slant_u, d.rho_v = a.v * d.inverse_r + s.slant_v;
  return d;
}

/// Second derivatives by u and v.
struct Bend {
  float uu, uv, vv;
};

[[gnu::always_inline]] inline Bend bend_at(const At& a, const Slope& d) {
  const float round = d.first * d.inverse_r * d.inverse_r * d.inverse_r;  // rho_uu = v^2 / r^3 and so on
  return {d.second * d.rho_u * d.rho_u + round * a.v * a.v, d.second * d.rho_u * d.rho_v - round * a.u * a.v,
          d.second * d.rho_v * d.rho_v + round * a.u * a.u};
}

}  // namespace

RIPPLEGAUGE_VECTORISED
void add_heights(const Spot& spot, const Places& places, float* z) {
  const Spot s = spot;  // copies: nothing that is written can be them
  const Places p = places;
#pragma omp simd
  for (std::size_t i = 0; i < p.count; ++i) {
    const At a = look(s, p.x[i], p.y[i]);
    z[i] += s.height * a.foot * a.rest;
  }
}

RIPPLEGAUGE_VECTORISED
void add_relief(const Spot& spot, const Places& places, const ReliefArrays& out) {
  const Spot s = spot;
  const Places p = places;
  const ReliefArrays o = out;
#pragma omp simd
  for (std::size_t i = 0; i < p.count; ++i) {
    const At a = look(s, p.x[i], p.y[i]);
    const Slope d = slope_at(s, a);
    const Bend k = bend_at(a, d);
    const float along = d.first * d.rho_u * s.inverse_a, across = d.first * d.rho_v * s.inverse_b;
    const float uu = k.uu * s.inverse_a * s.inverse_a, uv = k.uv * s.inverse_a * s.inverse_b,
                vv = k.vv * s.inverse_b * s.inverse_b;
    o.z[i] += s.height * a.foot * a.rest;
    o.slope_x[i] += s.cos * along - s.sin * across;
    o.slope_y[i] += s.sin * along + s.cos * across;
    o.xx[i] += s.cos * s.cos * uu - 2 * s.cos * s.sin * uv + s.sin * s.sin * vv;
    o.xy[i] += s.cos * s.sin * (uu - vv) + (s.cos * s.cos - s.sin * s.sin) * uv;
    o.yy[i] += s.sin * s.sin * uu + 2 * s.cos * s.sin * uv + s.cos * s.cos * vv;
  }
}

RIPPLEGAUGE_VECTORISED
void spot_rows(const Spot& spot, const Places& places, const float* by_x, const float* by_y,
               float* const rows[10]) {
  const Spot s = spot;
  const Places p = places;
  float *row_x = rows[0], *row_y = rows[1], *row_a = rows[2], *row_b = rows[3], *row_angle = rows[4],
        *row_height = rows[5], *row_power = rows[6], *row_order = rows[7], *row_slant_u = rows[8],
        *row_slant_v = rows[9];
  const float inverse_height = 1 / s.height;
  const float a_over_b = s.inverse_b / s.inverse_a, b_over_a = s.inverse_a / s.inverse_b;
#pragma omp simd
  for (std::size_t i = 0; i < p.count; ++i) {
    const At a = look(s, p.x[i], p.y[i]);
    const Slope d = slope_at(s, a);
    const Bend k = bend_at(a, d);
    // What is asked for, in the spot's own directions: along = dz/du / a, across = dz/dv / b.
    const float by_along = s.cos * by_x[i] + s.sin * by_y[i], by_across = s.cos * by_y[i] - s.sin * by_x[i];
    const float along = d.first * d.rho_u * s.inverse_a, across = d.first * d.rho_v * s.inverse_b;
    const float value = by_along * along + by_across * across;
    const float au = k.uu * s.inverse_a, av = k.uv * s.inverse_a, bu = k.uv * s.inverse_b,
                bv = k.vv * s.inverse_b;
    const float by_u = by_along * au + by_across * bu, by_v = by_along * av + by_across * bv;
    row_x[i] = -(by_u * s.cos * s.inverse_a - by_v * s.sin * s.inverse_b);
    row_y[i] = -(by_u * s.sin * s.inverse_a + by_v * s.cos * s.inverse_b);
    row_a[i] = -by_along * along - by_u * a.u;
    row_b[i] = -by_across * across - by_v * a.v;
    // u = (cos dx + sin dy) / a, so du/dangle = v b / a; the directions themselves turn, too.
    row_angle[i] = by_u * a.v * b_over_a - by_v * a.u * a_over_b + by_across * along - by_along * across;
    row_height[i] = value * inverse_height;
    const float excess = 1 - (s.order - 1) * a.grown_by_rest;
    row_power[i] = value * (1 + s.power * ln2 * a.log2_rho * excess);
    row_order[i] = value * (1 + s.order * ln2 * a.log2_rest + s.log_rim_by_log_order * excess);
    row_slant_u[i] = by_along * (d.second * a.u * d.rho_u + d.first) * s.inverse_a +
                     by_across * d.second * a.u * d.rho_v * s.inverse_b;
    row_slant_v[i] = by_along * d.second * a.v * d.rho_u * s.inverse_a +
                     by_across * (d.second * a.v * d.rho_v + d.first) * s.inverse_b;
  }
}

RIPPLEGAUGE_VECTORISED
SplitSums split_sums(const SoftEllipse& ellipse, const float* x, const float* y, const float* value,
                     std::size_t count) {
  const SoftEllipse e = ellipse;
  constexpr float furthest = 43, log2_e = 1.44269504F;  // the exponential stays finite
  constexpr std::size_t chunk = 256;
  SplitSums sums;
  for (std::size_t from = 0; from < count; from += chunk) {
    const std::size_t to = count - from < chunk ? count : from + chunk;
    float inside = 0, squared = 0, valued = 0;
#pragma omp simd reduction(+ : inside, squared, valued)
    for (std::size_t i = from; i < to; ++i) {
      const float dx = x[i] - e.x, dy = y[i] - e.y;
      const float u = (e.cos * dx + e.sin * dy) * e.inverse_a, v = (e.cos * dy - e.sin * dx) * e.inverse_b;
      const float at = (std::sqrt(u * u + v * v) - 1) * e.softness;
      const float h = 1 / (1 + exp2_of(std::fmax(std::fmin(at * log2_e, furthest), -furthest)));
      inside += h, squared += h * h, valued += h * value[i];
    }
    sums.inside += inside, sums.inside_squared += squared, sums.inside_value += valued;
  }
  return sums;
}

}  // namespace ripplegauge::kernel
