#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace ripplegauge {

struct CsvRow {
  int line = 0;  ///< where it begins in the file, from 1
  std::vector<std::string> fields;
};

/// RFC 4180, read strictly: rows end with CRLF or LF, every row has as many fields as the first, quotes
/// close. A byte order mark at the start is skipped. Throws FileError naming file, line and what is wrong.
std::vector<CsvRow> parse_csv(std::string_view text, const std::string& name, char separator = ',');

/// The same, but rows may have any number of fields, as tables with a title above them do.
std::vector<CsvRow> parse_csv_of_any_width(std::string_view text, const std::string& name,
                                           char separator = ',');

/// One row with its line end; fields are quoted where RFC 4180 asks for it. Text that a spreadsheet would run
/// as a formula gets an apostrophe before it: files are mailed to people who open them in one. Numbers stay
/// as they are.
std::string csv_line(const std::vector<std::string>& fields, char separator = ',');

}  // namespace ripplegauge
