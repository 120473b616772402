// The table of a PDF's objects, followed from the file's end.
#include "draw/whole_pdf.hpp"

#include <algorithm>
#include <charconv>
#include <optional>
#include <string>
#include <vector>

namespace ripplegauge::draw {
namespace {

constexpr std::string_view file_end = "%%EOF\n", table_mark = "startxref\n", table_begin = "xref\n0 ",
                           object_end = "endobj\n";
constexpr std::size_t row_bytes = 20, offset_digits = 10;

std::optional<std::size_t> number_at(std::string_view text, std::size_t at) {
  std::size_t number = 0;
  if (at >= text.size()) return std::nullopt;
  const auto [end, error] = std::from_chars(text.data() + at, text.data() + text.size(), number);
  return error == std::errc() && end != text.data() + at ? std::optional(number) : std::nullopt;
}

/// Where the objects of a table begin, in the order of the file; nothing where one does not stand there.
std::optional<std::vector<std::size_t>> objects_of(std::string_view pdf, std::size_t table) {
  const auto count = number_at(pdf, table + table_begin.size());
  const std::size_t rows = pdf.find('\n', table + table_begin.size());
  if (!count || rows == std::string_view::npos || (pdf.size() - rows) / row_bytes < *count)
    return std::nullopt;
  std::vector<std::size_t> begins;
  for (std::size_t i = 1; i < *count; ++i) {  // number 0 is none
    const auto begin = number_at(pdf.substr(rows + 1 + i * row_bytes, offset_digits), 0);
    if (!begin || *begin >= table || !pdf.substr(*begin).starts_with(std::to_string(i) + " 0 obj"))
      return std::nullopt;
    begins.push_back(*begin);
  }
  std::sort(begins.begin(), begins.end());
  return begins;
}

}  // namespace

bool is_whole_pdf(std::string_view pdf) {
  const std::size_t mark = pdf.rfind(table_mark);
  if (!pdf.ends_with(file_end) || mark == std::string_view::npos) return false;
  const auto table = number_at(pdf, mark + table_mark.size());
  if (!table || *table >= mark) return false;
  if (!pdf.substr(*table).starts_with(table_begin)) return true;
  const auto begins = objects_of(pdf, *table);
  if (!begins || begins->empty()) return false;
  const auto ends_at = [&](std::size_t end) { return pdf.substr(0, end).ends_with(object_end); };
  return ends_at(*table) && std::all_of(begins->begin() + 1, begins->end(), ends_at);
}

}  // namespace ripplegauge::draw
