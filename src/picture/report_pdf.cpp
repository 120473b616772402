// A report as a printable file: blocks set below each other on pages.
#include <algorithm>
#include <memory>

#include "drawing.hpp"
#include "picture/picture.hpp"
#include "picture/report_page.hpp"
#include "report_units.hpp"

namespace ripplegauge {

using namespace picture_detail;

namespace {

/// In points, 72 an inch (ISO 32000-1, 8.3.2.3): A4 is 210 x 297 mm (ISO 216), Letter 8.5 x 11 inches.
struct PaperPoints {
  double width, height;
};
constexpr PaperPoints a4{595.276, 841.890}, letter{612, 792};
PaperPoints points_of(PagePaper paper) { return paper == PagePaper::letter ? letter : a4; }

constexpr double side_margin = 48, bottom_margin = 60;
constexpr double body_size = 10.5, small_size = 8.5, leading = 1.4;
constexpr double tallest_picture = 330;

constexpr Rgb soft_ink = rgb_from_hex(0x555555);
const TextStyle plain_style{body_size, palette::ink}, bold_style{body_size, palette::ink, Align::left, true},
    note_style{body_size, soft_ink}, caption_style{small_size, soft_ink};

/// The picture as Cairo paints it. A photo also carries its JPEG bytes, which Cairo then puts into the PDF as
/// they are.
Surface surface_of(const ReportPicture& picture) {
  Surface surface = draw::surface_of(picture.bgr);
  if (!picture.photo) return surface;
  auto jpeg = std::make_unique<std::string>(encode_jpeg(picture.bgr));
  const auto* bytes = reinterpret_cast<const unsigned char*>(jpeg->data());
  const auto destroy = [](void* text) { delete static_cast<std::string*>(text); };
  require(cairo_surface_set_mime_data(surface.get(), CAIRO_MIME_TYPE_JPEG, bytes, jpeg->size(), destroy,
                                      jpeg.get()));
  static_cast<void>(jpeg.release());  // the surface owns it now
  return surface;
}

/// Sets blocks from top to bottom and turns the page where one does not fit.
class Typesetter {
 public:
  Typesetter(cairo_t* cairo, const ReportPage& page)
      : cairo_(cairo), page_(page), paper_(points_of(page.words.paper())) {}

  void set() {
    header();
    for (std::size_t i = 0; i < page_.blocks.size(); ++i) {
      const auto* pictures =
          i + 1 < page_.blocks.size() ? std::get_if<ReportPictures>(&page_.blocks[i + 1]) : nullptr;
      if (pictures != nullptr && std::holds_alternative<ReportHeading>(page_.blocks[i]))
        need(60 + first_row_height(*pictures));
      std::visit(*this, page_.blocks[i]);
    }
    end_page();
  }

  void operator()(const ReportHeading& heading) {
    y_ += 10;
    need(60);  // a heading does not stand alone at the foot of a page
    paragraph(heading.text, {12.5, palette::ink, Align::left, true}, side_margin, page_width());
    y_ += 2;
  }
  void operator()(const ReportText& text) {
    paragraph(text.text, text.large ? TextStyle{13, palette::ink, Align::left, true} : plain_style,
              side_margin, page_width());
    y_ += 5;
  }
  void operator()(const ReportNote& note) {
    const double top = y_;
    const int page_before = page_number_;
    paragraph(note.text, note_style, side_margin + 10, page_width() - 10);
    if (page_number_ == page_before) {
      set_colour(cairo_, palette::low);
      cairo_rectangle(cairo_, side_margin, top + 3, 3, y_ - top);
      cairo_fill(cairo_);
    }
    y_ += 5;
  }
  void operator()(const ReportTable& table) {
    const std::vector<double> widths = column_widths(table);
    if (!table.header.empty()) row(table, table.header, widths, RowKind::header);
    for (std::size_t i = 0; i < table.rows.size(); ++i) {
      const bool sum_follows = table.ends_in_sum && i + 2 == table.rows.size();
      const bool is_sum = table.ends_in_sum && i + 1 == table.rows.size();
      const double then =
          sum_follows ? row_height(row_lines(table, table.rows[i + 1], widths, RowKind::sum)) : 0;
      row(table, table.rows[i], widths, is_sum ? RowKind::sum : RowKind::plain, then);
    }
    y_ += 8;
  }
  void operator()(const ReportPictures& pictures) {
    const auto columns = static_cast<std::size_t>(pictures.columns);
    for (std::size_t i = 0; i < pictures.pictures.size(); i += columns) {
      const std::size_t count = std::min(columns, pictures.pictures.size() - i);
      picture_row(&pictures.pictures[i], count, pictures.columns > 2 ? columns : count);
    }
  }

 private:
  /// About what the first row of pictures needs, so that a heading is not left alone above it.
  double first_row_height(const ReportPictures& pictures) const {
    const auto count = std::min(static_cast<std::size_t>(pictures.columns), pictures.pictures.size());
    double tallest = 0;
    for (std::size_t i = 0; i < count; ++i) {
      const cv::Mat& picture = pictures.pictures[i].bgr;
      tallest = std::max(tallest, page_width() / static_cast<double>(count) * picture.rows / picture.cols);
    }
    return std::min(tallest, tallest_picture);
  }

  double page_width() const { return paper_.width - 2 * side_margin; }

  void paragraph(const std::string& text, const TextStyle& style, double x, double width) {
    for (const std::string& line : lines_of(text, style, width)) {
      need(style.size * leading);
      y_ += style.size * leading;
      show_text(cairo_, line, x, y_, style);
    }
  }

  void rule(double x, double width, double y, double thickness, double grey) {
    cairo_set_source_rgb(cairo_, grey, grey, grey);
    cairo_rectangle(cairo_, x, y, width, thickness);
    cairo_fill(cairo_);
  }

  /// The first cell of this row reaches over the second one.
  static bool leaves_room(const ReportTable& table, const std::vector<std::string>& cells) {
    return table.amounts && cells.size() == 3 && cells[1].empty();
  }

  /// What the widest cell of each column needs. Where that is more than the page has, columns that need less
  /// than an equal share keep what they need, and the others share the rest.
  std::vector<double> column_widths(const ReportTable& table) const {
    std::vector<double> widths;
    const auto measure = [&](const std::vector<std::string>& cells) {
      widths.resize(std::max(widths.size(), cells.size()), 0);
      for (std::size_t i = leaves_room(table, cells) ? 1 : 0; i < cells.size(); ++i)
        widths[i] = std::max(widths[i], text_width(cells[i], bold_style) + 12);
    };
    measure(table.header);
    for (const auto& cells : table.rows) measure(cells);
    std::vector<double> narrow_first = widths;
    std::sort(narrow_first.begin(), narrow_first.end());
    double room = page_width(), share = room;
    for (std::size_t i = 0; i < narrow_first.size(); ++i) {
      share = room / static_cast<double>(narrow_first.size() - i);
      if (narrow_first[i] > share) break;
      room -= narrow_first[i];
      share = narrow_first[i];
    }
    for (double& width : widths) width = std::min(width, share);
    if (table.amounts && widths.size() > 1) {  // amounts of all tables of a page stand below each other
      double others = 0;
      for (std::size_t i = 1; i + 1 < widths.size(); ++i) others += widths[i];
      if (widths.size() > 2)
        widths[widths.size() - 2] += page_width() - others - widths.front() - widths.back();
      else
        widths.front() = page_width() - widths.back();
    }
    return widths;
  }

  enum class RowKind { header, plain, sum };

  static TextStyle cell_style(const ReportTable& table, RowKind kind, std::size_t column,
                              std::size_t columns) {
    TextStyle style = kind != RowKind::plain || column == 0 ? bold_style : plain_style;
    if (table.amounts && column + 1 == columns) style.align = Align::right;
    return style;
  }

  using CellLines = std::vector<std::vector<std::string>>;
  static CellLines row_lines(const ReportTable& table, const std::vector<std::string>& cells,
                             const std::vector<double>& widths, RowKind kind) {
    const bool spans = leaves_room(table, cells);
    CellLines lines;
    for (std::size_t i = 0; i < cells.size(); ++i) {
      const double room = widths[i] + (spans && i == 0 ? widths[1] : 0);
      lines.push_back(lines_of(cells[i], cell_style(table, kind, i, cells.size()), room - 8));
    }
    return lines;
  }
  static double row_height(const CellLines& lines) {
    std::size_t most = 1;
    for (const auto& cell : lines) most = std::max(most, cell.size());
    return static_cast<double>(most) * body_size * leading + 4;
  }

  /// `then` is what must stand on the same page below it: a sum is not left alone.
  void row(const ReportTable& table, const std::vector<std::string>& cells, const std::vector<double>& widths,
           RowKind kind, double then = 0) {
    const CellLines lines = row_lines(table, cells, widths, kind);
    const double height = row_height(lines);
    const int page_before = page_number_;
    need(height + then);
    if (page_number_ != page_before && kind != RowKind::header && !table.header.empty())
      row(table, table.header, widths, RowKind::header);  // a table that runs on says again what is in it
    const double top = y_;
    double x = side_margin, sum = 0;
    for (std::size_t i = 0; i < cells.size(); ++i) {
      y_ = top;
      const TextStyle style = cell_style(table, kind, i, cells.size());
      for (const std::string& line : lines[i]) {
        y_ += body_size * leading;
        show_text(cairo_, line, style.align == Align::right ? x + widths[i] : x, y_, style);
      }
      x += widths[i];
    }
    for (const double width : widths) sum += width;
    y_ = top + height;
    if (kind == RowKind::sum) rule(side_margin, sum, top, 1.0, 0.13);
    rule(side_margin, sum, y_, 0.6, kind == RowKind::header ? 0.4 : 0.8);
  }

  void picture_row(const ReportPicture* pictures, std::size_t count, std::size_t places) {
    constexpr double gap = 12;
    const double cell = (page_width() - gap * static_cast<double>(places - 1)) / static_cast<double>(places);
    struct Placed {
      Surface surface;
      double scale = 1, height = 0;
      std::vector<std::string> caption;
    };
    std::vector<Placed> placed;
    double tallest = 0;
    for (std::size_t i = 0; i < count; ++i) {
      Placed one;
      one.surface = surface_of(pictures[i]);
      const double width = pictures[i].bgr.cols, height = pictures[i].bgr.rows;
      one.scale = std::min(cell / width, tallest_picture / height);
      one.caption = lines_of(pictures[i].caption, caption_style, cell);
      one.height = height * one.scale;
      tallest =
          std::max(tallest, one.height + static_cast<double>(one.caption.size()) * small_size * leading + 4);
      placed.push_back(std::move(one));
    }
    need(tallest + 8);
    const double top = y_ + 6;
    for (std::size_t i = 0; i < count; ++i) {
      const double x = side_margin + static_cast<double>(i) * (cell + gap);
      cairo_save(cairo_);
      cairo_translate(cairo_, x, top);
      cairo_scale(cairo_, placed[i].scale, placed[i].scale);
      cairo_set_source_surface(cairo_, placed[i].surface.get(), 0, 0);
      cairo_paint(cairo_);
      cairo_restore(cairo_);
      y_ = top + placed[i].height;
      for (const std::string& line : placed[i].caption) {
        y_ += small_size * leading;
        show_text(cairo_, line, x, y_, caption_style);
      }
    }
    y_ = top + tallest + 4;
  }

  void header() {
    if (page_.workshop.empty()) {
      y_ += body_size * leading;
      rule(side_margin, 220, y_, 0.6, 0.5);  // to write the name on
    } else {
      paragraph(page_.workshop, bold_style, side_margin, page_width());
    }
    y_ += 4;
    paragraph(page_.title, {19, palette::ink, Align::left, true}, side_margin, page_width());
    y_ += 5;  // some scripts reach far below the line
    paragraph(page_.words.date(page_.date), plain_style, side_margin, page_width());
    y_ += 8;
    rule(side_margin, page_width(), y_, 1.4, 0.13);
    y_ += 10;
  }

  void need(double height) {
    if (y_ + height <= paper_.height - bottom_margin || y_ <= side_margin) return;
    end_page();
    ++page_number_;
    y_ = side_margin;
  }

  void end_page() {
    rule(side_margin, page_width(), paper_.height - 46, 0.6, 0.8);
    y_ = paper_.height - 44;
    const double right = 60;
    const std::vector<std::string> lines = lines_of(page_.footer, caption_style, page_width() - right);
    for (std::size_t i = 0; i < std::min<std::size_t>(lines.size(), 2); ++i) {
      y_ += small_size * leading;
      show_text(cairo_, lines[i], side_margin, y_, caption_style);
    }
    show_text(cairo_, page_.words("page.number", {{"number", page_number_}}), paper_.width - side_margin,
              paper_.height - 44 + small_size * leading, {small_size, soft_ink, Align::right});
    cairo_show_page(cairo_);
  }

  cairo_t* cairo_;
  const ReportPage& page_;
  PaperPoints paper_;
  double y_ = side_margin;
  int page_number_ = 1;
};

}  // namespace

std::string report_pdf(const ReportPage& given) {
  const ReportPage page = in_units_of_its_words(given);
  const PaperPoints paper = points_of(page.words.paper());
  PdfFile file(paper.width, paper.height, {page.title, page.workshop, page.date});
  Typesetter(file.cairo(), page).set();
  return file.finish();
}

}  // namespace ripplegauge
