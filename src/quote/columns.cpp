// Text with amounts at the right edge; what is too long goes on in the next line.
#include "columns.hpp"

#include <algorithm>
#include <vector>

#include "words/text.hpp"

namespace ripplegauge {

void AmountColumn::line(std::string_view text) {
  text_ += text.substr(0, text.find_last_not_of(' ') + 1);
  text_ += '\n';
}

void AmountColumn::rule() { line(std::string(static_cast<std::size_t>(columns_), '-')); }

void AmountColumn::paragraph(std::string_view text, int indent) {
  const std::string space(static_cast<std::size_t>(indent), ' ');
  for (const std::string& part : wrapped(text, columns_ - indent)) line(space + part);
}

void AmountColumn::with_amount(const std::string& text, const std::string& amount, int indent) {
  const std::string space(static_cast<std::size_t>(indent), ' ');
  const int room = columns_ - indent - display_width(amount) - 2;
  std::vector<std::string> parts = wrapped(text, std::max(10, room));
  if (parts.empty()) parts.emplace_back();
  for (std::size_t i = 0; i + 1 < parts.size(); ++i) line(space + parts[i]);
  line(padded_right(space + parts.back(), columns_ - display_width(amount)) + amount);
}

void AmountColumn::hanging(const std::string& start, const std::string& text, const std::string& amount) {
  constexpr int amount_room = 14;  // as wide everywhere, so that the text beside it is, too
  const int indent = display_width(start);
  const std::vector<std::string> parts = wrapped(text, std::max(10, columns_ - indent - amount_room));
  line(padded_right(start + (parts.empty() ? "" : parts.front()), columns_ - display_width(amount)) + amount);
  for (std::size_t i = 1; i < parts.size(); ++i)
    line(std::string(static_cast<std::size_t>(indent), ' ') + parts[i]);
}

}  // namespace ripplegauge
