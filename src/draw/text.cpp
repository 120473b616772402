// Text in drawings: Pango's layouts, one line each.
#include "draw/text.hpp"

#include <pango/pangocairo.h>
#include <unicode/uchar.h>
#include <unicode/utf8.h>

#include <memory>
#include <stdexcept>

#include "core/expects.hpp"
#include "draw/cairo.hpp"
#include "words/text.hpp"

namespace ripplegauge::draw {
namespace {

/// Named, so that pages look alike on every machine that has it; others serve where it is missing or lacks
/// something.
constexpr const char* font_families = "DejaVu Sans,Noto Sans,sans-serif";

/// Layouts are made at this size and scaled: Pango counts in 1/1024 of a unit, and a unit may be a
/// millimetre.
constexpr double layout_size = 64;

struct Unref {
  void operator()(PangoLayout* layout) const { g_object_unref(layout); }
  void operator()(PangoContext* context) const { g_object_unref(context); }
};
struct Free {
  void operator()(PangoFontDescription* font) const { pango_font_description_free(font); }
  void operator()(cairo_font_options_t* options) const { cairo_font_options_destroy(options); }
};
using Layout = std::unique_ptr<PangoLayout, Unref>;
using Font = std::unique_ptr<PangoFontDescription, Free>;

/// Without hinting, which would move letters to whole pixels of a device that a page does not know.
std::unique_ptr<PangoContext, Unref> unhinted_context() {
  std::unique_ptr<PangoContext, Unref> context(
      pango_font_map_create_context(pango_cairo_font_map_get_default()));
  const std::unique_ptr<cairo_font_options_t, Free> options(cairo_font_options_create());
  cairo_font_options_set_hint_style(options.get(), CAIRO_HINT_STYLE_NONE);
  cairo_font_options_set_hint_metrics(options.get(), CAIRO_HINT_METRICS_OFF);
  cairo_font_options_set_antialias(options.get(), CAIRO_ANTIALIAS_GRAY);
  pango_cairo_context_set_font_options(context.get(), options.get());
  pango_context_set_round_glyph_positions(context.get(), FALSE);
  return context;
}

const PangoFontDescription* font_of(bool bold) {
  const auto make = [](PangoWeight weight) {
    Font font(pango_font_description_new());
    pango_font_description_set_family_static(font.get(), font_families);
    pango_font_description_set_weight(font.get(), weight);
    pango_font_description_set_absolute_size(font.get(), layout_size * PANGO_SCALE);
    return font;
  };
  thread_local const Font plain = make(PANGO_WEIGHT_NORMAL), strong = make(PANGO_WEIGHT_BOLD);
  return bold ? strong.get() : plain.get();
}

/// Digits of all scripts as 0 to 9.
std::string with_latin_digits(std::string_view text) {
  std::string result;
  const auto size = static_cast<int32_t>(text.size());
  for (int32_t at = 0; at < size;) {
    const int32_t start = at;
    UChar32 character = 0;
    U8_NEXT(text.data(), at, size, character);
    const int digit = character < 0x80 ? -1 : u_charDigitValue(character);
    if (digit >= 0)
      result += static_cast<char>('0' + digit);
    else
      result += text.substr(static_cast<std::size_t>(start), static_cast<std::size_t>(at - start));
  }
  return result;
}

/// Pango draws boxes for letters whose font it cannot open, as where memory runs out, and goes on.
void require_fonts(PangoLayout* layout) {
  const PangoLayoutLine* line = pango_layout_get_line_readonly(layout, 0);
  for (const GSList* run = line != nullptr ? line->runs : nullptr; run != nullptr; run = run->next) {
    PangoFont* font = static_cast<const PangoLayoutRun*>(run->data)->item->analysis.font;
    const bool can_draw = font != nullptr && PANGO_IS_CAIRO_FONT(font) != 0;
    cairo_scaled_font_t* opened =
        can_draw ? pango_cairo_font_get_scaled_font(PANGO_CAIRO_FONT(font)) : nullptr;
    if (opened == nullptr) throw std::runtime_error("drawing failed: a font cannot be opened");
    require(cairo_scaled_font_status(opened));
  }
}

/// One line of the text at layout_size.
Layout layout_of(std::string_view text, bool bold) {
  thread_local const auto context = unhinted_context();
  Layout layout(pango_layout_new(context.get()));
  pango_layout_set_single_paragraph_mode(layout.get(), TRUE);
  pango_layout_set_font_description(layout.get(), font_of(bold));
  const auto set = [&](const std::string& clean) {
    pango_layout_set_text(layout.get(), clean.data(), static_cast<int>(clean.size()));
  };
  const std::string clean = printable(text);
  set(clean);
  if (pango_layout_get_unknown_glyphs_count(layout.get()) > 0) set(with_latin_digits(clean));
  require_fonts(layout.get());
  return layout;
}

double width_of(PangoLayout* layout) {
  PangoRectangle logical;
  pango_layout_get_extents(layout, nullptr, &logical);
  return static_cast<double>(logical.width) / PANGO_SCALE;
}

}  // namespace

double shift_of(Align align) { return align == Align::left ? 0 : align == Align::centre ? -0.5 : -1; }

void show_text(cairo_t* cairo, const std::string& text, double x, double y, const TextStyle& style) {
  const Layout layout = layout_of(text, style.bold);
  const double scale = style.size / layout_size;
  cairo_save(cairo);
  set_colour(cairo, style.colour);
  cairo_translate(cairo, x + shift_of(style.align) * scale * width_of(layout.get()), y);
  cairo_scale(cairo, scale, scale);
  cairo_move_to(cairo, 0, 0);
  pango_cairo_show_layout_line(cairo, pango_layout_get_line_readonly(layout.get(), 0));
  cairo_restore(cairo);
  cairo_new_path(cairo);  // the text leaves a current point, from which the next line would start
}

double text_width(std::string_view text, const TextStyle& style) {
  return style.size / layout_size * width_of(layout_of(text, style.bold).get());
}

std::string fitted(std::string text, const TextStyle& style, double width) {
  text = printable(text);
  if (text_width(text, style) <= width) return text;
  const std::string dots = "\u2026";
  while (!text.empty() && text_width(text + dots, style) > width)
    text.resize(without_last_character(text).size());
  return text + dots;
}

std::vector<std::string> lines_of(const std::string& text, const TextStyle& style, double width) {
  return broken(
      text, width, width, [&](std::string_view part) { return text_width(part, style); }, LongWords::cut);
}

std::vector<std::string> lines_of(const std::string& text, const TextStyle& style, double width,
                                  std::size_t max_lines) {
  const auto width_of_part = [&](std::string_view part) { return text_width(part, style); };
  expects(max_lines >= 1, "a line at least");
  std::vector<std::string> lines = broken(text, width, width, width_of_part, LongWords::stand_out);
  for (std::size_t i = max_lines; i < lines.size(); ++i) lines[max_lines - 1] += " " + lines[i];
  if (lines.size() > max_lines) lines.resize(max_lines);
  for (std::string& line : lines) line = fitted(line, style, width);
  return lines;
}

}  // namespace ripplegauge::draw
