// Finding the printed tags: OpenCV's decoder on a reduced picture, then our own sub-pixel edges at full size.
#pragma once

#include <array>
#include <opencv2/core/mat.hpp>
#include <vector>

namespace ripplegauge {

/// The 8 x 8 cells of a tag of family 36h11, border included, true = black; row 0 is the printed top.
using TagCells = std::array<std::array<bool, 8>, 8>;
TagCells tag_cells(int id);

/// A tag as seen in the photo: corners in pixels of the upright photo, pixel centres at integers, in the
/// order top-left, top-right, bottom-right, bottom-left of the printed tag.
struct SeenTag {
  int id = -1;
  std::array<cv::Point2d, 4> corners_px;
  double edge_rms_px = 0;    ///< scatter of the edge points about the fitted sides
  double edge_width_px = 0;  ///< 10 to 90 % width of the black-white transition: how blurred the photo is
  /// Second moment of the blur across the edges, px^2. What a phone's sharpening swings over beside an edge
  /// takes from it; it may be negative.
  double edge_variance_px2 = 0;
};

inline cv::Point2d centre_px(const SeenTag& tag) {
  return 0.25 * (tag.corners_px[0] + tag.corners_px[1] + tag.corners_px[2] + tag.corners_px[3]);
}

/// 10 to 90 % width of an edge that a Gaussian blurs, in its standard deviations.
constexpr double edge_width_per_sigma = 2.563;

/// SeenTag::edge_width_px up to which it is right to a tenth, for a tag whose shortest side is this long: a
/// wider edge does not end between the cells beside it, or as far out as is looked, and comes out too narrow.
double widest_told_edge_px(double shortest_side_px);

/// Variance of a pixel's square: no edge and no photo is sharper.
constexpr double pixel_square_px2 = 1.0 / 12;

/// Decodes tags of family 36h11 in an 8-bit grey picture (CV_8UC1). Corner accuracy is about a pixel.
/// `mirrored` looks for tags seen in a mirror: corners are then still those of the printed tag.
std::vector<SeenTag> decode_tags(const cv::Mat& grey, bool mirrored = false);

/// Decodes on reduced copies (coarse to fine until at least one is found), then refines at full size in
/// linear light. Ids may repeat where two cards are in the photo.
std::vector<SeenTag> find_tags(const cv::Mat& grey, bool mirrored = false);

}  // namespace ripplegauge
