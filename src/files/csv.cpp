// Comma-separated values: read strictly, written so that a spreadsheet takes text for text.
#include "files/csv.hpp"

#include <algorithm>
#include <array>
#include <charconv>

#include "ripplegauge/core/errors.hpp"

namespace ripplegauge {

namespace {

class CsvParser {
 public:
  CsvParser(std::string_view text, const std::string& name, char separator)
      : text_(text), name_(name), separator_(separator) {
    constexpr std::string_view byte_order_mark = "\xEF\xBB\xBF";
    if (text_.substr(0, 3) == byte_order_mark) at_ = 3;
  }

  std::vector<CsvRow> parse(bool any_width = false) {
    std::vector<CsvRow> rows;
    while (at_ < text_.size()) {
      CsvRow row = parse_row();
      if (!any_width && !rows.empty() && row.fields.size() != rows.front().fields.size())
        fail(row.line, "has " + std::to_string(row.fields.size()) + " fields, but the first row has " +
                           std::to_string(rows.front().fields.size()));
      rows.push_back(std::move(row));
    }
    return rows;
  }

 private:
  CsvRow parse_row() {
    CsvRow row{line_, {}};
    while (true) {
      row.fields.push_back(at_end() || text_[at_] != '"' ? plain_field() : quoted_field());
      if (at_end() || end_line()) return row;
      if (text_[at_] != separator_) fail(line_, "a closing quote is followed by more text");
      ++at_;
    }
  }

  std::string plain_field() {
    std::string field;
    while (!at_end() && text_[at_] != separator_ && !at_line_end()) {
      if (text_[at_] == '"')
        fail(line_, "a quote stands in the middle of a field that does not begin with one");
      field += checked(text_[at_++]);
    }
    return field;
  }

  std::string quoted_field() {
    const int first_line = line_;
    std::string field;
    for (++at_; !at_end(); ++at_) {
      if (text_[at_] == '"') {
        ++at_;
        if (at_end() || text_[at_] != '"') return field;
      }
      if (text_.substr(at_, 2) == "\r\n") ++at_;  // a line ends the same whatever wrote the file
      if (text_[at_] == '\n') ++line_;
      field += text_[at_] == '\n' ? '\n' : checked(text_[at_]);
    }
    fail(first_line, "a quote is opened but never closed");
  }

  bool at_end() const { return at_ >= text_.size(); }
  bool at_line_end() const { return text_[at_] == '\n' || text_.substr(at_, 2) == "\r\n"; }

  bool end_line() {
    if (!at_line_end()) return false;
    at_ += text_[at_] == '\r' ? 2 : 1;
    ++line_;
    return true;
  }

  char checked(char c) const {
    if ((static_cast<unsigned char>(c) < 0x20 && c != '\t') || c == 0x7f)
      fail(line_, "has a control character; the file is damaged or no UTF-8 text");
    return c;
  }

  [[noreturn]] void fail(int line, const std::string& problem) const {
    throw FileError(name_, "line " + std::to_string(line) + " " + problem);
  }

  std::string_view text_;
  const std::string& name_;
  char separator_;
  std::size_t at_ = 0;
  int line_ = 1;
};

/// With a decimal comma where the separator leaves it free.
bool is_number(std::string text, char separator) {
  if (separator != ',') std::replace(text.begin(), text.end(), ',', '.');
  double ignored = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), ignored);
  return error == std::errc() && end == text.data() + text.size();
}

/// Whether a spreadsheet would run the text as a formula. Some take the wide forms of East Asian keyboards,
/// too.
bool begins_like_formula(std::string_view text, char separator) {
  constexpr std::array<std::string_view, 11> beginnings = {"=",  "+",      "-",      "@",      "\t",    "\r",
                                                           "\n", "\uFF1D", "\uFF0B", "\uFF0D", "\uFF20"};
  for (const std::string_view beginning : beginnings)
    if (text.starts_with(beginning)) return !is_number(std::string(text), separator);
  return false;
}

}  // namespace

std::vector<CsvRow> parse_csv(std::string_view text, const std::string& name, char separator) {
  return CsvParser(text, name, separator).parse();
}

std::vector<CsvRow> parse_csv_of_any_width(std::string_view text, const std::string& name, char separator) {
  return CsvParser(text, name, separator).parse(true);
}

std::string csv_line(const std::vector<std::string>& fields, char separator) {
  const std::string special = std::string("\"\r\n") + separator;
  std::string line;
  for (const std::string& field : fields) {
    if (&field != &fields.front()) line += separator;
    const std::string text = (begins_like_formula(field, separator) ? "'" : "") + field;
    if (text.find_first_of(special) == std::string::npos) {
      line += text;
      continue;
    }
    line += '"';
    for (const char c : text) line += c == '"' ? std::string("\"\"") : std::string(1, c);
    line += '"';
  }
  return line + "\r\n";
}

}  // namespace ripplegauge
