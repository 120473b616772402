// Line charts of small series, as SVG or PNG or on a page: a training log's progress, a spot over several
// pulls.
#pragma once

#include <optional>
#include <string>
#include <vector>

typedef struct _cairo cairo_t;

namespace ripplegauge {

struct ChartPoint {
  double x = 0, y = 0;
  std::optional<double> low, high;  ///< ends of its interval
  bool flagged = false;             ///< drawn as a triangle instead of a dot
};

struct ChartLine {
  std::string label;  ///< empty: no line in the legend
  std::vector<ChartPoint> points;
  bool dashed = false;  ///< a computed line: no dots, not counted among the colours
};

struct ChartPanel {
  std::string title, note, x_label, y_label;
  std::optional<double> y_from, y_to;  ///< the axis reaches at least this far
  std::vector<ChartLine> lines;
  std::vector<std::string> x_names;  ///< names of x = 1, 2, ...; numbers when empty
};

/// `panels` stand in rows of `columns`.
struct Chart {
  std::string title, footnote;
  std::vector<ChartPanel> panels;
  int columns = 2;
};

/// Size at which chart_svg draws, in px of 1/96 inch.
struct ChartSize {
  double width = 0, height = 0;
};
ChartSize size_of(const Chart& chart);

/// The file's bytes.
std::string chart_svg(const Chart& chart);
/// `scale` 2 suits screens of today and print.
std::string chart_png(const Chart& chart, double scale = 2);

/// Draws at the origin of `cairo`, in its user units.
void draw_chart(cairo_t* cairo, const Chart& chart);

}  // namespace ripplegauge
