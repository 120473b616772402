// Pictures in memory: Cairo draws on the pixels of a cv::Mat.
#pragma once

#include <opencv2/core.hpp>
#include <string>
#include <vector>

#include "draw/cairo.hpp"
#include "draw/text.hpp"

namespace ripplegauge {

/// A line of text in a picture and the box that it fills, in pixels.
struct PlacedText {
  std::string text;
  cv::Rect2d box;
};

struct Picture {
  cv::Mat bgr;  ///< CV_8UC3
  std::vector<PlacedText> texts;
};

}  // namespace ripplegauge

namespace ripplegauge::draw {

/// A surface that is a cv::Mat, so that photos and colour maps are copied in directly; keeps a list of its
/// texts.
class PixelCanvas {
 public:
  PixelCanvas(int width_px, int height_px, const Rgb& background);
  cairo_t* cairo() const { return cairo_.get(); }
  double width() const { return pixels_.cols; }
  double height() const { return pixels_.rows; }

  void text(const std::string& text, double x, double y, const TextStyle& style);
  /// Copies CV_8UC3 pixels (B, G, R) with their top left corner there; what reaches beyond the canvas is cut
  /// off.
  void paste(const cv::Mat& bgr, int x, int y);
  void rectangle(const cv::Rect2d& box, const Rgb& colour, double opacity = 1);

  Picture picture() const;

 private:
  cv::Mat pixels_;  ///< CV_8UC4, B G R unused: Cairo's RGB24 on little-endian machines
  Surface surface_;
  Context cairo_;
  std::vector<PlacedText> texts_;
};

}  // namespace ripplegauge::draw
