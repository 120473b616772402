// Tags, check bars and steps, as all sheets draw them.
#include "sheet_parts.hpp"

#include <fmt/format.h>

#include <cmath>
#include <sstream>

#include "card/tag_detector.hpp"

namespace ripplegauge {

std::string length_text(double length_mm) { return fmt::format("{:g}", std::round(length_mm * 100) / 100); }

void draw_tag(Canvas& canvas, int id, PagePoint centre, double side_mm, bool mirrored) {
  constexpr int cells = 8;
  const double cell_mm = side_mm / cells;
  const TagCells cell_is_black = tag_cells(id);
  std::vector<PageBox> boxes;
  for (int row = 0; row < cells; ++row) {
    for (int column = 0; column < cells; ++column) {
      const int source = mirrored ? cells - 1 - column : column;
      if (!cell_is_black[static_cast<std::size_t>(row)][static_cast<std::size_t>(source)]) continue;
      boxes.push_back({centre.x_mm - 0.5 * side_mm + column * cell_mm,
                       centre.y_mm - 0.5 * side_mm + row * cell_mm, cell_mm, cell_mm});
    }
  }
  canvas.fill(boxes, black);
}

void draw_check_bar(Canvas& canvas, PagePoint at, double length_mm) {
  constexpr double thickness_mm = 3;
  canvas.fill({{at.x_mm, at.y_mm, length_mm, thickness_mm}}, black);
  canvas.text({at.x_mm + length_mm + 3, at.y_mm + thickness_mm - 0.3},
              "check bar: " + length_text(length_mm) + " mm", {.size_mm = 3.6, .bold = true});
}

double draw_steps(Canvas& canvas, PagePoint top, double width_mm, const std::vector<std::string>& steps,
                  double font_size_mm, int first_number) {
  const double indent_mm = 2 * font_size_mm;
  const Font number{.size_mm = font_size_mm, .bold = true, .colour = accent};
  double y_mm = top.y_mm;
  int count = first_number;
  for (const std::string& step : steps) {
    canvas.text({top.x_mm, y_mm + font_size_mm}, std::to_string(count++), number);
    y_mm =
        canvas.paragraph({top.x_mm + indent_mm, y_mm}, width_mm - indent_mm, step, {.size_mm = font_size_mm});
    y_mm += 0.45 * font_size_mm;
  }
  return y_mm;
}

}  // namespace ripplegauge
