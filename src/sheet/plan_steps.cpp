// The pages of a plan with every step: blocks that stay together, set below each other.
#include <algorithm>

#include "plan_parts.hpp"

namespace ripplegauge {
namespace {

constexpr double tick_mm = 3.2, indent_mm = tick_mm + 2;
constexpr double caption_room_mm = 1.4 * least_font_mm + 1;  ///< a line above a drawing

std::string size_line(const DentPlan& plan) {
  const Dent& dent = plan.dent;
  const bool low = dent.kind == Kind::low;
  std::string text = low ? "low, " : "high, ";
  if (plan.severity.is_long)
    text += "a crease, " + shown(dent.length_mm.value, 1) + " × " + shown(dent.width_mm.value, 1) + " mm";
  else
    text += shown(dent.diameter_mm, "mm");
  if (dent.depth_mm) text += ", " + shown(*dent.depth_mm, "mm") + (low ? " deep" : " high");
  return text;
}

/// What to do with a spot, for a plan of many.
std::string choices_line(const DentPlan& plan) {
  if (!plan.tab && !plan.tip) return "leave it, or push it out from behind";
  std::string text;
  if (plan.severity.beyond_pulling()) text = "probably beyond pulling; ";
  if (plan.tab) {
    text +=
        plan.tab->tab ? plan.tab->tab->name : "tab face up to " + shown(plan.tab->max_width_mm, 1) + " mm";
    if (plan.tab->in_row > 1) text += " × " + std::to_string(plan.tab->in_row);
  }
  if (plan.puller)
    text += ", " + (plan.puller->puller ? plan.puller->puller->name : spoken(plan.puller->kind));
  if (plan.pull_at)
    text += ", pull at " + shown(plan.pull_at->low_c, 1) + "–" + shown(plan.pull_at->high_c, 1) + " °C";
  if (plan.tip)
    text +=
        "tap down, tip " + (plan.tip->tip ? plan.tip->tip->name : shown(plan.tip->width_mm, 0) + " mm wide");
  return text;
}

class StepPages {
 public:
  StepPages(Canvas& canvas, const PageBox& page, const Plan& plan, const PanelView& view,
            const ShownUnits& units)
      : canvas_(canvas),
        scratch_(page.right_mm() + page.x_mm, page.bottom_mm() + page.y_mm, ""),
        page_(page),
        plan_(plan),
        view_(view),
        units_(units),
        cautions_(plan.cautions) {
    begin_page();
  }

  /// What `draw` puts into a column, not parted by the end of a page.
  template <class Draw>
  void block(Draw draw) {
    Column test(scratch_, {page_.x_mm, 0, page_.width_mm, 0}, least_font_mm, units_);
    draw(test);
    if (y_mm_ + test.y_mm() > page_.bottom_mm() && y_mm_ > top_mm_) turn_page();
    Column column(canvas_, {page_.x_mm, y_mm_, page_.width_mm, 0}, least_font_mm, units_);
    draw(column);
    y_mm_ = column.y_mm();
  }

  /// A step under its heading, if it is the first of a part, with the cautions that belong to it before it.
  void step(const std::string& heading, const Step& step) {
    const std::vector<Caution> before = cautions_before(step.code);
    const int number = ++number_;
    block([&](Column& column) {
      if (!heading.empty()) column.heading(heading);
      for (const Caution& caution : before) column.caution(caution.text);
      column.step(step, number);
    });
  }
  void steps(std::string heading, const std::vector<Step>& list) {
    for (const Step& one : list) step(std::exchange(heading, ""), one);
  }

  void caution(const std::string& heading, const Caution& caution) {
    block([&](Column& column) {
      if (!heading.empty()) column.heading(heading);
      column.caution(caution.text);
    });
  }
  std::vector<Caution> cautions_before(const std::string& step_code) {
    std::vector<Caution> found;
    std::erase_if(cautions_, [&](const Caution& caution) {
      if (caution.before_step != step_code) return false;
      found.push_back(caution);
      return true;
    });
    return found;
  }
  std::vector<Caution> other_cautions() const { return cautions_; }

  void keep_room(double height_mm) {
    if (y_mm_ + height_mm > page_.bottom_mm()) turn_page();
  }

  void true_size(const DentPlan& spot) {
    const auto height_mm = true_size_height_mm(spot, {0, 0, page_.width_mm, page_.bottom_mm() - top_mm_});
    if (!height_mm) return;
    keep_room(*height_mm);
    draw_true_size(canvas_, {page_.x_mm, y_mm_, page_.width_mm, *height_mm}, spot, view_);
    y_mm_ += *height_mm + 1;
  }

  /// Each under its own line, side by side where they are small enough.
  void true_sizes(const std::vector<const DentPlan*>& spots) {
    for (std::size_t i = 0; i < spots.size();) {
      const std::size_t in_row =
          i + 1 < spots.size() && height_of({spots[i], spots[i + 1]}).has_value() ? 2 : 1;
      const std::vector<const DentPlan*> row(spots.begin() + static_cast<std::ptrdiff_t>(i),
                                             spots.begin() + static_cast<std::ptrdiff_t>(i + in_row));
      true_size_row(row);
      i += in_row;
    }
  }

 private:
  static constexpr double between_mm = 6;  ///< drawings side by side

  double width_in_row(std::size_t count) const {
    const auto n = static_cast<double>(count);
    return (page_.width_mm - (n - 1) * between_mm) / n;
  }
  /// Of drawings in a row; nothing where one of them has no room.
  std::optional<double> height_of(const std::vector<const DentPlan*>& row) const {
    double tallest_mm = 0;
    for (const DentPlan* spot : row) {
      const auto height_mm = true_size_height_mm(
          *spot, {0, 0, width_in_row(row.size()), page_.bottom_mm() - top_mm_ - caption_room_mm});
      if (!height_mm) return std::nullopt;
      tallest_mm = std::max(tallest_mm, *height_mm);
    }
    return tallest_mm;
  }
  void true_size_row(const std::vector<const DentPlan*>& row) {
    const auto height_mm = height_of(row);
    keep_room(caption_room_mm + height_mm.value_or(0));
    const double width_mm = width_in_row(row.size());
    for (std::size_t i = 0; i < row.size(); ++i) {
      const double x_mm = page_.x_mm + static_cast<double>(i) * (width_mm + between_mm);
      std::string words = "Spot " + std::to_string(row[i]->number);
      if (row[i]->tab && row[i]->tab->tab) words += ": " + row[i]->tab->tab->name;
      if (!height_mm) words += ", larger than the page at true size";
      canvas_.text({x_mm, y_mm_ + 1.1 * least_font_mm},
                   fitted(words, {.size = least_font_mm, .bold = true}, width_mm),
                   {least_font_mm, true, black});
      if (height_mm)
        draw_true_size(canvas_, {x_mm, y_mm_ + caption_room_mm, width_mm, *height_mm}, *row[i], view_);
    }
    y_mm_ += caption_room_mm + height_mm.value_or(0) + 3;
  }
  void turn_page() {
    canvas_.next_page();
    begin_page();
  }
  void begin_page() { y_mm_ = top_mm_ = draw_head(canvas_, page_, plan_); }

  Canvas& canvas_;
  Canvas scratch_;
  PageBox page_;
  const Plan& plan_;
  const PanelView& view_;
  ShownUnits units_;
  std::vector<Caution> cautions_;  ///< not yet drawn
  double top_mm_ = 0, y_mm_ = 0;
  int number_ = 0;
};

const DentPlan& first_to_pull(const Plan& plan) {
  const auto found = std::find_if(plan.dents.begin(), plan.dents.end(),
                                  [](const DentPlan& dent) { return dent.tab.has_value(); });
  return found == plan.dents.end() ? plan.dents.front() : *found;
}

/// Nobody reads the same instructions nine times: those of the first spot, then a line for each.
void draw_many_spots(StepPages& pages, const Plan& plan) {
  const DentPlan& first = first_to_pull(plan);
  pages.steps("Each spot, here spot " + std::to_string(first.number) + ": " + size_line(first), first.steps);
  bool begun = false;
  for (const DentPlan& spot : plan.dents) {
    pages.block([&](Column& column) {
      if (!begun) column.heading("Spots, in the order of work");
      column.tick();
      column.plain("Spot " + std::to_string(spot.number) + ": " + size_line(spot) + "; " +
                       spot.severity.spoken + ". " + choices_line(spot),
                   indent_mm);
    });
    begun = true;
  }
  std::vector<const DentPlan*> pulled;
  for (const DentPlan& spot : plan.dents)
    if (spot.tab) pulled.push_back(&spot);
  if (pulled.empty()) return;
  pages.block([&](Column& column) {
    column.heading("Where to glue: each spot at true size");
    column.quiet(true_size_words(first) + " Crosses: where the tab's middle goes.");
  });
  pages.true_sizes(pulled);
}

void draw_few_spots(StepPages& pages, const Plan& plan) {
  constexpr double heading_and_first_step_mm = 55;
  for (const DentPlan& spot : plan.dents) {
    pages.keep_room(heading_and_first_step_mm);
    pages.block([&](Column& column) {
      column.heading("Spot " + std::to_string(spot.number) + ": " + size_line(spot));
      column.quiet(spot.severity.reason);
      column.skip(1);
    });
    if (plan.dents.size() > 1) pages.true_size(spot);
    pages.steps("", spot.steps);
  }
}

}  // namespace

void Column::tick() {
  canvas_.outline({box_.x_mm, y_mm_ + 0.15 * font_mm_, tick_mm, tick_mm}, {dark_grey, 0.25, 0});
}

void Column::caution(const std::string& words) {
  const double from_mm = y_mm_;
  plain(words, indent_mm);
  canvas_.text({box_.x_mm + 1, from_mm + 1.1 * font_mm_}, "!", {1.3 * font_mm_, true, accent});
  skip(0.3 * font_mm_);
}

void Column::step(const Step& step, int number) {
  tick();
  text(std::to_string(number) + ". " + step.action, {font_mm_, true, black}, indent_mm);
  for (const std::string& point : step.points) plain("• " + point, indent_mm);
  quiet(step.reason + " " + facts_text(step), indent_mm);
  for (const std::string& alternative : step.alternatives) quiet("Or: " + alternative, indent_mm);
  if (!step.missing.empty()) quiet("Missing: " + step.missing, indent_mm);
  skip(0.45 * font_mm_);
}

void draw_step_pages(Canvas& canvas, const PageBox& page, const Plan& plan, const PanelView& view,
                     const ShownUnits& units) {
  constexpr std::size_t few = 3;
  StepPages pages(canvas, page, plan, view, units);
  std::string heading = "Before you start";
  for (const Caution& caution : pages.cautions_before("")) pages.caution(std::exchange(heading, ""), caution);
  pages.steps(heading, plan.before);
  if (plan.dents.size() <= few)
    draw_few_spots(pages, plan);
  else
    draw_many_spots(pages, plan);
  pages.steps("Afterwards", plan.after);
  heading = "Cautions";
  for (const Caution& caution : pages.other_cautions()) pages.caution(std::exchange(heading, ""), caution);
  heading = "Not yet known, and worth telling";
  for (const Question& question : plan.questions) {
    pages.block([&](Column& column) {  // drawn twice, the first time to see whether it has room
      if (!heading.empty()) column.heading(heading);
      column.plain(question.text);
    });
    heading.clear();
  }
}

}  // namespace ripplegauge
