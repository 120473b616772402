// Inches and °F on a report, said once for HTML and PDF.
#include "report_units.hpp"

namespace ripplegauge::picture_detail {
namespace {

struct InUnits {
  const Wording& words;

  void operator()(std::string& text) const { text = words.with_units(text); }
  void operator()(ReportHeading& heading) const { (*this)(heading.text); }
  void operator()(ReportText& text) const { (*this)(text.text); }
  void operator()(ReportNote& note) const { (*this)(note.text); }
  void operator()(ReportTable& table) const {
    for (std::string& cell : table.header) (*this)(cell);
    for (auto& row : table.rows)
      for (std::string& cell : row) (*this)(cell);
  }
  void operator()(ReportPictures& pictures) const {
    for (ReportPicture& picture : pictures.pictures) (*this)(picture.caption);
  }
};

}  // namespace

ReportPage in_units_of_its_words(ReportPage page) {
  if (page.words.units().any())
    for (ReportBlock& block : page.blocks) std::visit(InUnits{page.words}, block);
  return page;
}

}  // namespace ripplegauge::picture_detail
