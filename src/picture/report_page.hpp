// A page for people: said once, shown as HTML that reads on a phone and prints, or as PDF.
#pragma once

#include <opencv2/core/mat.hpp>
#include <string>
#include <variant>
#include <vector>

#include "words/wording.hpp"

namespace ripplegauge {

struct ReportHeading {
  std::string text;
};

struct ReportText {
  std::string text;
  bool large = false;  ///< the one sentence that matters
};

/// Set apart: what the reader has to know to read the figures right.
struct ReportNote {
  std::string text;
};

/// The first column names the row. Short cells: the page has to fit a phone.
struct ReportTable {
  std::vector<std::string> header;
  std::vector<std::vector<std::string>> rows;
  /// The last column holds amounts, one below the other to the right; an empty cell before it leaves its room
  /// to the first one.
  bool amounts = false;
  bool ends_in_sum = false;  ///< the last row is what those above it come to
};

/// Pictures of one block stand side by side where the page is wide enough.
struct ReportPicture {
  cv::Mat bgr;  ///< CV_8UC3
  std::string caption;
  bool photo = false;  ///< kept as JPEG; else as PNG, which keeps lines sharp
};
struct ReportPictures {
  std::vector<ReportPicture> pictures;
  int columns =
      2;  ///< 3 for a contact sheet: small, on a phone too; in the PDF also where pictures are evidence
};

using ReportBlock = std::variant<ReportHeading, ReportText, ReportNote, ReportTable, ReportPictures>;

struct ReportPage {
  std::string title;
  std::string workshop;  ///< the workshop's own name; empty leaves a line to write it on
  std::string date;      ///< "YYYY-MM-DD"; shown as the reader writes dates
  std::vector<ReportBlock> blocks;
  std::string footer;
  Wording words = Wording::plain();  ///< of what every page says; language and paper
};

/// One file with everything inside: no script, no link, nothing fetched.
std::string report_html(const ReportPage& page);

/// As many pages as it takes. The same page gives the same bytes.
std::string report_pdf(const ReportPage& page);

}  // namespace ripplegauge
