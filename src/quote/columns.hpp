// Lines of text with amounts at the right edge.
#pragma once

#include <string>
#include <string_view>
#include <utility>

namespace ripplegauge {

class AmountColumn {
 public:
  explicit AmountColumn(int columns) : columns_(columns < 40 ? 40 : columns) {}

  void line(std::string_view text = "");
  void rule();
  void paragraph(std::string_view text, int indent = 0);
  /// The amount stands at the end of the last line of its text.
  void with_amount(const std::string& text, const std::string& amount, int indent = 0);
  /// Text behind a start that is not broken: it runs on below itself. The amount stands on the first line.
  void hanging(const std::string& start, const std::string& text, const std::string& amount);
  std::string take() { return std::move(text_); }

 private:
  int columns_;
  std::string text_;
};

}  // namespace ripplegauge
