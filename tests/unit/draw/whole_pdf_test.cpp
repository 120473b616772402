#include "draw/whole_pdf.hpp"

#include <string>

#include "catch.hpp"
#include "draw/cairo.hpp"
#include "draw/text.hpp"

using namespace ripplegauge::draw;

namespace {

std::string page_with_text() {
  PdfFile file(200, 100, {"page", "test", ""});
  show_text(file.cairo(), "17.2 mm", 20, 50, {});
  file.end_page();
  return file.finish();
}

std::string without(std::string text, const std::string& part) {
  const std::size_t at = text.find(part);
  REQUIRE(at != std::string::npos);
  return text.replace(at, part.size(), part.size(), ' ');
}

}  // namespace

TEST_CASE("a PDF that lacks what its table speaks of is not whole", "[draw][pdf]") {
  const std::string pdf = page_with_text();
  CHECK(is_whole_pdf(pdf));
  CHECK_FALSE(is_whole_pdf(without(pdf, "3 0 obj")));
  CHECK_FALSE(is_whole_pdf(without(pdf, "endobj")));
  CHECK_FALSE(is_whole_pdf(without(pdf, "%%EOF")));
  CHECK_FALSE(is_whole_pdf(without(pdf, "startxref")));
  for (std::size_t size = 0; size < pdf.size(); size += 1 + pdf.size() / 97)
    CHECK_FALSE(is_whole_pdf(pdf.substr(0, size)));
}

TEST_CASE("tables that cannot be are not whole", "[draw][pdf]") {
  const auto file = [](const std::string& table, const std::string& at) {
    return "1 0 obj\nendobj\n" + table + "startxref\n" + at + "\n%%EOF\n";
  };
  const std::string row0 = "0000000000 65535 f \n", row1 = "0000000000 00000 n \n";
  CHECK(is_whole_pdf(file("xref\n0 2\n" + row0 + row1, "15")));
  for (const char* at : {"", "-1", "99999", "18446744073709551616"})
    CHECK_FALSE(is_whole_pdf(file("xref\n0 2\n" + row0 + row1, at)));
  for (const char* count : {"0", "1", "3", "18446744073709551615", "x"})
    CHECK_FALSE(is_whole_pdf(file(std::string("xref\n0 ") + count + "\n" + row0 + row1, "15")));
}
