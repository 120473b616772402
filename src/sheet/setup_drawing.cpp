#include <algorithm>
#include <cmath>
#include <numbers>

#include "sheet_parts.hpp"

namespace ripplegauge {
namespace {

const Font label{.size_mm = 3.2, .colour = dark_grey};
const Font fact{.size_mm = 3.2, .bold = true, .colour = accent};
const Pen ray{.colour = accent, .width_mm = 0.4};

PagePoint at_angle(PagePoint from, double angle_from_vertical_deg, double distance_mm) {
  const double angle = angle_from_vertical_deg * std::numbers::pi / 180;
  return {from.x_mm + distance_mm * std::sin(angle), from.y_mm - distance_mm * std::cos(angle)};
}

PagePoint between(PagePoint a, PagePoint b, double share) {
  return {a.x_mm + share * (b.x_mm - a.x_mm), a.y_mm + share * (b.y_mm - a.y_mm)};
}

/// The panel's edge-on line: slightly crowned, with a dent at `dent_x_mm`.
std::vector<PagePoint> panel_line(const PageBox& box, double dent_x_mm, double crest_y_mm) {
  std::vector<PagePoint> line;
  constexpr int steps = 200;
  for (int i = 0; i <= steps; ++i) {
    const double x_mm = box.x_mm + box.width_mm * i / steps;
    const double off_mm = x_mm - dent_x_mm;
    line.push_back({x_mm, crest_y_mm + 0.0006 * off_mm * off_mm + 1.3 * std::exp(-0.08 * off_mm * off_mm)});
  }
  return line;
}

/// A length between two points, with arrow heads at both ends and its words beside the middle.
void draw_dimension(Canvas& canvas, PagePoint a, PagePoint b, PagePoint words_at, const std::string& words,
                    Align align) {
  canvas.line({a, b}, {.colour = accent, .width_mm = 0.25});
  canvas.arrow_head(a, b, accent);
  canvas.arrow_head(b, a, accent);
  canvas.text(words_at, words, fact, align);
}

void draw_phone(Canvas& canvas, PagePoint camera, double view_angle_deg) {
  // Edge-on: a slab across the line of sight, the camera on the side that faces the dent.
  constexpr double half_length_mm = 9, thickness_mm = 2;
  const PagePoint end_a = at_angle(camera, view_angle_deg + 90, half_length_mm);
  const PagePoint end_b = at_angle(camera, view_angle_deg - 90, half_length_mm);
  canvas.fill({end_a, end_b, at_angle(end_b, view_angle_deg, thickness_mm),
               at_angle(end_a, view_angle_deg, thickness_mm)},
              black);
}

void draw_board(Canvas& canvas, double face_x_mm, double top_y_mm, double bottom_y_mm) {
  constexpr double stripe_mm = 3, face_mm = 1.4, back_mm = 0.8;
  std::vector<PageBox> stripes;
  for (double y_mm = top_y_mm; y_mm < bottom_y_mm; y_mm += 2 * stripe_mm)
    stripes.push_back({face_x_mm, y_mm, face_mm, std::min(stripe_mm, bottom_y_mm - y_mm)});
  canvas.fill({{face_x_mm + face_mm, top_y_mm, back_mm, bottom_y_mm - top_y_mm}}, mid_grey);
  canvas.fill(stripes, black);
  canvas.outline({face_x_mm, top_y_mm, face_mm + back_mm, bottom_y_mm - top_y_mm}, {.width_mm = 0.2});
}

/// Stripes of the reflection; round the dent they bend and close up.
void draw_bent_stripes(Canvas& canvas, const PageBox& box, PagePoint dent, double period_mm) {
  const auto edge = [&](double level_mm, double x_mm) {
    const double dx = x_mm - dent.x_mm, dy = level_mm - dent.y_mm;
    constexpr double spread_mm = 5.5, bend = 0.85;
    return level_mm - bend * dy * std::exp(-(dx * dx + dy * dy) / (2 * spread_mm * spread_mm));
  };
  constexpr int steps = 80;
  for (double level_mm = box.y_mm; level_mm < box.bottom_mm(); level_mm += period_mm) {
    std::vector<PagePoint> outline;
    for (int i = 0; i <= steps; ++i) {
      const double x_mm = box.x_mm + box.width_mm * i / steps;
      outline.push_back({x_mm, edge(level_mm, x_mm)});
    }
    for (int i = steps; i >= 0; --i) {
      const double x_mm = box.x_mm + box.width_mm * i / steps;
      outline.push_back({x_mm, edge(level_mm + 0.5 * period_mm, x_mm)});
    }
    canvas.fill(outline, black);
  }
}

/// A corner card as seen from above, `unit_mm` wide arms.
void draw_small_card(Canvas& canvas, PagePoint corner, double unit_mm) {
  const std::vector<PageBox> paper = {{corner.x_mm, corner.y_mm - unit_mm, 4.6 * unit_mm, unit_mm},
                                      {corner.x_mm, corner.y_mm - 3.7 * unit_mm, unit_mm, 3.7 * unit_mm}};
  for (const PageBox& box : paper) canvas.outline(box, {.colour = mid_grey, .width_mm = 0.3});
  canvas.fill(paper, white);
  std::vector<PageBox> tags;
  const double side_mm = 0.62 * unit_mm, gap_mm = 0.5 * (unit_mm - side_mm), pitch_mm = 0.9 * unit_mm;
  constexpr int along = 5, up = 4;  // the corner's tag counts for both
  tags.reserve(along + up - 1);
  for (int i = 0; i < along; ++i)
    tags.push_back({corner.x_mm + gap_mm + i * pitch_mm, corner.y_mm - unit_mm + gap_mm, side_mm, side_mm});
  for (int i = 1; i < up; ++i)
    tags.push_back({corner.x_mm + gap_mm, corner.y_mm - unit_mm + gap_mm - i * pitch_mm, side_mm, side_mm});
  canvas.fill(tags, black);
}

}  // namespace

void draw_side_view(Canvas& canvas, const PageBox& box, bool tape) {
  // The good start that the steps name, to scale: phone 35 cm and board 30 cm from the dent, 35 degrees off
  // square.
  constexpr double view_angle_deg = 35, phone_cm = 35, board_cm = 30;
  const double crest_y_mm = box.bottom_mm() - 13;
  const double mm_per_cm = 0.97 * (crest_y_mm - box.y_mm) / phone_cm;
  const PagePoint dent{box.x_mm + 0.5 * box.width_mm, crest_y_mm};
  const PagePoint camera = at_angle(dent, -view_angle_deg, phone_cm * mm_per_cm);
  const PagePoint seen = at_angle(dent, view_angle_deg, board_cm * mm_per_cm);

  canvas.line(panel_line(box, dent.x_mm, crest_y_mm), {.width_mm = 0.9});
  canvas.line({{dent.x_mm, dent.y_mm}, {dent.x_mm, box.y_mm + 6}},
              {.colour = mid_grey, .width_mm = 0.25, .dash_mm = 1.5});
  canvas.line({camera, dent}, ray);
  canvas.line({dent, seen}, ray);
  canvas.arrow_head(seen, dent, accent);
  draw_phone(canvas, camera, -view_angle_deg);
  const double half_board_mm = 13 * mm_per_cm;
  draw_board(canvas, seen.x_mm, std::max(box.y_mm, seen.y_mm - half_board_mm), seen.y_mm + half_board_mm);

  const double arc_mm = 0.4 * phone_cm * mm_per_cm;
  canvas.arc(dent, arc_mm, -90 - view_angle_deg, -90, {.colour = accent, .width_mm = 0.25});
  canvas.text({dent.x_mm - 0.5 * arc_mm, dent.y_mm - arc_mm - 1.5}, "35\u00b0", fact, Align::centre);
  const PagePoint phone_label = between(camera, dent, 0.3);
  canvas.turned_text({phone_label.x_mm + 2.6, phone_label.y_mm - 2}, 90 - view_angle_deg, "35 cm", fact);
  const PagePoint board_label = between(dent, seen, 0.5);
  if (tape)
    canvas.turned_text({board_label.x_mm + 2.6, board_label.y_mm + 2}, view_angle_deg - 90, "tape this",
                       fact);

  // Heights beside phone and board, distances below the panel.
  const double phone_foot_mm = camera.x_mm - 12, board_foot_mm = seen.x_mm + 6;
  draw_dimension(canvas, {phone_foot_mm, camera.y_mm}, {phone_foot_mm, crest_y_mm},
                 {phone_foot_mm - 1.5, 0.5 * (camera.y_mm + crest_y_mm)}, "29 cm", Align::right);
  draw_dimension(canvas, {board_foot_mm, seen.y_mm}, {board_foot_mm, crest_y_mm},
                 {board_foot_mm + 1.5, 0.5 * (seen.y_mm + crest_y_mm)}, "25 cm", Align::left);
  const double below_mm = crest_y_mm + 11;
  draw_dimension(canvas, {camera.x_mm, below_mm}, {dent.x_mm, below_mm},
                 {between(camera, dent, 0.5).x_mm, below_mm - 1}, "20 cm", Align::centre);
  draw_dimension(canvas, {dent.x_mm, below_mm}, {seen.x_mm, below_mm},
                 {between(dent, seen, 0.5).x_mm, below_mm - 1}, "17 cm", Align::centre);

  constexpr double card_length_mm = 13;
  canvas.fill({{dent.x_mm - 5 - card_length_mm, crest_y_mm - 0.9, card_length_mm, 0.9}}, accent);
  canvas.text({dent.x_mm - 5 - 0.5 * card_length_mm, crest_y_mm + 5.5}, "card", label, Align::centre);
  canvas.text({dent.x_mm, crest_y_mm + 5.5}, "dent", label, Align::centre);
  canvas.text({camera.x_mm - 5, camera.y_mm - 6}, "phone", label, Align::right);
  canvas.text({seen.x_mm + 4, box.y_mm + 4}, "board", label);
  canvas.text({box.right_mm(), crest_y_mm + 7.5}, "panel", label, Align::right);
}

void draw_screen_view(Canvas& canvas, const PageBox& box) {
  canvas.fill({box}, pale_grey);
  const PageBox reflection{box.x_mm + 0.2 * box.width_mm, box.y_mm, 0.72 * box.width_mm, 0.8 * box.height_mm};
  const PagePoint dent{reflection.x_mm + 0.55 * reflection.width_mm,
                       reflection.y_mm + 0.46 * reflection.height_mm};
  canvas.clipped(reflection, [&] {
    canvas.fill({reflection}, white);
    draw_bent_stripes(canvas, reflection, dent, box.height_mm / 13);
  });
  const double unit_mm = 0.115 * box.height_mm;
  const PagePoint corner{box.x_mm + 0.08 * box.width_mm, box.bottom_mm() - 0.1 * box.height_mm};
  draw_small_card(canvas, corner, unit_mm);
  const PagePoint last_tag{corner.x_mm + 4.1 * unit_mm, corner.y_mm - 0.5 * unit_mm};
  canvas.arc(last_tag, 0.54 * unit_mm, 0, 360, {.colour = accent, .width_mm = 0.7});
  canvas.outline(box, {.width_mm = 0.6});
  canvas.text({last_tag.x_mm + 0.9 * unit_mm, last_tag.y_mm + 1.2}, "tap here", fact);
}

}  // namespace ripplegauge
