#include "picture/report_page.hpp"

#include "catch.hpp"

using namespace ripplegauge;
using Catch::Matchers::ContainsSubstring;

namespace {

ReportPage page_of(int paragraphs) {
  ReportPage page;
  page.title = "Before & after";
  page.workshop = "Caf\u00e9 \"Dent\"";
  page.date = "2026-03-14";
  page.footer = "A footer.";
  page.blocks.push_back(ReportTable{{"", "before"}, {{"depth", "0.50 mm <low>"}}});
  page.blocks.push_back(
      ReportPictures{{{cv::Mat(40, 60, CV_8UC3, cv::Scalar(10, 20, 200)), "photo", true},
                      {cv::Mat(40, 60, CV_8UC3, cv::Scalar(255, 255, 255)), "map", false}}});
  for (int i = 0; i < paragraphs; ++i)
    page.blocks.push_back(
        ReportText{"Words that fill a line and then some more of them, to see it turn.", false});
  return page;
}

std::size_t count(const std::string& text, const std::string& what) {
  std::size_t found = 0;
  for (auto at = text.find(what); at != std::string::npos; at = text.find(what, at + 1)) ++found;
  return found;
}

}  // namespace

TEST_CASE("a page as HTML is whole, escaped and fetches nothing", "[report_page]") {
  const std::string html = report_html(page_of(2));
  CHECK_THAT(html, ContainsSubstring("<title>Before &amp; after</title>"));
  CHECK_THAT(html, ContainsSubstring("Caf\u00e9 &quot;Dent&quot;"));
  CHECK_THAT(html, ContainsSubstring("0.50 mm &lt;low&gt;"));
  CHECK(count(html, "data:image/jpeg;base64,/9j/") == 1);        // how every JPEG begins
  CHECK(count(html, "data:image/png;base64,iVBORw0KGgo") == 1);  // how every PNG begins
  CHECK(count(html, "<script") + count(html, "http") == 0);
  CHECK(count(html, "<p>Words") == 2);
}

TEST_CASE("a contact sheet's pictures are small, three in a row", "[report_page]") {
  ReportPage page = page_of(0);
  ReportPictures row{{}, 3};
  for (int i = 0; i < 3; ++i)
    row.pictures.push_back({cv::Mat(60, 60, CV_8UC3, cv::Scalar(9, 9, 9)), "photo", true});
  for (int pair = 0; pair < 4; ++pair) page.blocks.emplace_back(row);
  CHECK(count(report_html(page), "class=\"pictures small\"") == 4);
  CHECK(count(report_pdf(page), "/DCTDecode") == 13);  // twelve and the page's own
}

TEST_CASE("a page as PDF turns the page where it is full, and is the same every time", "[report_page]") {
  const std::string one = report_pdf(page_of(2)), many = report_pdf(page_of(120));
  CHECK(one.substr(0, 5) == "%PDF-");
  CHECK(report_pdf(page_of(2)) == one);
  CHECK(many.size() > one.size());
  CHECK_THAT(one, ContainsSubstring("/DCTDecode"));  // the photo went in as JPEG
  CHECK(report_pdf(ReportPage{}).substr(0, 5) == "%PDF-");
}

TEST_CASE("a page has its reader's paper, date and language", "[report_page]") {
  ReportPage page = page_of(0);
  page.date = "2026-04-02";
  CHECK_THAT(report_pdf(page), ContainsSubstring("595.2"));
  CHECK_THAT(report_html(page), ContainsSubstring("size: A4") && ContainsSubstring("<html lang=\"en\">"));
  page.words = wording_for("de", "en-US");
  CHECK_THAT(report_pdf(page), ContainsSubstring("612 792"));
  CHECK_THAT(report_html(page), ContainsSubstring("size: letter") &&
                                    ContainsSubstring("<html lang=\"de\">") &&
                                    ContainsSubstring("04/02/2026"));
}

TEST_CASE("text that is no UTF-8, endless or empty does not stop a page", "[report_page]") {
  ReportPage page = page_of(0);
  page.workshop = "\xff\xfe";
  page.blocks.push_back(ReportText{std::string(3000, 'x'), true});
  page.blocks.push_back(ReportText{"", false});
  page.blocks.push_back(ReportTable{{}, {}});
  page.blocks.push_back(ReportPictures{});
  CHECK(report_pdf(page).substr(0, 5) == "%PDF-");
  CHECK_THAT(report_html(page), ContainsSubstring("</html>"));
}

TEST_CASE("a name cannot turn the rest of a page round, nor push a column off it", "[report_page]") {
  ReportPage page = page_of(0);
  page.title = "quote \u202Eevil";
  page.blocks.push_back(ReportTable{{"name"}, {{std::string(60, 'n') + "&"}, {"bonnet with a usual name"}}});
  const std::string html = report_html(page);
  CHECK(count(html, "\u202E") == 0);
  CHECK(count(html, "quote \uFFFDevil") == 2);  // title and heading
  CHECK(count(html, std::string(24, 'n') + "<wbr>") == 2);
  CHECK_THAT(html, ContainsSubstring("bonnet with a usual name"));
  CHECK_THAT(html, ContainsSubstring("n&amp;"));
}

TEST_CASE("a page tells lengths and temperatures in the units of its words", "[report_page]") {
  ReportPage page = page_of(0);
  page.blocks.push_back(ReportHeading{"8 mm wide"});
  page.blocks.push_back(ReportText{"Pull at 34 °C.", false});
  page.blocks.push_back(ReportNote{"1 to 2 mm"});
  CHECK_THAT(report_html(page), !ContainsSubstring(" in]"));
  page.words = Wording::plain().in({.inches = true, .fahrenheit = true});
  const std::string html = report_html(page);
  for (const char* part : {"0.50 mm [0.0197 in] &lt;low&gt;", "8 mm [0.315 in] wide", "Pull at 93 °F.",
                           "1 to 2 mm [0.039 to 0.079 in]"})
    CHECK_THAT(html, ContainsSubstring(part));
}
