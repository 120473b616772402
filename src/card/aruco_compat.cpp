#include "aruco_compat.hpp"

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

void set_parameters(cv::aruco::DetectorParameters& parameters) {
  // One threshold window about as wide as two cells of a small tag, and one for large tags: each further
  // window costs a pass over the picture.
  parameters.adaptiveThreshWinSizeMin = 13;
  parameters.adaptiveThreshWinSizeMax = 53;
  parameters.adaptiveThreshWinSizeStep = 40;
  parameters.minMarkerPerimeterRate = 0.02;
}

}  // namespace

#if RIPPLEGAUGE_ARUCO_IN_OBJDETECT

Decoded decode_36h11(const cv::Mat& grey) {
  cv::aruco::DetectorParameters parameters;
  set_parameters(parameters);
  const cv::aruco::ArucoDetector detector(cv::aruco::getPredefinedDictionary(cv::aruco::DICT_APRILTAG_36h11),
                                          parameters);
  Decoded decoded;
  detector.detectMarkers(grey, decoded.corners_px, decoded.ids);
  return decoded;
}

cv::Mat draw_36h11(int id) {
  cv::Mat picture;
  cv::aruco::getPredefinedDictionary(cv::aruco::DICT_APRILTAG_36h11).generateImageMarker(id, 8, picture, 1);
  return picture;
}

#else

Decoded decode_36h11(const cv::Mat& grey) {
  const auto dictionary = cv::aruco::getPredefinedDictionary(cv::aruco::DICT_APRILTAG_36h11);
  const auto parameters = cv::aruco::DetectorParameters::create();
  set_parameters(*parameters);
  Decoded decoded;
  cv::aruco::detectMarkers(grey, dictionary, decoded.corners_px, decoded.ids, parameters);
  return decoded;
}

cv::Mat draw_36h11(int id) {
  cv::Mat picture;
  cv::aruco::drawMarker(cv::aruco::getPredefinedDictionary(cv::aruco::DICT_APRILTAG_36h11), id, 8, picture,
                        1);
  return picture;
}

#endif

}  // namespace ripplegauge::aruco
