// Parts of a printed plan. Not part of the library's interface.
#pragma once

#include <string>

#include "advice/plan.hpp"
#include "draw/canvas.hpp"
#include "sheet/plan_sheet.hpp"
#include "sheet_parts.hpp"

namespace ripplegauge {

/// No text of a plan is smaller: 10 points, what is read at arm's length.
constexpr double least_font_mm = 3.6;

/// Draws downwards in one column, lengths and temperatures in the reader's units.
class Column {
 public:
  Column(Canvas& canvas, PageBox box, double font_mm, const ShownUnits& units)
      : canvas_(canvas), box_(box), font_mm_(font_mm), units_(units), y_mm_(box.y_mm) {}

  double y_mm() const { return y_mm_; }
  void skip(double height_mm) { y_mm_ += height_mm; }

  void text(const std::string& words, const Font& font, double left_mm = 0) {
    y_mm_ = canvas_.paragraph({box_.x_mm + left_mm, y_mm_}, box_.width_mm - left_mm, in_units(words, units_),
                              font);
  }
  void heading(const std::string& words) {
    skip(0.5 * font_mm_);
    text(words, {1.15 * font_mm_, true, accent});
    skip(0.2 * font_mm_);
  }
  void quiet(const std::string& words, double left_mm = 0) {
    text(words, {font_mm_, false, dark_grey}, left_mm);
  }
  void plain(const std::string& words, double left_mm = 0) { text(words, {font_mm_, false, black}, left_mm); }

  void caution(const std::string& words);
  /// A box to tick, a number, and the step.
  void step(const Step& step, int number);
  void tick();

 private:
  Canvas& canvas_;
  PageBox box_;
  double font_mm_;
  ShownUnits units_;
  double y_mm_;
};

/// Title and what is known of the panel. Returns the y below it.
double draw_head(Canvas& canvas, const PageBox& box, const Plan& plan);

/// How high the spot is at true size, with the lifter's feet; nothing where it has no room.
std::optional<double> true_size_height_mm(const DentPlan& plan, const PageBox& room);

/// The spot's edge, the faces in it, the lifter's feet and crosses in the order of the pulls, at true size:
/// lay the tab on the paper. Its length lies across the page. Under it the photo, where there is one.
void draw_true_size(Canvas& canvas, const PageBox& box, const DentPlan& plan, const PanelView& view);

/// "On paper printed at 100 %: lay the tab on it. Grey: the lifter's feet ...".
std::string true_size_words(const DentPlan& plan);

/// All spots as they lie, with their numbers, and the card's corner.
void draw_map(Canvas& canvas, const PageBox& box, const Plan& plan, const PanelView& view);

/// Every step, and each spot at true size, on as many pages as it takes, the first of which begins at once.
void draw_step_pages(Canvas& canvas, const PageBox& page, const Plan& plan, const PanelView& view,
                     const ShownUnits& units);

}  // namespace ripplegauge
