// Round spots about one centre are cheap: what a pixel sees of them depends on its distance and the height
// alone. So a shape is looked up once a radius, and each height, sign and order costs a dozen operations a
// pixel.
#include "radial_search.hpp"

#include <cmath>

#include "radial_kernel.hpp"

namespace ripplegauge {

UnitSpot::UnitSpot(double power, double order) : power_(power), order_(order) {
  SpotVector unit = SpotVector::Zero();
  unit[s_height] = 1;
  unit[s_log_p] = std::log(power);
  unit[s_log_n] = std::log(order);
  const SpotShape<double> shape(unit);
  for (int i = 0; i < size + 2; ++i) {
    const SpotValue<double> at_rho = shape.at(reach * i / size, 0);
    // Ends at zero where it is nothing: numbers too small for a float's exponent cost the processor a hundred
    // times as much.
    constexpr double nothing = 1e-10;
    if (at_rho.z < nothing) break;
    const auto at = static_cast<std::size_t>(i);
    height_[at] = static_cast<float>(at_rho.z);
    slope_[at] = static_cast<float>(at_rho.slope_x);
    steepest_ = std::max(steepest_, -slope_[at]);
  }
}

kernel::UnitTables UnitSpot::tables(double radius) const {
  return {height_.data(), slope_.data(), size, static_cast<float>(1 / radius),
          static_cast<float>(size / reach / radius)};
}

std::vector<double> displacement_ladder(double from, double to, double step) {
  std::vector<double> values;
  double v = from;
  while (v < to) values.push_back(v), v += v < 1 ? 0.45 * v : step;
  return values;
}

RadialSearch::RadialSearch(const Patch& patch, const std::vector<int>& pixels, const Outline& outline)
    : patch_(patch), outline_(outline) {
  const std::size_t n = pixels.size();
  for (auto* v : {&radius_, &parallax_, &phase_, &gain_, &gain2_, &phase_x_, &phase_y_, &radial_x_,
                  &radial_y_, &across_x_, &across_y_, &weight_, &least_})
    v->resize(n);
  light_.resize(static_cast<Eigen::Index>(n));
  Eigen::MatrixXf level(static_cast<Eigen::Index>(n), LightModel::level_terms);
  const double c = std::cos(outline.angle_rad), s = std::sin(outline.angle_rad),
               e = std::sqrt(outline.elongation);
  for (std::size_t k = 0; k < n; ++k) {
    const auto i = static_cast<std::size_t>(pixels[k]);
    const MirrorPixel& m = patch.pixel[i];
    const double dx = m.x_mm - outline.x_mm, dy = m.y_mm - outline.y_mm;
    const double u = (c * dx + s * dy) / e, v = (c * dy - s * dx) * e, r = std::hypot(u, v) + 1e-9;
    const double gx = (c * u / e - s * v * e) / r, gy = (s * u / e + c * v * e) / r;
    constexpr double h = 0.02;
    const auto at = [&](double slope) {
      return patch.board.phase(m, patch.base_z[i], patch.base_slope_x[i] + slope * gx,
                               patch.base_slope_y[i] + slope * gy);
    };
    const PhaseAt p0 = at(0);
    const double p1 = at(h).phase, p2 = at(-h).phase, along = p0.by_slope_x * gx + p0.by_slope_y * gy;
    const auto f = [](double value) { return static_cast<float>(value); };
    radius_[k] = f(r), parallax_[k] = f(gx * (m.shifted_x(1) - m.x_mm) + gy * (m.shifted_y(1) - m.y_mm));
    phase_[k] = f(p0.phase), gain_[k] = f((p1 - p2) / (2 * h)),
    gain2_[k] = f((p1 + p2 - 2 * p0.phase) / (2 * h * h));
    phase_x_[k] = m.phase_x, phase_y_[k] = m.phase_y, radial_x_[k] = f(gx), radial_y_[k] = f(gy);
    across_x_[k] = f((p0.by_slope_x - along * gx) / r), across_y_[k] = f((p0.by_slope_y - along * gy) / r);
    weight_[k] = patch.whitening[i] / f(patch.contrast);
    constexpr float anything = -1e30F;
    least_[k] = patch.clipped[i] ? 0.0F : anything;
    const float x = f(patch.xn(i)), y = f(patch.yn(i));
    level.row(static_cast<Eigen::Index>(k)) << 1, x, y, x * x, x * y, y * y;
    light_[static_cast<Eigen::Index>(k)] = patch.light[i];
  }
  basis_ = Eigen::HouseholderQR<Eigen::MatrixXf>(level).householderQ() *
           Eigen::MatrixXf::Identity(static_cast<Eigen::Index>(n), LightModel::level_terms);
  light_ -= basis_ * (basis_.transpose() * light_);
}

double RadialSearch::cost_of(const std::vector<float>& profile) const {
  constexpr float scale = 4;  // of the pseudo-Huber cost
  const float* columns[LightModel::level_terms + 1];
  for (int t = 0; t < LightModel::level_terms; ++t) columns[t] = basis_.col(t).data();
  columns[LightModel::level_terms] = light_.data();
  double products[LightModel::level_terms + 2];
  kernel::profile_products(profile.data(), columns, profile.size(), products);
  double own = products[LightModel::level_terms + 1];
  for (int t = 0; t < LightModel::level_terms; ++t) own -= products[t] * products[t];
  const auto contrast = static_cast<float>(products[LightModel::level_terms] / std::max(own, 1e-6));
  if (!(contrast > 0.3F * static_cast<float>(patch_.contrast)))
    return 1e9;  // light stripes do not turn dark inside a dent
  float level[LightModel::level_terms];
  for (int t = 0; t < LightModel::level_terms; ++t) level[t] = contrast * static_cast<float>(products[t]);
  return kernel::radial_cost(profile.data(), contrast, columns, level, light_.data(), weight_.data(),
                             least_.data(), scale, profile.size());
}

double RadialSearch::flat_cost() const {
  Scratch nothing(radius_.size());
  return cost_at(0, nothing);
}

double RadialSearch::cost_at(float height, Scratch& scratch) const {
  // clang-format off
  const kernel::RadialPixels pixels{
      radius_.size(), parallax_.data(), phase_.data(), gain_.data(), gain2_.data(), phase_x_.data(),
      phase_y_.data(), radial_x_.data(), radial_y_.data(), across_x_.data(), across_y_.data(),
      patch_.blur.xx, patch_.blur.xy, patch_.blur.yy, patch_.learnt_blur,
      &patch_.profile->level(0)->value, StripeProfile::table_size, StripeProfile::table_stride,
      StripeProfile::blurred_levels, StripeProfile::level_unit};
  // clang-format on
  kernel::radial_profile(pixels, scratch.unit(), height, scratch.profile.data());
  return cost_of(scratch.profile);
}

void RadialSearch::run(const std::vector<double>& radii, std::span<const UnitSpot> shapes,
                       const std::vector<double>& displacements, std::vector<Start>& starts) const {
  constexpr double max_slope = 0.25;
  Scratch scratch(radius_.size());
  const double half = 0.5 * std::log(outline_.elongation);
  for (std::size_t s = 0; s < shapes.size(); ++s) {
    const UnitSpot& unit = shapes[s];
    for (const double radius : radii) {
      kernel::look_up(unit.tables(radius), radius_.data(), radius_.size(), scratch.unit());
      const double steepest = unit.steepest() / radius;
      for (const double displacement : displacements) {
        const double spot_height = displacement / patch_.gain / steepest;
        if (steepest * spot_height > max_slope) break;
        for (const double sign : {-1.0, 1.0}) {
          const float h = static_cast<float>(sign * spot_height);
          const double cost = cost_at(h, scratch);
          if (cost >= 1e9) continue;
          SpotVector spot;
          spot << outline_.x_mm, outline_.y_mm, std::log(radius) + half, std::log(radius) - half,
              outline_.angle_rad, h, std::log(unit.power()), std::log(unit.order()), 0, 0;
          starts.push_back({cost, spot, static_cast<int>(s)});
        }
      }
    }
  }
}

void RadialSearch::weigh(std::span<const UnitSpot> shapes, std::vector<Start>& starts) const {
  Scratch scratch(radius_.size());
  const Start* last = nullptr;
  for (Start& s : starts) {
    if (last == nullptr || s.shape != last->shape || s.spot[s_log_a] != last->spot[s_log_a])
      kernel::look_up(shapes[static_cast<std::size_t>(s.shape)].tables(mean_radius_mm(s.spot)),
                      radius_.data(), radius_.size(), scratch.unit());
    s.cost = cost_at(static_cast<float>(s.spot[s_height]), scratch);
    last = &s;
  }
}

}  // namespace ripplegauge
