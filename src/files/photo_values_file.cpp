// Reads the table of what differs from photo to photo: pitch, tape, bar, board, panel.
#include "files/photo_values_file.hpp"

#include <algorithm>
#include <charconv>
#include <map>

#include "files/csv.hpp"
#include "json/read_bytes.hpp"
#include "json/shown.hpp"
#include "ripplegauge/core/errors.hpp"
#include "words/text.hpp"

namespace ripplegauge {

namespace {

constexpr std::size_t most_bytes = 4u << 20;  // a hundred bytes for each of forty thousand photos
const std::vector<std::string> known_columns = {
    "photo", "board_pitch_mm", "board_distance_mm", "bar_length_mm", "board", "panel", "set"};
const std::vector<std::string> remark_columns = {"comment", "note", "notes", "remark"};

char separator_of(std::string_view text) {
  const std::string_view header = text.substr(0, text.find('\n'));
  for (const char separator : {';', '\t'})
    if (header.find(separator) != std::string_view::npos) return separator;
  return ',';
}

bool holds(const std::vector<std::string>& words, const std::string& word) {
  return std::find(words.begin(), words.end(), word) != words.end();
}

/// One row by column.
class Row {
 public:
  Row(const CsvRow& row, const std::map<std::string, std::size_t>& columns, const std::string& file,
      bool decimal_comma)
      : row_(row), columns_(columns), file_(file), decimal_comma_(decimal_comma) {}

  std::string text(const std::string& column) const {
    const auto at = columns_.find(column);
    return at == columns_.end() ? "" : trimmed(row_.fields[at->second]);
  }
  std::optional<double> millimetres(const std::string& column) const {
    std::string field = text(column);
    if (field.empty()) return std::nullopt;
    if (decimal_comma_) std::replace(field.begin(), field.end(), ',', '.');
    constexpr double most_mm = 10000;
    double value = 0;
    const auto [end, error] = std::from_chars(field.data(), field.data() + field.size(), value);
    if (error != std::errc() || end != field.data() + field.size() || !(value > 0 && value <= most_mm))
      throw ConfigError(file_, "line " + std::to_string(row_.line) + ", " + column,
                        "\"" + shown(text(column)) + "\"", "it must be a number of millimetres above 0");
    return value;
  }

 private:
  const CsvRow& row_;
  const std::map<std::string, std::size_t>& columns_;
  const std::string& file_;
  bool decimal_comma_;
};

/// '*' stands for any characters; the last one that was met is tried longer where the rest does not fit.
bool fits(std::string_view pattern, std::string_view name) {
  std::size_t p = 0, n = 0, star = std::string_view::npos, star_at = 0;
  while (n < name.size()) {
    if (p < pattern.size() && pattern[p] == '*') {
      star = p++;
      star_at = n;
    } else if (p < pattern.size() && pattern[p] == name[n]) {
      ++p;
      ++n;
    } else if (star != std::string_view::npos) {
      p = star + 1;
      n = ++star_at;
    } else {
      return false;
    }
  }
  while (p < pattern.size() && pattern[p] == '*') ++p;
  return p == pattern.size();
}

bool names(const std::string& pattern, const std::string& photo) {
  const std::string file = photo.substr(photo.rfind('/') + 1);
  return fits(pattern, photo) || fits(pattern, file) ||
         photo.starts_with(pattern.ends_with('/') ? pattern : pattern + "/");
}

}  // namespace

std::vector<PhotoValues> read_photo_values(const std::filesystem::path& file) {
  const std::string text = read_bytes(file, most_bytes), name = file.string();
  const char separator = separator_of(text);
  const std::vector<CsvRow> rows = parse_csv(text, name, separator);
  if (rows.empty()) throw FileError(name, "is empty; its first line names the columns, such as photo,panel");
  std::map<std::string, std::size_t> columns;
  for (std::size_t i = 0; i < rows.front().fields.size(); ++i) {
    const std::string column = lower_case(trimmed(rows.front().fields[i]));
    if (column.empty() || holds(remark_columns, column)) continue;
    if (!holds(known_columns, column) || !columns.emplace(column, i).second)
      throw ConfigError(
          name, "line 1", "\"" + shown(column) + "\"",
          "columns are photo, board_pitch_mm, board_distance_mm, bar_length_mm, board, panel, set, "
          "each once; comment is passed over");
  }
  if (!columns.contains("photo"))
    throw ConfigError(name, "line 1", "without photo", "the column photo says which photos a row is about");
  std::vector<PhotoValues> values;
  for (std::size_t i = 1; i < rows.size(); ++i) {
    const Row row(rows[i], columns, name, separator != ',');
    PhotoValues one{row.text("photo"),
                    row.millimetres("board_pitch_mm"),
                    row.millimetres("board_distance_mm"),
                    row.millimetres("bar_length_mm"),
                    row.text("board"),
                    row.text("panel"),
                    row.text("set"),
                    rows[i].line};
    if (one.photo.empty()) continue;
    if (!one.board_file.empty() && std::filesystem::path(one.board_file).is_relative())
      one.board_file = (file.parent_path() / one.board_file).string();
    values.push_back(std::move(one));
  }
  return values;
}

std::optional<PhotoValues> values_of_photo(const std::vector<PhotoValues>& rows, const std::string& name) {
  std::optional<PhotoValues> all;
  for (const PhotoValues& row : rows) {
    if (!names(row.photo, name)) continue;
    if (!all) all.emplace();
    all->photo = name;
    all->line = row.line;
    const auto take = [](auto& value, const auto& said) {
      if (said) value = said;
    };
    take(all->board_pitch_mm, row.board_pitch_mm);
    take(all->board_distance_mm, row.board_distance_mm);
    take(all->bar_length_mm, row.bar_length_mm);
    if (!row.board_file.empty()) all->board_file = row.board_file;
    if (!row.panel.empty()) all->panel = row.panel;
    if (!row.set.empty()) all->set = row.set;
  }
  return all;
}

}  // namespace ripplegauge
