#include "files/quote_file.hpp"

#include <nlohmann/json.hpp>

#include "catch.hpp"
#include "files/csv.hpp"
#include "quote/quote_text.hpp"
#include "unit/english_left.hpp"
#include "unit/quote/made_up.hpp"
#include "words/text.hpp"

using namespace ripplegauge;
using namespace made_up;
using Catch::Matchers::ContainsSubstring;

namespace {

Quote sample_quote() {
  PriceTable table = plain_table();
  table.surcharges = {
      {"aluminium", "aluminium", Rate{250'000}, SurchargeBase::price, std::nullopt, Per::spot}};
  table.caps = {{"", 15000}};
  table.items = {{"call-out", 4000, Per::job, "", true}};
  table.discount = Discount{"trade", Rate{50'000}, std::nullopt};
  table.tax = Tax{"tax", Rate{190'000}};
  table.rounding.cash_step_minor = 5;
  Job job;
  job.vehicle = "blue <estate> & \"co\"";
  add_reading(job, "=roof", reading_of("a.jpg", {dent_at(30, 40, 20.1), dent_at(90, 40, 44)}),
              {"", "now", "a.png"});
  add_by_hand(job, by_hand("bonnet", 12, "torn"), "now");
  panel_named(job, "=roof").facts = {"aluminium"};
  return make_quote(job, table);
}

}  // namespace

TEST_CASE("in the JSON, all lines and the tax are the total", "[quote_file]") {
  const Quote quote = sample_quote();
  const auto json = nlohmann::json::parse(quote_to_json(quote, "ripplegauge 0.1.0"));
  std::int64_t sum_minor = 0;
  REQUIRE(json["lines"].size() == quote.lines.size());
  for (const auto& line : json["lines"]) sum_minor += line["amount_minor"].get<std::int64_t>();
  CHECK(sum_minor + json["tax_minor"].get<std::int64_t>() == json["total_minor"].get<std::int64_t>());
  CHECK(json["currency"] == "EUR");
  CHECK(json["schema"] == 1);
  CHECK(json["lines"][0]["straddles"] == true);
  CHECK(json["spots"][0]["straddles"][0] == "small");
  CHECK(json["spots"][0]["photo"]["name"] == "a.jpg");
  CHECK(json["spots"][0]["photo"]["sha256"] == "hash of a.jpg");
  CHECK(json["spots"][2]["source"] == "hand");
  CHECK(json["unpriced"][0]["spot"] == 3);
}

TEST_CASE("in the CSV, amounts are plain, the rows add up, and no cell is a formula", "[quote_file]") {
  const Quote quote = sample_quote();
  const auto rows = parse_csv(quote_to_csv(quote), "quote.csv");
  REQUIRE(rows.size() == 1 + quote.lines.size() + 2 + quote.unpriced.size());  // header, lines, tax and total
  std::int64_t sum_minor = 0;
  std::optional<std::int64_t> total_minor;
  for (std::size_t i = 1; i < rows.size(); ++i) {
    const auto& fields = rows[i].fields;
    REQUIRE(fields.size() == 15);
    CHECK(fields[12] == quote.vehicle);
    if (fields[1] == "unpriced") {
      CHECK_FALSE(fields[4].empty());  // its size stands there all the same
      continue;
    }
    const auto amount_minor = minor_from_decimal(fields[10], 2);
    REQUIRE(amount_minor.has_value());
    if (fields[1] == "total")
      total_minor = amount_minor;
    else
      sum_minor += *amount_minor;
  }
  CHECK(total_minor == sum_minor);
  CHECK(total_minor == quote.total_minor);
  CHECK(rows[1].fields[0] == "'=roof");
  for (const CsvRow& row : rows)
    for (std::size_t i = 0; i < row.fields.size(); ++i)
      if (i != 10)
        CHECK_FALSE(
            (!row.fields[i].empty() && std::string("=+-@").find(row.fields[i][0]) != std::string::npos));
}

TEST_CASE("the page holds the total, the evidence and no way out of its text", "[quote_file]") {
  const Quote quote = sample_quote();
  QuotePageOptions options;
  options.workshop = "Bay <2>";
  options.date = "2024-05-02";
  options.thumbnails[1] = cv::Mat(60, 80, CV_8UC3, cv::Scalar(40, 80, 160));
  const Display display(quote.currency, "de-DE");
  const std::string html = report_html(quote_page(quote, display, options));
  CHECK_THAT(html, ContainsSubstring("blue &lt;estate&gt; &amp; &quot;co&quot;"));
  CHECK(html.find("<estate>") == std::string::npos);
  CHECK_THAT(html, ContainsSubstring("Bay &lt;2&gt;") && ContainsSubstring(display.money(quote.total_minor)));
  CHECK_THAT(html, ContainsSubstring("data:image/jpeg;base64,") && ContainsSubstring("a.jpg"));
  CHECK(html.find("http") == std::string::npos);
  CHECK(html.find("<script") == std::string::npos);
  CHECK_THAT(html, ContainsSubstring("How many of which size") && ContainsSubstring("20–40 mm"));
  CHECK(html.find("the price file") == std::string::npos);  // remarks are for the workshop
  const std::string pdf = report_pdf(quote_page(quote, display, options));
  CHECK(pdf.substr(0, 5) == "%PDF-");
  CHECK(report_pdf(quote_page(quote, display, options)) == pdf);
}

TEST_CASE("a quote is in its reader's language as a whole", "[quote_file]") {
  Quote quote = sample_quote();
  quote.claim_number = "C-17";
  quote.valid_until = "2026-05-31";
  quote.warnings = {{"dense_fringes", "Inside a dent the stripes run too dense to count surely.", {1}, {}}};
  quote.changes = {{"2026-04-02T10:00:00Z", "", "spot 1", "grade", "none", "torn", "felt by hand"},
                   {"2026-04-02T10:00:00Z", "bay 2", "spot 2", "counts again", "voided: a lamp", "", ""}};
  quote.not_measured.panels = {"Tür"};
  quote.not_measured.photos_to_do = 2;
  const Display display(quote.currency, wording_for("de", "de-DE"));
  QuotePageOptions options;
  options.date = "2024-05-02";
  options.thumbnails[1] = cv::Mat(60, 80, CV_8UC3, cv::Scalar(40, 80, 160));
  const std::string html = report_html(quote_page(quote, display, options));
  const std::string text = quote_text(quote, display, 4000);
  for (const std::string& output : {html, text, quote_to_csv(quote, {"", false, display.words()})}) {
    CAPTURE(output.substr(0, 200));
    CHECK(test::english_left_in(output) == std::vector<std::string>{});
  }
  CHECK_THAT(html, ContainsSubstring("<html lang=\"de\">") && ContainsSubstring("02.05.2024") &&
                       ContainsSubstring("20–40 mm") && ContainsSubstring("size: A4"));
  CHECK_THAT(text, ContainsSubstring("Schadennummer: C-17") && ContainsSubstring("Gültig bis: 31.05.2026") &&
                       ContainsSubstring("Schweregrad von keiner auf torn, Grund: felt by hand") &&
                       ContainsSubstring("zählt wieder (zählte nicht: a lamp); bay 2"));
  CHECK(nlohmann::json::parse(quote_to_json(quote, ""))["unpriced"][0]["reason"] == "beyond pulling");
}

TEST_CASE("the terminal's text keeps to its columns and shows every amount", "[quote_file]") {
  Quote quote = sample_quote();
  for (const char* locale : {"", "de-DE", "fr-CH"}) {
    const Display display(quote.currency, locale);
    const std::string text = quote_text(quote, display, 80);
    std::size_t lines = 0;
    for (std::size_t start = 0; start < text.size(); ++lines) {
      const std::size_t end = text.find('\n', start);
      REQUIRE(end != std::string::npos);
      CAPTURE(text.substr(start, end - start));
      CHECK(display_width(text.substr(start, end - start)) <= 80);
      start = end + 1;
    }
    CHECK(lines > 20);
    CHECK_THAT(text, ContainsSubstring(display.money(quote.total_minor)));
    for (const QuoteLine& line : quote.lines)
      CHECK_THAT(text, ContainsSubstring(display.amount(line.amount_minor)));
    CHECK_THAT(text, ContainsSubstring("between small and middle: priced as middle (nearest)"));
    CHECK_THAT(text, ContainsSubstring("by hand") && ContainsSubstring("beyond pulling"));
    CHECK(text.find('\x1b') == std::string::npos);
  }
}
