#include "panel/bundle.hpp"

#include <numbers>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgproc.hpp>

#include "catch.hpp"
#include "core/linear_light.hpp"
#include "corner_card.hpp"

using namespace ripplegauge;

namespace {

/// The card as a flat print at 10 px per mm, y up: row 0 is the top.
cv::Mat print_of(const CardDefinition& card, double px_per_mm, double x0, double y1, int width, int height) {
  cv::Mat print(height, width, CV_8UC1, cv::Scalar(90));
  const auto fill = [&](double ax, double ay, double bx, double by, int grey) {
    cv::rectangle(print,
                  cv::Point(static_cast<int>(std::lround((ax - x0) * px_per_mm)),
                            static_cast<int>(std::lround((y1 - by) * px_per_mm))),
                  cv::Point(static_cast<int>(std::lround((bx - x0) * px_per_mm)) - 1,
                            static_cast<int>(std::lround((y1 - ay) * px_per_mm)) - 1),
                  grey, cv::FILLED);
  };
  for (const auto& p : card.paper) fill(p.x0_mm, p.y0_mm, p.x1_mm, p.y1_mm, 235);
  for (const auto& tag : card.tags) {
    const TagCells cells = tag_cells(tag.id);
    const double cell = card.tag_side_mm / 8;
    for (std::size_t r = 0; r < 8; ++r)
      for (std::size_t c = 0; c < 8; ++c) {
        const double x = tag.x_mm - card.tag_side_mm / 2 + static_cast<double>(c) * cell,
                     y = tag.y_mm + card.tag_side_mm / 2 - static_cast<double>(r + 1) * cell;
        if (cells[r][c]) fill(x, y, x + cell, y + cell, 30);
      }
  }
  return print;
}

struct View {
  cv::Matx33d k{3000, 0, 1999.5, 0, 3000, 1499.5, 0, 0, 1};
  cv::Mat rotation, translation;
  cv::Mat photo;
};

/// A photo of the flat card: the print warped by the exact homography, drawn four times as fine and averaged.
View photograph(const CardDefinition& card) {
  View view;
  const double px = 16, x0 = -60, y1 = 130;
  const cv::Mat print = print_of(card, px, x0, y1, static_cast<int>(220 * px), static_cast<int>(190 * px));
  cv::Rodrigues(cv::Vec3d(std::numbers::pi - 0.45, 0.12, 0.08), view.rotation);
  view.translation = (cv::Mat_<double>(3, 1) << -45, 30, 420);
  cv::Mat h(3, 3, CV_64F);
  view.rotation.col(0).copyTo(h.col(0));
  view.rotation.col(1).copyTo(h.col(1));
  view.translation.copyTo(h.col(2));
  h = cv::Mat(view.k) * h;
  // print pixel (u, v) -> card mm: x = x0 + (u + 0.5) / px, y = y1 - (v + 0.5) / px
  const cv::Mat mm = (cv::Mat_<double>(3, 3) << 1 / px, 0, x0 + 0.5 / px, 0, -1 / px, y1 - 0.5 / px, 0, 0, 1);
  const int fine = 3;
  const cv::Mat finer =
      (cv::Mat_<double>(3, 3) << fine, 0, 0.5 * (fine - 1), 0, fine, 0.5 * (fine - 1), 0, 0, 1);
  // A camera averages light, not code values: to linear light and back (IEC 61966-2-1).
  cv::Mat light(print.size(), CV_32FC1), large;
  for (int r = 0; r < print.rows; ++r)
    for (int c = 0; c < print.cols; ++c) light.at<float>(r, c) = linear_from_srgb8()[print.at<uchar>(r, c)];
  cv::warpPerspective(light, large, finer * h * mm, cv::Size(4000 * fine, 3000 * fine), cv::INTER_LINEAR,
                      cv::BORDER_CONSTANT, 0.1);
  cv::resize(large, light, cv::Size(4000, 3000), 0, 0, cv::INTER_AREA);
  view.photo.create(light.size(), CV_8UC1);
  for (int r = 0; r < light.rows; ++r)
    for (int c = 0; c < light.cols; ++c) {
      const double v = light.at<float>(r, c),
                   coded = v <= 0.0031308 ? 12.92 * v : 1.055 * std::pow(v, 1 / 2.4) - 0.055;
      view.photo.at<uchar>(r, c) = cv::saturate_cast<uchar>(255 * coded);
    }
  return view;
}

BundleProblem problem_for(const CardDefinition& card, const View& view) {
  BundleProblem problem;
  problem.card = card;
  problem.tags = find_tags(view.photo);
  problem.constants.nominal_focal_px = 3000;
  problem.constants.centre_u_px = 1999.5;
  problem.constants.centre_v_px = 1499.5;
  problem.constants.pitch_mm = 16;
  problem.constants.nominal_distance_mm = 300;
  return problem;
}

}  // namespace

TEST_CASE("tags are found at a tenth of a pixel, and the pose agrees with OpenCV's", "[bundle][card]") {
  const CardDefinition card = corner_card();
  const View view = photograph(card);
  BundleProblem problem = problem_for(card, view);
  REQUIRE(problem.tags.size() == 8);
  std::vector<cv::Point3d> object;
  std::vector<cv::Point2d> image, projected;
  for (const SeenTag& seen : problem.tags) {
    REQUIRE((seen.id >= 0 && seen.id < 8));
    const auto corners = tag_corners_mm(card.tags[static_cast<std::size_t>(seen.id)], 18, 1.0, 0.0);
    for (std::size_t k = 0; k < 4; ++k) {
      object.emplace_back(corners[k][0], corners[k][1], 0);
      image.push_back(seen.corners_px[k]);
    }
  }
  cv::Mat r, t;
  cv::Rodrigues(view.rotation, r);
  cv::projectPoints(object, r, view.translation, cv::Mat(view.k), cv::noArray(), projected);
  for (std::size_t i = 0; i < image.size(); ++i)
    CHECK(cv::norm(image[i] - projected[i]) < 0.15);  // 8-bit edges

  const auto bundle = start_bundle(problem);
  REQUIRE(bundle);
  CHECK(bundle->tag_rms_px < 0.12);
  cv::solvePnP(object, image, cv::Mat(view.k), cv::noArray(), r, t);
  const PanelModel<double> model(problem.constants, bundle->parameters);
  cv::Mat rotation;
  cv::Rodrigues(r, rotation);
  const cv::Mat centre = -rotation.t() * t;
  // The bundle leaves focal length and centre free within their priors, solvePnP does not: half a per cent of
  // 420 mm.
  CHECK(model.camera_centre().x == Approx(centre.at<double>(0)).margin(2.5));
  CHECK(model.camera_centre().y == Approx(centre.at<double>(1)).margin(2.5));
  CHECK(model.camera_centre().z == Approx(centre.at<double>(2)).margin(2.5));
}

TEST_CASE("an ID-1 card measured through the scale chain has its size", "[bundle][card]") {
  // ISO/IEC 7810: 85.60 x 53.98 mm. Its corners' pixels, by OpenCV's projection, go back to millimetres by
  // ours.
  const CardDefinition card = corner_card();
  const View view = photograph(card);
  BundleProblem problem = problem_for(card, view);
  const auto bundle = start_bundle(problem);
  REQUIRE(bundle);
  const PanelModel<double> model(problem.constants, bundle->parameters);
  std::vector<cv::Point2d> pixels;
  cv::Mat r;
  cv::Rodrigues(view.rotation, r);
  cv::projectPoints(std::vector<cv::Point3d>{{20, 20, 0}, {105.60, 20, 0}, {20, 73.98, 0}}, r,
                    view.translation, cv::Mat(view.k), cv::noArray(), pixels);
  const auto a = model.panel_from_pixel(pixels[0].x, pixels[0].y),
             b = model.panel_from_pixel(pixels[1].x, pixels[1].y),
             c = model.panel_from_pixel(pixels[2].x, pixels[2].y);
  CHECK(std::hypot(b.x_mm - a.x_mm, b.y_mm - a.y_mm) == Approx(85.60).epsilon(0.002));
  CHECK(std::hypot(c.x_mm - a.x_mm, c.y_mm - a.y_mm) == Approx(53.98).epsilon(0.002));
}
