// A photo in memory: what measuring starts from, whoever decoded it.
#pragma once

#include <opencv2/core/mat.hpp>
#include <optional>
#include <string>

namespace ripplegauge {

/// A photo turned upright (EXIF orientation applied once, to pixels and everything said about them).
struct Photo {
  std::string name;  ///< the path as given, UTF-8
  cv::Mat grey;      ///< CV_8UC1, sRGB-coded luma, rows x cols as seen upright; pixel centres at integers
  /// 35 mm equivalent focal length; absent when EXIF is silent or says what no phone has.
  std::optional<double> focal_35mm_mm;
  std::string date_taken;    ///< "YYYY-MM-DD HH:MM:SS" from EXIF, empty when unknown
  int exif_orientation = 1;  ///< 1..8, already applied
};

/// Focal length in pixels of a photo of this size from its 35 mm equivalent, by the diagonal: the 36 x 24 mm
/// frame has a diagonal of 43.2666 mm.
double focal_px_from_35mm(double focal_35mm_mm, int width_px, int height_px);

}  // namespace ripplegauge
