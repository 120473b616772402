// Spots of a plan on paper: one at true size with tab and feet, or a map of several; over the photo, if there
// is one.
#include <algorithm>
#include <cmath>
#include <numbers>

#include "plan_parts.hpp"

namespace ripplegauge {
namespace {

constexpr double air_mm = 4, tallest_mm = 110, foot_mm = 10, foot_length_mm = 1.6 * foot_mm;

/// Points round an ellipse, the first one again at the end.
std::vector<PointMm> ellipse_mm(PointMm middle, double length_mm, double width_mm, double angle_deg) {
  constexpr int corners = 72;
  const double angle = angle_deg * std::numbers::pi / 180, c = std::cos(angle), s = std::sin(angle);
  std::vector<PointMm> points;
  for (int i = 0; i <= corners; ++i) {
    const double round = 2 * std::numbers::pi * i / corners;
    const double u = 0.5 * length_mm * std::cos(round), v = 0.5 * width_mm * std::sin(round);
    points.push_back({middle.x_mm + u * c - v * s, middle.y_mm + u * s + v * c});
  }
  return points;
}

/// From the card's directions, relative to a spot's middle, to the page: y points up on the card and down
/// here. The drawing is turned so that the spot's length lies across the page.
struct SpotView {
  PagePoint centre;
  double turn_deg = 0;

  PagePoint at(double x_mm, double y_mm) const {
    const double turn = turn_deg * std::numbers::pi / 180;
    return {centre.x_mm + x_mm * std::cos(turn) - y_mm * std::sin(turn),
            centre.y_mm - x_mm * std::sin(turn) - y_mm * std::cos(turn)};
  }
  std::vector<PagePoint> ellipse(PointMm middle, double length_mm, double width_mm, double angle_deg) const {
    std::vector<PagePoint> points;
    for (const PointMm& p : ellipse_mm(middle, length_mm, width_mm, angle_deg))
      points.push_back(at(p.x_mm, p.y_mm));
    return points;
  }
};

/// With a light casing, to be seen on dark paint, too.
void cased_line(Canvas& canvas, const std::vector<PagePoint>& points, const Pen& pen) {
  canvas.line(points, {white, pen.width_mm + 0.6, 0});
  canvas.line(points, pen);
}

std::vector<PagePoint> outline_of(const Dent& dent, const SpotView& view) {
  if (dent.outline.size() < 3)
    return view.ellipse({0, 0}, dent.length_mm.value, dent.width_mm.value, dent.angle_deg);
  std::vector<PagePoint> points;
  for (const PointMm& point : dent.outline)
    points.push_back(view.at(point.x_mm - dent.x_mm, point.y_mm - dent.y_mm));
  points.push_back(points.front());
  return points;
}

double drawn_length_mm(const Dent& dent) { return std::max(dent.length_mm.value, dent.diameter_mm.value); }

/// Between the lifter's feet; 0 without a lifter.
double between_feet_mm(const DentPlan& plan) {
  return plan.puller && plan.puller->puller ? plan.puller->puller->free_width_mm.value_or(0) : 0;
}

/// Two feet, across the spot's length: where a lifter stands, with as much room between them as it has.
void draw_feet(Canvas& canvas, const SpotView& view, const DentPlan& plan) {
  if (between_feet_mm(plan) <= 0) return;
  const double angle = (plan.dent.angle_deg + 90) * std::numbers::pi / 180;
  const double from_mm = 0.5 * between_feet_mm(plan) + 0.5 * foot_mm;
  for (const double side : {-from_mm, from_mm})
    cased_line(canvas,
               view.ellipse({side * std::cos(angle), side * std::sin(angle)}, foot_length_mm, foot_mm,
                            plan.dent.angle_deg),
               {dark_grey, 0.4, 1.5});
}

void draw_cross(Canvas& canvas, PagePoint at) {
  constexpr double arm_mm = 2;
  cased_line(canvas, {{at.x_mm - arm_mm, at.y_mm}, {at.x_mm + arm_mm, at.y_mm}}, {accent, 0.4, 0});
  cased_line(canvas, {{at.x_mm, at.y_mm - arm_mm}, {at.x_mm, at.y_mm + arm_mm}}, {accent, 0.4, 0});
}

/// Of the first two pulls beyond the ends of the crease, of the others beside it: faces may overlap, numbers
/// not.
PagePoint number_place(const SpotView& view, const Dent& dent, PointMm middle, bool at_end) {
  constexpr double clear_mm = 4;
  const double along = dent.angle_deg * std::numbers::pi / 180;
  if (!at_end) {
    const double off_mm = 0.5 * dent.width_mm.value + clear_mm;
    return view.at(middle.x_mm - off_mm * std::sin(along), middle.y_mm + off_mm * std::cos(along));
  }
  const bool ahead = middle.x_mm * std::cos(along) + middle.y_mm * std::sin(along) > 0;
  const double off_mm = (ahead ? 1 : -1) * (0.5 * dent.length_mm.value + clear_mm);
  return view.at(off_mm * std::cos(along), off_mm * std::sin(along));
}

/// A face and a cross at each place of the pulls, the places of several with their numbers beside the spot.
void draw_pulls(Canvas& canvas, const SpotView& view, const DentPlan& plan) {
  const Dent& dent = plan.dent;
  std::vector<PointMm> places = plan.pull_places;
  if (places.empty()) places = {dent.deepest.value_or(PointMm{dent.x_mm, dent.y_mm})};
  constexpr double number_mm = 4;
  int number = 0;
  for (const PointMm& place : places) {
    const PointMm middle{place.x_mm - dent.x_mm, place.y_mm - dent.y_mm};
    if (plan.tab && plan.tab->tab)
      cased_line(canvas,
                 view.ellipse(middle, plan.tab->tab->length_mm, plan.tab->tab->width_mm, dent.angle_deg),
                 {accent, 0.4, 1.0});
    draw_cross(canvas, view.at(middle.x_mm, middle.y_mm));
    ++number;
    if (places.size() < 2) continue;
    const PagePoint beside = number_place(view, dent, middle, number <= 2);
    canvas.fill({{beside.x_mm - 0.5 * number_mm, beside.y_mm - 0.6 * number_mm, number_mm, 1.2 * number_mm}},
                white);
    canvas.text({beside.x_mm, beside.y_mm + 0.35 * number_mm}, std::to_string(number),
                {number_mm, true, accent}, Align::centre);
  }
}

constexpr double paleness = 0.6;  ///< of the photo: lines on it stay clear

/// Whether there is one to draw.
bool draw_photo(Canvas& canvas, const PageBox& box, const cv::Mat& photo) {
  if (photo.empty()) return false;
  canvas.picture(photo, box, paleness);
  canvas.outline(box, {mid_grey, 0.2, 0});
  return true;
}

/// A file can say anything of a spot; what no panel is as large as is left out. False for NaN.
bool fits_a_map(const Dent& dent) {
  constexpr double largest_mm = 1e4;
  return std::abs(dent.x_mm) < largest_mm && std::abs(dent.y_mm) < largest_mm &&
         drawn_length_mm(dent) < largest_mm && std::abs(dent.length_mm.value) < largest_mm &&
         std::abs(dent.width_mm.value) < largest_mm;
}

RectangleMm area_of_map(const Plan& plan) {
  RectangleMm area{-15, -15, 60, 40};  // the card's corner, in its own millimetres
  for (const DentPlan& spot : plan.dents) {
    if (!fits_a_map(spot.dent)) continue;
    const double reach = 0.6 * drawn_length_mm(spot.dent);
    area.x0_mm = std::min(area.x0_mm, spot.dent.x_mm - reach);
    area.x1_mm = std::max(area.x1_mm, spot.dent.x_mm + reach);
    area.y0_mm = std::min(area.y0_mm, spot.dent.y_mm - reach);
    area.y1_mm = std::max(area.y1_mm, spot.dent.y_mm + reach);
  }
  return area;
}

}  // namespace

std::optional<double> true_size_height_mm(const DentPlan& plan, const PageBox& room) {
  const double feet_mm = between_feet_mm(plan) > 0 ? between_feet_mm(plan) + 2 * foot_mm : 0;
  constexpr double numbers_mm = 14;  // beside a crease, and as much on the other side
  const double across_mm = std::max(plan.dent.width_mm.value + numbers_mm, feet_mm);
  const double height_mm = across_mm + 2 * air_mm;
  // false for NaN
  const bool fits = drawn_length_mm(plan.dent) <= room.width_mm - 2 * air_mm && across_mm <= tallest_mm &&
                    height_mm <= room.height_mm;
  return fits ? std::optional(height_mm) : std::nullopt;
}

void draw_true_size(Canvas& canvas, const PageBox& box, const DentPlan& plan, const PanelView& view) {
  const Dent& dent = plan.dent;
  const SpotView on_page{{box.x_mm + 0.5 * box.width_mm, box.y_mm + 0.5 * box.height_mm}, -dent.angle_deg};
  constexpr double least_width_mm = 80, pixels_per_mm = 8;
  const double width_mm = std::min(box.width_mm, std::max(least_width_mm, drawn_length_mm(dent) + 30));
  if (view)
    draw_photo(canvas, {on_page.centre.x_mm - 0.5 * width_mm, box.y_mm, width_mm, box.height_mm},
               view({dent.x_mm, dent.y_mm}, dent.angle_deg, width_mm, box.height_mm, pixels_per_mm));
  cased_line(canvas, outline_of(dent, on_page), {black, 0.4, 0});
  draw_feet(canvas, on_page, plan);
  draw_pulls(canvas, on_page, plan);
}

std::string true_size_words(const DentPlan& plan) {
  const bool face = plan.tab && plan.tab->tab;
  std::string words = std::string("On paper printed at 100 %") + (face ? ": lay the tab on it." : ".");
  if (between_feet_mm(plan) > 0) words += " Grey: the lifter's feet, as far apart as they stand.";
  if (plan.pull_places.size() > 1) words += " Pull in the order of the numbers.";
  return words;
}

void draw_map(Canvas& canvas, const PageBox& box, const Plan& plan, const PanelView& view) {
  const RectangleMm area = area_of_map(plan);
  const double width_mm = area.x1_mm - area.x0_mm, height_mm = area.y1_mm - area.y0_mm;
  const double scale = std::min(box.width_mm / width_mm, box.height_mm / height_mm);
  const auto at = [&](double x_mm, double y_mm) {
    return PagePoint{box.x_mm + (x_mm - area.x0_mm) * scale, box.y_mm + (area.y1_mm - y_mm) * scale};
  };
  constexpr double pixels_per_page_mm = 6, largest_photo_mm = 600;
  const bool over_photo = view && std::max(width_mm, height_mm) < largest_photo_mm &&
                          draw_photo(canvas, {box.x_mm, box.y_mm, width_mm * scale, height_mm * scale},
                                     view({0.5 * (area.x0_mm + area.x1_mm), 0.5 * (area.y0_mm + area.y1_mm)},
                                          0, width_mm, height_mm, pixels_per_page_mm * scale));
  if (!over_photo) canvas.line({at(50, -8), at(-8, -8), at(-8, 35)}, {mid_grey, 1.2, 0});  // the card's arms
  constexpr double number_mm = 4;
  for (const DentPlan& spot : plan.dents) {
    const Dent& dent = spot.dent;
    if (!fits_a_map(dent)) continue;
    std::vector<PagePoint> outline;
    const double angle_deg = std::isfinite(dent.angle_deg) ? dent.angle_deg : 0;
    for (const PointMm& p :
         ellipse_mm({dent.x_mm, dent.y_mm}, dent.length_mm.value, dent.width_mm.value, angle_deg))
      outline.push_back(at(p.x_mm, p.y_mm));
    const bool low = dent.kind == Kind::low;
    cased_line(canvas, outline, {low ? accent : black, 0.4, low ? 0.0 : 1.0});
    for (const PointMm& place : spot.pull_places)
      if (place.x_mm > area.x0_mm && place.x_mm < area.x1_mm && place.y_mm > area.y0_mm &&
          place.y_mm < area.y1_mm)
        draw_cross(canvas, at(place.x_mm, place.y_mm));
    const PagePoint beside = at(dent.x_mm + 0.5 * dent.length_mm.value, dent.y_mm);
    const PagePoint label{std::min(beside.x_mm + 1.2, box.right_mm() - 8), beside.y_mm};
    const std::string number = std::to_string(spot.number);
    canvas.fill({{label.x_mm - 0.4, label.y_mm - 0.6 * number_mm,
                  canvas.text_width_mm(number, {number_mm, true, black}) + 0.8, 1.2 * number_mm}},
                white);
    canvas.text({label.x_mm, label.y_mm + 0.35 * number_mm}, number, {number_mm, true, black});
  }
}

}  // namespace ripplegauge
