// The one place that knows which OpenCV there is: its aruco interface changed in 4.7, its tags turned in 5.
#include "aruco_compat.hpp"

#include <algorithm>
#include <cstdint>
#include <opencv2/core.hpp>
#include <opencv2/core/version.hpp>

#define RIPPLEGAUGE_ARUCO_IN_OBJDETECT \
  (CV_VERSION_MAJOR > 4 || (CV_VERSION_MAJOR == 4 && CV_VERSION_MINOR >= 7))
#if RIPPLEGAUGE_ARUCO_IN_OBJDETECT
#include <opencv2/objdetect/aruco_detector.hpp>
#else
#include <opencv2/aruco.hpp>
#endif

namespace ripplegauge::aruco {

namespace {

constexpr std::uint64_t code_of_tag_0 = 0xd7e00984b;  // AprilTag 3, tag36h11.c

void set_parameters(cv::aruco::DetectorParameters& parameters) {
  // One threshold window about as wide as two cells of a small tag, and one for large tags: each further
  // window costs a pass over the picture.
  parameters.adaptiveThreshWinSizeMin = 13;
  parameters.adaptiveThreshWinSizeMax = 53;
  parameters.adaptiveThreshWinSizeStep = 40;
  parameters.minMarkerPerimeterRate = 0.02;
  // Later versions correct wrong bits unless told not to: then hundreds of times more patterns pass for a
  // tag.
  parameters.errorCorrectionRate = 0;
}

#if RIPPLEGAUGE_ARUCO_IN_OBJDETECT

Decoded decoded_by_opencv(const cv::Mat& grey) {
  cv::aruco::DetectorParameters parameters;
  set_parameters(parameters);
  const cv::aruco::ArucoDetector detector(cv::aruco::getPredefinedDictionary(cv::aruco::DICT_APRILTAG_36h11),
                                          parameters);
  Decoded decoded;
  detector.detectMarkers(grey, decoded.corners_px, decoded.ids);
  return decoded;
}

cv::Mat drawn_by_opencv(int id) {
  cv::Mat picture;
  cv::aruco::getPredefinedDictionary(cv::aruco::DICT_APRILTAG_36h11).generateImageMarker(id, 8, picture, 1);
  return picture;
}

#else

Decoded decoded_by_opencv(const cv::Mat& grey) {
  const auto dictionary = cv::aruco::getPredefinedDictionary(cv::aruco::DICT_APRILTAG_36h11);
  const auto parameters = cv::aruco::DetectorParameters::create();
  set_parameters(*parameters);
  Decoded decoded;
  cv::aruco::detectMarkers(grey, dictionary, decoded.corners_px, decoded.ids, parameters);
  return decoded;
}

cv::Mat drawn_by_opencv(int id) {
  cv::Mat picture;
  cv::aruco::drawMarker(cv::aruco::getPredefinedDictionary(cv::aruco::DICT_APRILTAG_36h11), id, 8, picture,
                        1);
  return picture;
}

#endif

/// Whether OpenCV draws a tag as the family's table has it, as OpenCV 5 does. Up to 4 it stands on its head,
/// and so do the cards that have been printed.
bool opencv_draws_upright() {
  static const bool upright = code_in(drawn_by_opencv(0)) == code_of_tag_0;
  return upright;
}

}  // namespace

std::uint64_t code_in(const cv::Mat& picture) {
  // Where the table's bits stand in the 8 x 8 picture, from the highest on: AprilTag 3, tag36h11.c.
  constexpr int column[36] = {1, 2, 3, 4, 5, 2, 3, 4, 3, 6, 6, 6, 6, 6, 5, 5, 5, 4,
                              6, 5, 4, 3, 2, 5, 4, 3, 4, 1, 1, 1, 1, 1, 2, 2, 2, 3};
  constexpr int row[36] = {1, 1, 1, 1, 1, 2, 2, 2, 3, 1, 2, 3, 4, 5, 2, 3, 4, 3,
                           6, 6, 6, 6, 6, 5, 5, 5, 4, 6, 5, 4, 3, 2, 5, 4, 3, 4};
  std::uint64_t code = 0;
  for (int i = 0; i < 36; ++i)
    code = code << 1 | (picture.at<std::uint8_t>(row[i], column[i]) >= 128 ? 1u : 0u);
  return code;
}

Decoded decode_36h11(const cv::Mat& grey) {
  Decoded decoded = decoded_by_opencv(grey);
  if (opencv_draws_upright())
    for (auto& corners : decoded.corners_px) std::rotate(corners.begin(), corners.begin() + 2, corners.end());
  return decoded;
}

cv::Mat draw_36h11(int id) {
  cv::Mat picture = drawn_by_opencv(id);
  if (opencv_draws_upright()) cv::rotate(picture, picture, cv::ROTATE_180);
  return picture;
}

}  // namespace ripplegauge::aruco
