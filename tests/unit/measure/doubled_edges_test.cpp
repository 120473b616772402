// Two exposures laid upon each other are told from blur, motion and sharpening, by the tags' edges.
#include "measure/doubled_edges.hpp"

#include <algorithm>
#include <opencv2/imgproc.hpp>

#include "altered_photos.hpp"
#include "catch.hpp"
#include "rendered_photo.hpp"
#include "ripplegauge/core/findings.hpp"
#include "ripplegauge/measure/measure.hpp"

using namespace ripplegauge;

namespace {

constexpr double noise = 0.004;

rendered::Scene one_dent() {
  rendered::Dent dent;
  dent.x_mm = 60;
  dent.y_mm = 50;
  dent.length_mm = 14;
  dent.width_mm = 14;
  dent.height_mm = -0.2;
  return rendered::usual_scene(dent);
}

const cv::Mat& sharp_light() {
  static const cv::Mat light = rendered::render(one_dent());
  return light;
}

/// Two exposures, blended in what `picture` is in: linear light or code values.
cv::Mat doubled(const cv::Mat& picture, cv::Point2d apart_px, double share) {
  cv::Mat other, both;
  const cv::Mat shift = (cv::Mat_<double>(2, 3) << 1, 0, apart_px.x, 0, 1, apart_px.y);
  cv::warpAffine(picture, other, shift, picture.size(), cv::INTER_LINEAR, cv::BORDER_REPLICATE);
  cv::addWeighted(picture, 1 - share, other, share, 0, both);
  return both;
}

cv::Mat moved(const cv::Mat& light, cv::Size path_px) {
  cv::Mat out;
  cv::blur(light, out, path_px);
  return out;
}

cv::Mat blurred(const cv::Mat& light, double sigma_px) {
  cv::Mat out;
  cv::GaussianBlur(light, out, {}, sigma_px);
  return out;
}

cv::Mat sharpened(const cv::Mat& light, double amount) {
  return (1 + amount) * light - amount * blurred(light, 1.5);
}

std::optional<DoubledEdges> doubled_in(const cv::Mat& grey) {
  return find_doubled_edges(grey, find_tags(grey));
}

bool warns(const Reading& reading, PhotoFinding finding) {
  return std::any_of(reading.warnings.begin(), reading.warnings.end(),
                     [&](const Warning& w) { return is(w, finding); });
}

}  // namespace

TEST_CASE("edges of two exposures are told, whichever way these lie and are blended", "[doubled_edges]") {
  const cv::Point2d apart_px = GENERATE(cv::Point2d(4, 2.4), cv::Point2d(-4, 3), cv::Point2d(0, 5));
  const double share = GENERATE(0.5, 0.3);
  INFO(apart_px << " px apart, " << share);
  const cv::Mat in_light = rendered::develop(doubled(sharp_light(), apart_px, share), noise, 1),
                in_code = doubled(rendered::develop(sharp_light(), noise, 1), apart_px, share);
  for (const cv::Mat& grey : {in_light, in_code}) {
    const auto found = doubled_in(grey);
    REQUIRE(found);
    // Across the tags' sides, of which one lies within 45 degrees of the way from one to the other.
    CHECK(found->apart_px > 0.7 * cv::norm(apart_px) - 0.5);
    CHECK(found->apart_px < cv::norm(apart_px) + 0.5);
  }
}

TEST_CASE("blur, motion, sharpening and bright paper double no edge", "[doubled_edges]") {
  const cv::Mat& light = sharp_light();
  const std::vector<cv::Mat> single = {light,
                                       1.8 * light,
                                       blurred(light, 2),
                                       blurred(light, 3.5),
                                       moved(light, {3, 1}),
                                       moved(light, {5, 1}),
                                       moved(light, {1, 7}),
                                       sharpened(light, 1),
                                       sharpened(1.8 * light, 1),
                                       sharpened(moved(light, {5, 1}), 0.9),
                                       sharpened(moved(light, {7, 1}), 0.5)};
  for (std::size_t i = 0; i < single.size(); ++i) {
    INFO(i);
    CHECK_FALSE(doubled_in(rendered::develop(single[i], noise, 1)));
  }
}

TEST_CASE("tags that cannot show it, and none, double no edge", "[doubled_edges]") {
  const cv::Mat grey(60, 60, CV_8UC1, cv::Scalar(128));
  CHECK_FALSE(find_doubled_edges(grey, {}));
  SeenTag tag;
  tag.corners_px = {cv::Point2d(10, 10), {14, 10}, {14, 14}, {10, 14}};
  CHECK_FALSE(find_doubled_edges(grey, {tag}));
  tag.corners_px = {cv::Point2d(-30, -30), {90, -30}, {90, 90}, {-30, 90}};  // beyond the picture
  CHECK_FALSE(find_doubled_edges(grey, {tag}));
}

TEST_CASE("a reading of two exposures says so", "[doubled_edges]") {
  const rendered::Scene scene = one_dent();
  const auto read = [&](const cv::Mat& light) {
    return measure(rendered::usual_photo(scene, light, noise, 1), rendered::usual_request(scene)).reading;
  };
  CHECK_FALSE(warns(read(sharp_light()), PhotoFinding::edges_doubled));
  CHECK(warns(read(doubled(sharp_light(), {4, 2.4}, 0.5)), PhotoFinding::edges_doubled));
}

TEST_CASE("a reading of so much blur that tags do not tell it says so", "[doubled_edges]") {
  const Sample good = sample("step");
  const auto read = [&](double sigma_px) {
    return measure(with_grey(good.photo, blurred(good.photo.grey, sigma_px)), good.request).reading;
  };
  const Reading soft = read(1.2), softer = read(3);
  REQUIRE(softer.status == Status::measured);
  CHECK_FALSE(warns(soft, PhotoFinding::much_blurred));
  CHECK(warns(softer, PhotoFinding::much_blurred));
  CHECK_FALSE(warns(softer, PhotoFinding::edges_doubled));
}
