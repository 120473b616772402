#include "files/csv.hpp"

#include "catch.hpp"
#include "ripplegauge/core/errors.hpp"

using namespace ripplegauge;

namespace {

std::string error_of(std::string_view text) {
  try {
    parse_csv(text, "x.csv");
  } catch (const FileError& error) {
    return error.what();
  }
  return "no error";
}

}  // namespace

TEST_CASE("rows that were written come back", "[csv]") {
  const std::vector<std::string> fields = {"plain",      "",           "comma, inside", "a \"quote\"",
                                           "two\nlines", "T\u00fcr 3", " spaces "};
  const std::string text = csv_line(fields) + csv_line(fields);
  const std::vector<CsvRow> rows = parse_csv(text, "x.csv");
  REQUIRE(rows.size() == 2);
  CHECK(rows[0].fields == fields);
  CHECK(rows[1].fields == fields);
  CHECK(rows[0].line == 1);
  CHECK(rows[1].line == 3);  // the first row has a line break inside
}

TEST_CASE("both line ends, a byte order mark and a missing last line end are read", "[csv]") {
  CHECK(parse_csv("a,b\nc,d", "x").size() == 2);
  CHECK(parse_csv("\xEF\xBB\xBF"
                  "a,b\r\nc,d\r\n",
                  "x")
            .front()
            .fields.front() == "a");
  CHECK(parse_csv("", "x").empty());
  CHECK(parse_csv("a;b\n", "x", ';').front().fields.size() == 2);
  CHECK(parse_csv("\"two\r\nlines\",b\r\n", "x").front().fields.front() == "two\nlines");
}

TEST_CASE("damage is named with its line", "[csv]") {
  CHECK(error_of("a,b\n1,2\n3\n") == "x.csv: line 3 has 1 fields, but the first row has 2");
  CHECK(error_of("a,b\n\"1,2\n3,4\n") == "x.csv: line 2 a quote is opened but never closed");
  CHECK(error_of("a,b\n\"1\"x,2\n") == "x.csv: line 2 a closing quote is followed by more text");
  CHECK(error_of("a,b\n1\"2,3\n") ==
        "x.csv: line 2 a quote stands in the middle of a field that does not begin with one");
  CHECK(error_of(std::string_view("a,b\n1\0,2\n", 9)) ==
        "x.csv: line 2 has a control character; the file is damaged or no UTF-8 text");
  CHECK(error_of("a,b\r1,2\r") ==
        "x.csv: line 1 has a control character; the file is damaged or no UTF-8 text");
  CHECK(error_of("a,b\n\"1\r2\",3\n") ==
        "x.csv: line 2 has a control character; the file is damaged or no UTF-8 text");
}

TEST_CASE("text that a spreadsheet would run is written as text, numbers are left alone", "[csv]") {
  for (const std::string text : {"=1+1", "+A1", "-A1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "\uFF1D1+1", "-",
                                 "-1-1", "=HYPERLINK(\"http://x\",\"y\")"}) {
    INFO(text);
    const auto rows = parse_csv(csv_line({text.find_first_of("\r") == 0 ? "=" : text, "b"}), "t");
    REQUIRE(rows.size() == 1);
    CHECK(rows[0].fields[0].front() == '\'');
    CHECK(csv_line({text}).find('\'') <= 1);
  }
  CHECK(csv_line({"-0.5", "-12", "-1e-07", "bonnet -3", "a=b", ""}) == "-0.5,-12,-1e-07,bonnet -3,a=b,\r\n");
}
