// Cairo as this layer uses it.
#pragma once

#include <cairo.h>

#include <memory>
#include <opencv2/core.hpp>
#include <string>
#include <vector>

#include "ripplegauge/core/reading.hpp"
#include "ripplegauge/picture/palette.hpp"
#include "ripplegauge/picture/picture.hpp"

namespace ripplegauge::picture_detail {

struct DestroySurface {
  void operator()(cairo_surface_t* surface) const { cairo_surface_destroy(surface); }
};
struct DestroyContext {
  void operator()(cairo_t* cairo) const { cairo_destroy(cairo); }
};
using Surface = std::unique_ptr<cairo_surface_t, DestroySurface>;
using Context = std::unique_ptr<cairo_t, DestroyContext>;

/// Throws std::runtime_error for anything but success.
void require(cairo_status_t status);

void set_colour(cairo_t* cairo, const Rgb& colour, double opacity = 1);

/// What can be shown on one line: control characters become spaces, stray bytes U+FFFD.
std::string printable(const std::string& text);

enum class Align { left, centre, right };

struct TextStyle {
  double size = 12;
  Rgb colour = palette::ink;
  Align align = Align::left;
  bool bold = false;
};

/// Draws one line with its baseline at y. Bytes that are no UTF-8 are shown as U+FFFD: Cairo would refuse to
/// draw anything more.
void show_text(cairo_t* cairo, const std::string& text, double x, double y, const TextStyle& style);
double text_width(cairo_t* cairo, const std::string& text, const TextStyle& style);

/// The text shortened to the width, at a character's boundary.
std::string fitted(cairo_t* cairo, std::string text, const TextStyle& style, double width);

/// The text in lines of at most that width, broken between words; the last of `max_lines` is shortened to
/// fit.
std::vector<std::string> wrapped(cairo_t* cairo, const std::string& text, const TextStyle& style,
                                 double width, std::size_t max_lines);

/// Round steps of 1, 2 or 5 times a power of ten, about `count` of them.
double round_step(double span, int count);
/// A number on an axis with that step, with the decimals that the step needs.
std::string tick_text(double value, double step);

/// A surface that is a cv::Mat, so that photos and colour maps are copied in directly; keeps a list of its
/// texts.
class Canvas {
 public:
  Canvas(int width_px, int height_px, const Rgb& background);
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

/// Colour and line of a kind: lows solid, highs dashed.
const Rgb& colour_of(Kind kind);
void set_dashes(cairo_t* cairo, Kind kind, double line_width);

/// The sign of a spot: its number in a disc (low) or a diamond (high), about 1.6 sizes wide.
void draw_badge(Canvas& canvas, int number, Kind kind, double x, double y, double size);

/// "22.4 mm (21.9 to 22.9)", with as many decimals as the interval deserves; "not known" for NaN.
std::string with_interval(const Quantity& quantity, const char* unit);
/// The value alone, with the same decimals.
std::string without_interval(const Quantity& quantity, const char* unit);

}  // namespace ripplegauge::picture_detail
