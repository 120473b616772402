// Line charts of small series, as SVG or pixels: a training log's progress, a spot over several
// pulls.
#pragma once

#include <opencv2/core/mat.hpp>
#include <optional>
#include <string>
#include <vector>

#include "words/wording.hpp"

namespace ripplegauge {

struct ChartPoint {
  double x = 0, y = 0;
  std::optional<double> low, high;  ///< ends of its interval
  bool flagged = false;             ///< drawn as a triangle instead of a dot
};

enum class LineStyle {
  dots,   ///< dots with their intervals, joined
  plain,  ///< a curve; NaN breaks it
  dashed  ///< a computed line in grey, not counted among the colours
};

struct ChartLine {
  std::string label;  ///< empty: no line in the legend
  std::vector<ChartPoint> points;
  LineStyle style = LineStyle::dots;
};

struct ChartPanel {
  std::string title, note, x_label, y_label;
  std::optional<double> y_from, y_to;  ///< the axis reaches at least this far
  std::vector<ChartLine> lines;
  bool x_counts = true;              ///< x counts photos or attempts; else it is a length
  std::vector<std::string> x_names;  ///< names of x = 1, 2, ...; numbers when empty
};

/// `panels` stand in rows of `columns`.
struct Chart {
  std::string title, footnote;
  std::vector<ChartPanel> panels;
  int columns = 2;
  Wording words = Wording::plain();  ///< of its figures
};

/// Size at which chart_svg draws, in px of 1/96 inch.
struct ChartSize {
  double width = 0, height = 0;
};
ChartSize size_of(const Chart& chart);

/// The file's bytes.
std::string chart_svg(const Chart& chart);
std::string chart_pdf(const Chart& chart);
/// CV_8UC3; `scale` 2 suits screens of today and print.
cv::Mat chart_bgr(const Chart& chart, double scale = 2);

}  // namespace ripplegauge
