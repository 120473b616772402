#pragma once

#include <string>
#include <vector>

#include "drawing.hpp"
#include "picture/annotate.hpp"
#include "section_plot.hpp"

namespace ripplegauge::picture_detail {

/// What stands below the photo: the outcome, a row a dent, warnings. Laid out first, so that its height is
/// known before there is a canvas of the right size.
class Legend {
 public:
  Legend(const AnnotateInput& input, double width, double text_size);
  double height() const { return height_; }
  /// Draws with its top left corner at (0, top).
  void draw(PixelCanvas& canvas, double top) const;

 private:
  struct Line {
    std::string text;
    TextStyle style;
  };
  struct Row {
    std::vector<Line> lines;
    const Dent* dent = nullptr;  ///< with badge and cross-section
    int number = 0;
    double height = 0;
  };
  struct Band {
    std::vector<Line> lines;
    Rgb colour;
  };

  void lay_out_band(const Reading& reading);
  void lay_out_heading(const Reading& reading);
  void lay_out_dent(const Dent& dent, int number, const std::string& coin);
  void lay_out_warnings(const Reading& reading);
  void add(std::vector<Line>& lines, const std::string& text, const TextStyle& style, double width,
           std::size_t max_lines) const;
  double height_of(const std::vector<Line>& lines) const;
  double draw_lines(PixelCanvas& canvas, const std::vector<Line>& lines, double x, double top) const;

  Wording words_;
  bool english_;
  bool many_;  ///< rows are kept short
  SectionScale sections_;
  double width_, size_, plot_width_;
  double plot_height_ = 0;  ///< one for all, so that heights are drawn to one scale; 0 without a section
  std::vector<Band> bands_;
  std::vector<Row> rows_;
  double height_ = 0;
};

}  // namespace ripplegauge::picture_detail
