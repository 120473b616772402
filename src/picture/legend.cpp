// The rows below the photo: what was found, spot by spot, and what was warned of.
#include "legend.hpp"

#include <algorithm>
#include <cmath>

#include "ripplegauge/core/crease.hpp"
#include "ripplegauge/core/no_dent_words.hpp"

namespace ripplegauge::picture_detail {
namespace {

// In text sizes.
constexpr double margin = 0.9, badge_column = 2.3, line_height = 1.35, row_gap = 0.9, band_padding = 0.8;

/// More than that nobody reads on a picture, and a picture cannot grow for ever.
constexpr std::size_t most_dents = 40, most_notes = 4, most_warnings = 8;

std::string counted(std::size_t count, const std::string& one, const std::string& many) {
  return std::to_string(count) + " " + (count == 1 ? one : many);
}

std::string outcome(const Reading& reading) {
  const auto lows = static_cast<std::size_t>(std::count_if(
      reading.dents.begin(), reading.dents.end(), [](const Dent& d) { return d.kind == Kind::low; }));
  const std::size_t highs = reading.dents.size() - lows;
  if (lows == 0) return counted(highs, "high spot", "high spots");
  if (highs == 0) return counted(lows, "low spot", "low spots");
  return counted(lows, "low spot", "low spots") + ", " + counted(highs, "high spot", "high spots");
}

std::string file_name(const std::string& path) {
  const std::size_t slash = path.find_last_of('/');
  return slash == std::string::npos ? path : path.substr(slash + 1);
}

bool is_elongated(const Dent& dent) { return dent.length_mm.value > 1.15 * dent.width_mm.value; }

std::string depth_words(const Dent& dent) {
  const char* noun = dent.kind == Kind::low ? "depth " : "height ";
  return noun + (dent.depth_mm ? with_interval(*dent.depth_mm, "mm") : std::string("not known"));
}

/// The reason begins with the grade as it is said, "moderate, perhaps sharp: ...", which may say more than
/// the word alone.
std::string grade_of(const Dent& dent) {
  const std::size_t colon = dent.severity_reason.find(": ");
  return dent.severity_reason.starts_with(dent.severity) && colon != std::string::npos
             ? dent.severity_reason.substr(0, colon)
             : dent.severity;
}

std::string reason_alone(const Dent& dent) {
  const std::string grade = grade_of(dent) + ": ";
  return dent.severity_reason.starts_with(grade) ? dent.severity_reason.substr(grade.size())
                                                 : dent.severity_reason;
}

/// A crease is known by its length and width, everything else by its diameter.
std::string size_words(const Dent& dent) {
  if (!is_crease(dent)) return with_interval(dent.diameter_mm, "mm");
  return "crease, " + with_interval(dent.length_mm, "") + " × " + with_interval(dent.width_mm, "mm");
}

}  // namespace

Legend::Legend(const Reading& reading, const std::vector<std::string>& coins, double width, double text_size)
    : many_(reading.dents.size() > 4),
      sections_(scale_of(reading.dents)),
      width_(width),
      size_(many_ ? 0.85 * text_size : text_size),
      plot_width_(0.4 * width) {
  lay_out_band(reading);
  lay_out_heading(reading);
  for (std::size_t i = 0; i < std::min(reading.dents.size(), most_dents); ++i)
    lay_out_dent(reading.dents[i], static_cast<int>(i + 1), i < coins.size() ? coins[i] : std::string());
  lay_out_warnings(reading);
  for (const Band& band : bands_) height_ += height_of(band.lines) + 2 * band_padding * size_;
  for (const Row& row : rows_) height_ += row.height;
  height_ += margin * size_;
}

void Legend::lay_out_band(const Reading& reading) {
  const TextStyle title{1.3 * size_, palette::paper, Align::left, true},
      text{size_, palette::paper, Align::left, false};
  const double inner = width_ - 2 * margin * size_;
  Band band;
  if (reading.status == Status::refused) {
    band.colour = palette::warning;
    add(band.lines, "Not measured", title, inner, 1);
    if (reading.refusal) {
      add(band.lines, reading.refusal->message, text, inner, 4);
      add(band.lines, "What to do: " + reading.refusal->remedy, text, inner, 4);
    }
  } else if (reading.status == Status::no_dent) {
    band.colour = palette::good;
    add(band.lines, no_dent_headline(reading.setup), title, inner, 3);
    add(band.lines, smallest_visible_words(reading.setup), text, inner, 3);
  } else {
    return;
  }
  bands_.push_back(band);
}

void Legend::lay_out_heading(const Reading& reading) {
  Row row;
  const double inner = width_ - 2 * margin * size_;
  if (!reading.dents.empty())
    add(row.lines, outcome(reading), {1.25 * size_, palette::ink, Align::left, true}, inner, 1);
  std::string about = file_name(reading.photo.name);
  if (!reading.photo.date_taken.empty()) about += ", taken " + reading.photo.date_taken;
  if (!reading.dents.empty()) about += ". In brackets: 95 % interval.";
  add(row.lines, about, {0.8 * size_, palette::grey, Align::left, false}, inner, 2);
  row.height = height_of(row.lines) + row_gap * size_;
  rows_.push_back(row);
}

void Legend::lay_out_dent(const Dent& dent, int number, const std::string& coin) {
  Row row;
  row.dent = &dent;
  row.number = number;
  const double inner = width_ - (2 * margin + badge_column + 0.5) * size_ - plot_width_;
  const TextStyle plain{0.9 * size_, palette::ink, Align::left, false},
      quiet{0.8 * size_, palette::grey, Align::left, false};
  const std::string kind = dent.kind == Kind::low ? "Low, " : "High, ";
  add(row.lines, kind + size_words(dent), {size_, palette::ink, Align::left, true}, inner, 2);
  if (is_elongated(dent) && !is_crease(dent))
    add(row.lines,
        without_interval(dent.length_mm, "mm") + " long, " + without_interval(dent.width_mm, "mm") + " wide",
        plain, inner, 1);
  add(row.lines, depth_words(dent), plain, inner, 2);
  if (is_crease(dent) && dent.kind == Kind::low)
    add(row.lines, "pull its ends first: they hold it shut", plain, inner, 2);
  add(row.lines, coin.empty() || !is_crease(dent) ? coin : "in area " + coin, plain, inner, 2);
  if (!dent.severity.empty()) add(row.lines, "severity: " + grade_of(dent), plain, inner, 2);
  if (!many_) add(row.lines, reason_alone(dent), quiet, inner, 4);
  if (!many_)
    for (std::size_t i = 0; i < std::min(dent.notes.size(), most_notes); ++i)
      add(row.lines, dent.notes[i], quiet, inner, 3);
  const double least_plot_height = (many_ ? 5.5 : 8.0) * size_;
  const double plot = drawn_section(dent).empty() ? 0 : least_plot_height;
  row.height = std::max(height_of(row.lines), plot) + row_gap * size_;
  rows_.push_back(row);
}

void Legend::lay_out_warnings(const Reading& reading) {
  Row row;
  const double inner = width_ - 2 * margin * size_;
  if (reading.dents.size() > most_dents)
    add(row.lines,
        "The other " + std::to_string(reading.dents.size() - most_dents) + " spots stand in the table.",
        {size_, palette::ink, Align::left, true}, inner, 1);
  for (std::size_t i = 0; i < std::min(reading.warnings.size(), most_warnings); ++i)
    add(row.lines, "Warning: " + reading.warnings[i].message,
        {0.85 * size_, palette::warning, Align::left, false}, inner, 3);
  if (row.lines.empty()) return;
  row.height = height_of(row.lines) + row_gap * size_;
  rows_.push_back(row);
}

void Legend::add(std::vector<Line>& lines, const std::string& text, const TextStyle& style, double width,
                 std::size_t max_lines) const {
  for (const std::string& line : lines_of(text, style, width, max_lines)) lines.push_back({line, style});
}

double Legend::height_of(const std::vector<Line>& lines) const {
  double height = 0;
  for (const Line& line : lines) height += line_height * line.style.size;
  return height;
}

double Legend::draw_lines(PixelCanvas& canvas, const std::vector<Line>& lines, double x, double top) const {
  for (const Line& line : lines) {
    canvas.text(line.text, x, top + line.style.size, line.style);
    top += line_height * line.style.size;
  }
  return top;
}

void Legend::draw(PixelCanvas& canvas, double top) const {
  for (const Band& band : bands_) {
    const double height = height_of(band.lines) + 2 * band_padding * size_;
    canvas.rectangle({0, top, width_, height}, band.colour);
    draw_lines(canvas, band.lines, margin * size_, top + band_padding * size_);
    top += height;
  }
  for (const Row& row : rows_) {
    if (&row != &rows_.front())
      canvas.rectangle({0, top, width_, std::max(1.0, 0.05 * size_)}, palette::grid);
    const double inner_top = top + 0.5 * row_gap * size_;
    double x = margin * size_;
    if (row.dent != nullptr) {
      draw_badge(canvas, row.number, row.dent->kind, x + 0.9 * size_, inner_top + 0.75 * size_, size_);
      x += badge_column * size_;
      const cv::Rect2d plot(width_ - margin * size_ - plot_width_, inner_top, plot_width_,
                            row.height - row_gap * size_);
      draw_section(canvas, plot, *row.dent, sections_, 0.7 * size_);
    }
    draw_lines(canvas, row.lines, x, inner_top);
    top += row.height;
  }
}

}  // namespace ripplegauge::picture_detail
