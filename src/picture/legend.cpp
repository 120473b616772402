// The rows below the photo: what was found, spot by spot, and what was warned of.
#include "legend.hpp"

#include <algorithm>
#include <cmath>

#include "core/crease.hpp"
#include "core/no_dent_words.hpp"

namespace ripplegauge::picture_detail {
namespace {

// In text sizes.
constexpr double margin = 0.9, badge_column = 2.3, line_height = 1.35, row_gap = 0.9, band_padding = 0.8;

/// More than that nobody reads on a picture, and a picture cannot grow for ever.
constexpr std::size_t most_dents = 40, most_notes = 4, most_warnings = 8;

std::string outcome(const Reading& reading, const Wording& words) {
  const auto lows = static_cast<std::size_t>(std::count_if(
      reading.dents.begin(), reading.dents.end(), [](const Dent& d) { return d.kind == Kind::low; }));
  const std::size_t highs = reading.dents.size() - lows;
  const std::string low_spots = words("picture.lows", {{"count", lows}}),
                    high_spots = words("picture.highs", {{"count", highs}});
  if (lows == 0) return high_spots;
  return highs == 0 ? low_spots : low_spots + ", " + high_spots;
}

std::string file_name(const std::string& path) {
  const std::size_t slash = path.find_last_of('/');
  return slash == std::string::npos ? path : path.substr(slash + 1);
}

bool is_elongated(const Dent& dent) { return dent.length_mm.value > 1.15 * dent.width_mm.value; }

std::string depth_words(const Dent& dent, const Wording& words) {
  return words(dent.kind == Kind::low ? "picture.depth" : "picture.height",
               {{"size", with_interval(dent.depth_mm.value_or(Quantity{}), "mm", words)}});
}

/// The reason begins with the grade as it is said, "moderate, perhaps sharp: ..." or "anything from shallow
/// to sharp: ...", which may say more than the word alone. How long that is; 0 where the reason begins
/// otherwise.
std::size_t length_of_grade(const Dent& dent) {
  const std::size_t colon = dent.severity_reason.find(": ");
  const bool graded = colon != std::string::npos &&
                      dent.severity_reason.substr(0, colon).find(dent.severity) != std::string::npos;
  return graded ? colon : 0;
}

std::string grade_of(const Dent& dent) {
  const std::size_t length = length_of_grade(dent);
  return length > 0 ? dent.severity_reason.substr(0, length) : dent.severity;
}

std::string reason_alone(const Dent& dent) {
  const std::size_t length = length_of_grade(dent);
  return length > 0 ? dent.severity_reason.substr(length + 2) : dent.severity_reason;
}

/// A crease is known by its length and width, everything else by its diameter.
std::string size_words(const Dent& dent, const Wording& words) {
  if (!is_crease(dent)) return with_interval(dent.diameter_mm, "mm", words);
  return words("picture.crease", {{"length", with_interval(dent.length_mm, "mm", words)},
                                  {"width", with_interval(dent.width_mm, "mm", words)}});
}

}  // namespace

Legend::Legend(const AnnotateInput& input, double width, double text_size)
    : words_(input.words),
      english_(input.words.language() == "en"),
      many_(input.reading.dents.size() > 4),
      sections_(scale_of(input.reading.dents)),
      width_(width),
      size_(many_ ? 0.85 * text_size : text_size),
      plot_width_(0.4 * width) {
  const Reading& reading = input.reading;
  lay_out_band(reading);
  lay_out_heading(reading);
  for (std::size_t i = 0; i < std::min(reading.dents.size(), most_dents); ++i)
    lay_out_dent(reading.dents[i], input.number(i), i < input.coins.size() ? input.coins[i] : std::string());
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
    add(band.lines, words_("picture.not_measured"), title, inner, 1);
    if (reading.refusal) {
      add(band.lines, words_.finding(reading.refusal->code, reading.refusal->message), text, inner, 4);
      add(band.lines, words_("picture.what_to_do", {{"remedy", reading.refusal->remedy}}), text, inner, 4);
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
    add(row.lines, outcome(reading, words_), {1.25 * size_, palette::ink, Align::left, true}, inner, 1);
  std::string about = file_name(reading.photo.name);
  if (!reading.photo.date_taken.empty())
    about =
        words_("picture.taken", {{"photo", about}, {"time", words_.date_and_time(reading.photo.date_taken)}});
  if (!reading.dents.empty()) about = words_("picture.brackets", {{"photo", about}});
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
  add(row.lines,
      words_(dent.kind == Kind::low ? "picture.low_is" : "picture.high_is",
             {{"size", size_words(dent, words_)}}),
      {size_, palette::ink, Align::left, true}, inner, 4);
  if (is_elongated(dent) && !is_crease(dent))
    add(row.lines,
        words_("picture.long_and_wide", {{"length", without_interval(dent.length_mm, "mm", words_)},
                                         {"width", without_interval(dent.width_mm, "mm", words_)}}),
        plain, inner, 1);
  add(row.lines, depth_words(dent, words_), plain, inner, 2);
  if (const auto& line = dent.flattened_line)
    add(row.lines,
        words_(dent.kind == Kind::low ? "picture.flattened_low" : "picture.flattened_high",
               {{"length", without_interval(line->length_mm, "mm", words_)},
                {"depth", without_interval(line->depth_mm, "mm", words_)}}),
        plain, inner, 2);
  if (is_crease(dent) && dent.kind == Kind::low)
    add(row.lines, words_("picture.ends_first"), plain, inner, 2);
  if (english_) add(row.lines, coin.empty() || !is_crease(dent) ? coin : "in area " + coin, plain, inner, 2);
  if (!dent.severity.empty()) {
    const std::string grade = english_ ? grade_of(dent) : words_.grade(dent.severity);
    add(row.lines, words_("picture.severity", {{"grade", grade}}), plain, inner, 2);
  }
  // Reasons and doubts are in English as the photo was measured.
  if (!many_ && english_) add(row.lines, reason_alone(dent), quiet, inner, 4);
  if (!many_ && english_)
    for (std::size_t i = 0; i < std::min(dent.notes.size(), most_notes); ++i)
      add(row.lines, dent.notes[i], quiet, inner, 3);
  const double least_plot_height = (many_ ? 5.5 : 8.0) * size_;
  const bool has_plot = !drawn_section(dent).empty();
  const double height = std::max(height_of(row.lines), has_plot ? least_plot_height : 0);
  row.height = height + row_gap * size_;
  if (has_plot) plot_height_ = plot_height_ > 0 ? std::min(plot_height_, height) : height;
  rows_.push_back(row);
}

void Legend::lay_out_warnings(const Reading& reading) {
  Row row;
  const double inner = width_ - 2 * margin * size_;
  if (reading.dents.size() > most_dents)
    add(row.lines, words_("picture.others", {{"count", reading.dents.size() - most_dents}}),
        {size_, palette::ink, Align::left, true}, inner, 1);
  for (std::size_t i = 0; i < std::min(reading.warnings.size(), most_warnings); ++i)
    add(row.lines,
        words_("picture.warning",
               {{"message", words_.finding(reading.warnings[i].code, reading.warnings[i].message)}}),
        {0.85 * size_, palette::warning, Align::left, false}, inner, 3);
  if (row.lines.empty()) return;
  row.height = height_of(row.lines) + row_gap * size_;
  rows_.push_back(row);
}

void Legend::add(std::vector<Line>& lines, const std::string& text, const TextStyle& style, double width,
                 std::size_t max_lines) const {
  for (const std::string& line : lines_of(words_.with_units(text), style, width, max_lines))
    lines.push_back({line, style});
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
      const cv::Rect2d plot(width_ - margin * size_ - plot_width_, inner_top, plot_width_, plot_height_);
      draw_section(canvas, plot, *row.dent, sections_, words_, 0.7 * size_);
    }
    draw_lines(canvas, row.lines, x, inner_top);
    top += row.height;
  }
}

}  // namespace ripplegauge::picture_detail
