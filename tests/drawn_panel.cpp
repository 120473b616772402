#include "drawn_panel.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "core/linear_light.hpp"
#include "corner_card.hpp"

namespace ripplegauge {
namespace {

constexpr int width_px = 760, height_px = 600;
constexpr double middle_x_mm = 65, middle_y_mm = 50, camera_mm = 420;

/// Looks down on the middle of the drawn panel, 12 degrees off its normal.
void place_camera(BundleProblem& problem, PanelVector& parameters) {
  const double tilt = 12 * std::numbers::pi / 180;
  const Eigen::Vector3d middle(middle_x_mm, middle_y_mm, 0);
  const Eigen::Vector3d centre = middle + camera_mm * Eigen::Vector3d(0, -std::sin(tilt), std::cos(tilt));
  const Eigen::Vector3d right = Eigen::Vector3d::UnitX(), forward = (middle - centre).normalized();
  Eigen::Matrix3d camera_from_card;
  camera_from_card.row(0) = right;
  camera_from_card.row(1) = forward.cross(right);
  camera_from_card.row(2) = forward;
  problem.constants.base_rotation = camera_from_card;
  parameters.segment<3>(p_translation) = -camera_from_card * centre;
  problem.constants.nominal_focal_px = drawn_pixels_per_mm * camera_mm;
  problem.constants.centre_u_px = 0.5 * (width_px - 1);
  problem.constants.centre_v_px = 0.5 * (height_px - 1);
}

/// Smooth random slopes over the panel, CV_32FC2, four cells a millimetre.
cv::Mat peel_of(const Drawing& drawing) {
  cv::Mat slope(900, 1100, CV_32FC2, cv::Scalar::all(0));
  if (drawing.peel_slope <= 0) return slope;
  cv::RNG(drawing.seed + 77).fill(slope, cv::RNG::NORMAL, 0, 1);
  cv::GaussianBlur(slope, slope, {}, 4 * drawing.peel_cell_mm);
  cv::Scalar mean, deviation;
  cv::meanStdDev(slope, mean, deviation);
  slope *= drawing.peel_slope / deviation[0];
  return slope;
}

/// -1 on a dark stripe, 1 on a light one, with soft edges.
double stripe(double cycles, double edge_cycles) {
  const double inside = 0.25 - std::abs(cycles - std::floor(cycles + 0.5));
  return std::tanh(inside / edge_cycles);
}

void draw(const Drawing& drawing, const PanelModel<double>& model, const CardDefinition& card,
          cv::Mat& grey) {
  const cv::Mat peel = peel_of(drawing);
  std::vector<SpotShape<double>> shapes(drawing.spots.begin(), drawing.spots.end());
  cv::Mat noise(height_px, width_px, CV_32FC1);
  cv::RNG(drawing.seed).fill(noise, cv::RNG::NORMAL, 0, drawing.noise);
  grey.create(height_px, width_px, CV_8UC1);
  const auto relief = [&](double x, double y) {
    SpotValue<double> sum;
    for (const auto& shape : shapes) {
      const auto v = shape.at(x, y);
      sum = {sum.z + v.z, sum.slope_x + v.slope_x, sum.slope_y + v.slope_y};
    }
    return sum;
  };
  for (int v = 0; v < height_px; ++v)
    for (int u = 0; u < width_px; ++u) {
      const auto smooth = model.panel_from_pixel(u, v);
      // Where the relief lies higher, the ray meets it nearer to the camera.
      const auto& camera = model.camera_centre();
      const double run_x = (camera.x - smooth.x_mm) / (camera.z - smooth.z_mm),
                   run_y = (camera.y - smooth.y_mm) / (camera.z - smooth.z_mm);
      double x = smooth.x_mm, y = smooth.y_mm;
      for (int i = 0; i < 2; ++i) {
        const double z = relief(x, y).z;
        x = smooth.x_mm + z * run_x;
        y = smooth.y_mm + z * run_y;
      }
      const auto at = relief(x, y);
      const int row = std::clamp(static_cast<int>(4 * (y + 60)), 0, peel.rows - 1),
                column = std::clamp(static_cast<int>(4 * (x + 70)), 0, peel.cols - 1);
      const cv::Vec2f wave = peel.at<cv::Vec2f>(row, column);
      double light = drawing.light +
                     drawing.swing * stripe(model.phase(x, y, at.slope_x + wave[0], at.slope_y + wave[1]),
                                            drawing.edge_cycles);
      for (const RectangleMm& paper : card.paper)
        if (smooth.x_mm > paper.x0_mm && smooth.x_mm < paper.x1_mm && smooth.y_mm > paper.y0_mm &&
            smooth.y_mm < paper.y1_mm)
          light = 0.7;
      if (drawing.spoil) light = drawing.spoil(light, u, v, x, y);
      grey.at<uchar>(v, u) = cv::saturate_cast<uchar>(srgb_code_from_linear(light + noise.at<float>(v, u)));
    }
}

/// The card's tags where the model sees them.
std::vector<SeenTag> tags_in_view(const BundleProblem& problem, const PanelModel<double>& model) {
  std::vector<SeenTag> seen;
  for (const CardTag& tag : problem.card.tags) {
    SeenTag s;
    s.id = tag.id;
    s.edge_width_px = edge_width_per_sigma * std::sqrt(pixel_square_px2);  // nothing blurs the drawing
    const auto corners = tag_corners_mm(tag, problem.card.tag_side_mm, 1.0, 0.0);
    for (std::size_t k = 0; k < 4; ++k) {
      const auto pixel = model.pixel_from_card(corners[k][0], corners[k][1], {114, 89});
      s.corners_px[k] = {pixel.u_px, pixel.v_px};
    }
    seen.push_back(s);
  }
  return seen;
}

double period_at_middle_mm(const PanelModel<double>& model) {
  constexpr double step_mm = 0.1;
  const auto phase = [&](double x, double y) { return model.phase(x, y, 0.0, 0.0); };
  const double by_x = phase(middle_x_mm + step_mm, middle_y_mm) - phase(middle_x_mm - step_mm, middle_y_mm),
               by_y = phase(middle_x_mm, middle_y_mm + step_mm) - phase(middle_x_mm, middle_y_mm - step_mm);
  return 2 * step_mm / std::hypot(by_x, by_y);
}

}  // namespace

std::unique_ptr<DrawnPanel> draw_panel(const Drawing& drawing) {
  auto panel = std::make_unique<DrawnPanel>();
  BundleProblem& problem = panel->problem;
  problem.card = corner_card();
  problem.constants.anchor_x_mm = middle_x_mm;
  problem.constants.anchor_y_mm = middle_y_mm;
  problem.constants.pitch_mm = drawing.pitch_mm;
  problem.constants.nominal_distance_mm = drawing.board_distance_mm;
  PanelVector parameters = PanelVector::Zero();
  place_camera(problem, parameters);
  parameters.segment<2>(p_crown) << drawing.crown_x_per_mm, drawing.crown_y_per_mm;
  parameters.segment<2>(p_board_spin) << 0.4, 0.3;  // and phase
  if (drawing.alter) drawing.alter(parameters, problem.constants);
  const PanelModel<double> model(problem.constants, parameters);
  draw(drawing, model, problem.card, panel->grey);
  problem.tags = tags_in_view(problem, model);

  StripeField& field = panel->field;
  field.bundle.parameters = parameters;
  field.bundle.covariance.setZero();
  const double margin_mm = 8;  // inside the photo
  const double half_x_mm = 0.5 * width_px / drawn_pixels_per_mm - margin_mm,
               half_y_mm = 0.5 * height_px / drawn_pixels_per_mm - margin_mm;
  field.grid = grid_around(middle_x_mm - half_x_mm, middle_y_mm - half_y_mm, middle_x_mm + half_x_mm,
                           middle_y_mm + half_y_mm, 0.5);
  field.followed = cv::Mat(field.grid.rows, field.grid.columns, CV_8UC1, cv::Scalar(1));
  field.period_mm = period_at_middle_mm(model);
  panel->residual = stripe_residual(panel->grey, problem, field, drawn_pixels_per_mm);
  panel->scene = {&panel->grey, &problem, parameters, &panel->residual, drawn_pixels_per_mm, 1};
  return panel;
}

SpotVector drawn_spot(double x_mm, double y_mm, double diameter_mm, double height_mm, double elongation,
                      double angle_rad, double power, double order) {
  const double half = 0.5 * std::log(elongation), size = std::log(0.5 * diameter_mm);
  SpotVector s;
  s << x_mm, y_mm, size + half, size - half, angle_rad, height_mm, std::log(power), std::log(order), 0, 0;
  return s;
}

}  // namespace ripplegauge
