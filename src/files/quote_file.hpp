// A quote as a file: for machines (JSON), for a spreadsheet (CSV) and for the customer (HTML, PDF).
#pragma once

#include <filesystem>
#include <map>
#include <opencv2/core/mat.hpp>
#include <optional>
#include <string>

#include "picture/report_page.hpp"
#include "quote/display.hpp"
#include "quote/quote.hpp"
#include "quote/supplement.hpp"

namespace ripplegauge {

inline constexpr int schema_of_quotes = 1;

/// The sum of all lines[].amount_minor, surcharges, caps and discounts among them, plus tax_minor
/// (unless prices_include_tax) is total_minor.
std::string quote_to_json(const Quote& quote, const std::string& program,
                          const std::optional<Supplement>& supplement = {});

/// A quote that quote_to_json saved, as the first one of a supplement. Throws FileError.
FirstQuote read_first_quote(const std::filesystem::path& file);

struct QuoteCsvOptions {
  std::string date;  ///< "YYYY-MM-DD"
  bool decimal_comma =
      false;  ///< semicolons and decimal commas, for spreadsheets of countries that write 1,5
  Wording words = Wording::plain();  ///< of the column `what`
};

/// RFC 4180 in UTF-8 with a byte order mark, a row a line, then tax and total; no thousands separators. Text
/// that a spreadsheet would take for a formula gets an apostrophe before it.
std::string quote_to_csv(const Quote& quote, const QuoteCsvOptions& options = {});

struct QuotePageOptions {
  std::string workshop;  ///< the workshop's own name
  std::string date;      ///< "YYYY-MM-DD"
  std::string program;   ///< "ripplegauge 0.1.0"
  /// Small annotated pictures (CV_8UC3) by JobPhoto::id: the evidence.
  std::map<int, cv::Mat> thumbnails;
  std::optional<Supplement> supplement{};  ///< to a first quote: the page says what has changed
};

/// The quote as a page: report_html and report_pdf make files of it.
ReportPage quote_page(const Quote& quote, const Display& display, const QuotePageOptions& options);

}  // namespace ripplegauge
