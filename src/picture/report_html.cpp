// A report as one HTML file: pictures are inside it, and nothing is loaded from anywhere.
#include "picture/picture.hpp"
#include "picture/report_page.hpp"
#include "report_units.hpp"
#include "words/text.hpp"

namespace ripplegauge {

namespace {

constexpr const char* style_sheet = R"(
:root { color-scheme: light; }
body { margin: 0 auto; padding: 1rem; max-width: 46rem; background: #fff; color: #222;
       overflow-wrap: anywhere;
       font: 1rem/1.5 system-ui, "Segoe UI", Roboto, "Helvetica Neue", Arial, sans-serif; }
h1, h2, p, th, td, figcaption, footer { unicode-bidi: plaintext; }
header { border-bottom: 2px solid #222; padding-bottom: .5rem; margin-bottom: 1rem; }
header p { margin: 0; }
.workshop { font-weight: 600; min-height: 1.5em; }
.blank { border-bottom: 1px dotted #666; max-width: 20rem; }
h1 { font-size: 1.6rem; line-height: 1.2; margin: .3rem 0; }
h2 { font-size: 1.15rem; margin: 1.6rem 0 .4rem; break-after: avoid; }
p { margin: .5rem 0; }
.large { font-size: 1.2rem; font-weight: 600; }
.note { border-left: 4px solid #0072b2; padding: .1rem 0 .1rem .8rem; color: #444; }
.wide { overflow-x: auto; }
table { border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums; }
th, td { overflow-wrap: normal; text-align: left; vertical-align: top; padding: .35rem .6rem .35rem 0;
         border-bottom: 1px solid #ddd; }
th { font-weight: 600; }
.amounts td:last-child, .amounts th:last-child { text-align: right; padding-right: 0; white-space: nowrap; }
.sum tbody tr:last-child > * { border-top: 2px solid #222; font-weight: 600; }
.pictures { display: flex; flex-wrap: wrap; gap: .8rem; margin: .8rem 0; }
figure { margin: 0; flex: 1 1 17rem; break-inside: avoid; }
figure img { width: 100%; height: auto; display: block; }
@media print, (min-width: 40rem) { figure:not(:only-child) { flex: 0 1 calc(50% - .4rem); } }
.small { flex-wrap: nowrap; gap: .4rem; }
.pictures.small figure { flex: 1 1 0; min-width: 0; }
figcaption { font-size: .9rem; color: #555; }
.small figcaption { font-size: .8rem; line-height: 1.25; }
footer { margin-top: 2rem; border-top: 1px solid #ddd; padding-top: .5rem; font-size: .85rem; color: #555; }
@media print {
  body { max-width: none; padding: 0; font-size: 10.5pt; }
  tr, figure { break-inside: avoid; }
}
)";

enum class LongWord { kept, may_break };

/// Clean, and safe as HTML. A long word of a table's cell may end a line every so many characters, since a
/// column is as wide as its longest word.
std::string escaped(const std::string& text, LongWord long_word = LongWord::kept) {
  constexpr std::size_t longest = 24;
  std::string result;
  std::size_t in_word = 0;
  for (const char c : printable(text)) {
    const bool begins_character = (static_cast<unsigned char>(c) & 0xC0) != 0x80;
    if (begins_character && ++in_word > longest && long_word == LongWord::may_break) {
      result += "<wbr>";
      in_word = 1;
    }
    switch (c) {
      case '&':
        result += "&amp;";
        break;
      case '<':
        result += "&lt;";
        break;
      case '>':
        result += "&gt;";
        break;
      case '"':
        result += "&quot;";
        break;
      case ' ':
        in_word = 0;
        [[fallthrough]];
      default:
        result += c;
    }
  }
  return result;
}

/// RFC 4648, section 4.
std::string base64(const std::string& bytes) {
  constexpr char alphabet[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  std::string text;
  text.reserve((bytes.size() + 2) / 3 * 4);
  for (std::size_t i = 0; i < bytes.size(); i += 3) {
    unsigned triple = 0;
    for (std::size_t j = 0; j < 3; ++j)
      triple = triple << 8 | (i + j < bytes.size() ? static_cast<unsigned char>(bytes[i + j]) : 0u);
    for (std::size_t j = 0; j < 4; ++j)
      text += i + j <= bytes.size() ? alphabet[triple >> (18 - 6 * j) & 63u] : '=';
  }
  return text;
}

struct ToHtml {
  std::string operator()(const ReportHeading& heading) const {
    return "<h2>" + escaped(heading.text) + "</h2>\n";
  }
  std::string operator()(const ReportText& text) const {
    return (text.large ? "<p class=\"large\">" : "<p>") + escaped(text.text) + "</p>\n";
  }
  std::string operator()(const ReportNote& note) const {
    return "<p class=\"note\">" + escaped(note.text) + "</p>\n";
  }
  std::string operator()(const ReportTable& table) const {
    const std::string looks = std::string(table.amounts ? "amounts" : "") + (table.ends_in_sum ? " sum" : "");
    std::string html =
        "<div class=\"wide\"><table" + (looks.empty() ? "" : " class=\"" + looks + "\"") + ">\n";
    if (!table.header.empty()) html += "<thead>" + row(table, table.header, "col") + "</thead>\n";
    html += "<tbody>\n";
    for (const auto& cells : table.rows) html += row(table, cells, "row");
    return html + "</tbody></table></div>\n";
  }
  std::string operator()(const ReportPictures& pictures) const {
    std::string html =
        pictures.columns > 2 ? "<div class=\"pictures small\">\n" : "<div class=\"pictures\">\n";
    for (const ReportPicture& picture : pictures.pictures) html += figure(picture);
    return html + "</div>\n";
  }

 private:
  static std::string figure(const ReportPicture& picture) {
    const std::string bytes = picture.photo ? encode_jpeg(picture.bgr) : encode_png(picture.bgr);
    return "<figure><img alt=\"" + escaped(picture.caption) + "\" src=\"data:image/" +
           (picture.photo ? "jpeg" : "png") + ";base64," + base64(bytes) + "\"><figcaption>" +
           escaped(picture.caption) + "</figcaption></figure>\n";
  }

  /// In a header row all cells are headers, elsewhere the first one is.
  static std::string row(const ReportTable& table, const std::vector<std::string>& cells,
                         const std::string& scope) {
    const bool spans = table.amounts && cells.size() == 3 && cells[1].empty();
    std::string html = "<tr>";
    for (std::size_t i = 0; i < cells.size(); ++i) {
      if (spans && i == 1) continue;
      const bool header = scope == "col" || i == 0;
      const std::string span = spans && i == 0 ? " colspan=\"2\"" : "";
      html += header ? "<th scope=\"" + scope + "\"" + span + ">" : "<td>";
      html += escaped(cells[i], LongWord::may_break) + (header ? "</th>" : "</td>");
    }
    return html + "</tr>\n";
  }
};

}  // namespace

std::string report_html(const ReportPage& given) {
  const ReportPage page = picture_detail::in_units_of_its_words(given);
  std::string html = "<!DOCTYPE html>\n<html lang=\"" + escaped(page.words.language()) +
                     "\">\n<head>\n<meta charset=\"utf-8\">\n"
                     "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
                     "<title>" +
                     escaped(page.title) + "</title>\n<style>" + style_sheet +
                     "@page { size: " + (page.words.paper() == PagePaper::letter ? "letter" : "A4") +
                     "; margin: 15mm; }\n" + "</style>\n</head>\n<body>\n<header>\n<p class=\"workshop" +
                     (page.workshop.empty() ? " blank" : "") + "\">" + escaped(page.workshop) + "</p>\n<h1>" +
                     escaped(page.title) + "</h1>\n<p>" + escaped(page.words.date(page.date)) +
                     "</p>\n</header>\n<main>\n";
  for (const ReportBlock& block : page.blocks) html += std::visit(ToHtml{}, block);
  return html + "</main>\n<footer>" + escaped(page.footer) + "</footer>\n</body>\n</html>\n";
}

}  // namespace ripplegauge
