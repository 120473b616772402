// How the bundle's uncertainties reach a spot: by differences of what one pixel sees, since the pixel is what
// stays fixed.
#include "geometry_uncertainty.hpp"

#include <cmath>

namespace ripplegauge {

FrameGradient frame_gradient(const PanelConstants& constants, const PanelVector& parameters, double x_mm,
                             double y_mm) {
  // A pixel is what stays fixed: its panel point, the local scale there and the phase gain there all move
  // with the parameters. ln(mm per px) = -1/2 ln |det d(pixel)/d(panel)|.
  const PanelModel<double> plain(constants, parameters);
  const auto pixel = plain.pixel_from_panel(x_mm, y_mm);
  const PanelModel<PanelDual> model(constants, parameters);
  const auto point = model.panel_from_pixel(pixel.u_px, pixel.v_px);
  constexpr double h = 0.5;
  const auto at = [&](double dx, double dy) {
    return model.pixel_from_panel(point.x_mm + dx, point.y_mm + dy);
  };
  const auto px = at(h, 0), mx = at(-h, 0), py = at(0, h), my = at(0, -h);
  const PanelDual determinant =
      ((px.u_px - mx.u_px) * (py.v_px - my.v_px) - (py.u_px - my.u_px) * (px.v_px - mx.v_px)) / (4 * h * h);
  const PanelDual magnitude = determinant.value < 0 ? -determinant : determinant;
  const PanelDual log_scale = -0.5 * log(magnitude);
  constexpr double s = 1e-3;
  const PanelDual gx =
      (model.phase(point.x_mm, point.y_mm, s, 0.0) - model.phase(point.x_mm, point.y_mm, -s, 0.0)) / (2 * s);
  const PanelDual gy =
      (model.phase(point.x_mm, point.y_mm, 0.0, s) - model.phase(point.x_mm, point.y_mm, 0.0, -s)) / (2 * s);
  const PanelDual log_gain = 0.5 * log(gx * gx + gy * gy);
  const PanelDual log_height = log_scale - log_gain;
  FrameGradient rows;
  rows.row(f_x) = point.x_mm.gradient.transpose();
  rows.row(f_y) = point.y_mm.gradient.transpose();
  rows.row(f_log_size) = log_scale.gradient.transpose();
  rows.row(f_log_height) = log_height.gradient.transpose();
  return rows;
}

GeometryUncertainty geometry_uncertainty(const PanelConstants& constants, const BundleResult& bundle,
                                         double x_mm, double y_mm) {
  const FrameGradient by = frame_gradient(constants, bundle.parameters, x_mm, y_mm);
  const auto u = [&](FrameShift row) {
    return std::sqrt(std::max(0.0, by.row(row).dot(bundle.covariance * by.row(row).transpose())));
  };
  return {u(f_log_size), u(f_log_height),
          std::abs(by(f_log_height, p_board_distance)) * bundle.standard_uncertainty(p_board_distance)};
}

double depth_error_by_card_size(const PanelModel<double>& model, double x_mm, double y_mm) {
  const Vector3<double>& camera = model.camera_centre();
  const double camera_mm = std::hypot(camera.x - x_mm, camera.y - y_mm, camera.z);
  return 1 + camera_mm / model.board_view(x_mm, y_mm).distance_mm;
}

double unseen_turn_rad(const PanelVector& parameters, double x_mm, double y_mm, double card_gap_mm) {
  const double r = std::hypot(x_mm, y_mm);
  if (r == 0) return 0;
  const double ux = x_mm / r, uy = y_mm / r;
  const double kx = parameters[p_crown], ky = parameters[p_crown + 1], kxy = parameters[p_crown + 2];
  constexpr double change_of_bend = 1.0 / 3;
  return change_of_bend * card_gap_mm * std::hypot(kx * ux + kxy * uy, kxy * ux + ky * uy);
}

}  // namespace ripplegauge
