// How phone, card, dent and board stand to each other, drawn to scale.
#include <algorithm>
#include <cmath>
#include <numbers>

#include "sheet_parts.hpp"

namespace ripplegauge {
namespace {

const Font label{.size_mm = 3.2, .colour = dark_grey};
const Font fact{.size_mm = 3.2, .bold = true, .colour = accent};
const Pen ray{.colour = accent, .width_mm = 0.4};

double radians(double degrees) { return degrees * std::numbers::pi / 180; }

PagePoint at_angle(PagePoint from, double angle_from_vertical_deg, double distance_mm) {
  const double angle = radians(angle_from_vertical_deg);
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

/// Edge-on, its stripes towards the dent; `centre` is in its face, `up_deg` the way of its upper edge.
void draw_board(Canvas& canvas, PagePoint centre, double up_deg, double half_length_mm) {
  constexpr double stripe_mm = 2.2, face_mm = 1.2, back_mm = 0.8;
  const auto slab = [&](double from_mm, double to_mm, double front_mm, double thickness_mm) {
    const PagePoint low = at_angle(at_angle(centre, up_deg, from_mm), up_deg + 90, front_mm),
                    high = at_angle(at_angle(centre, up_deg, to_mm), up_deg + 90, front_mm);
    return std::vector<PagePoint>{low, high, at_angle(high, up_deg + 90, thickness_mm),
                                  at_angle(low, up_deg + 90, thickness_mm)};
  };
  canvas.fill(slab(-half_length_mm, half_length_mm, face_mm, back_mm), mid_grey);
  for (double at_mm = -half_length_mm; at_mm < half_length_mm; at_mm += 2 * stripe_mm)
    canvas.fill(slab(at_mm, std::min(at_mm + stripe_mm, half_length_mm), 0, face_mm), black);
  std::vector<PagePoint> outline = slab(-half_length_mm, half_length_mm, 0, face_mm + back_mm);
  outline.push_back(outline.front());
  canvas.line(outline, {.width_mm = 0.2});
}

/// From behind the board down to the panel, on a soft foot.
void draw_stand(Canvas& canvas, PagePoint board, double panel_y_mm) {
  constexpr double half_foot_mm = 4, foot_mm = 1.2;
  canvas.line({board, {board.x_mm, panel_y_mm - foot_mm}}, {.colour = dark_grey, .width_mm = 0.7});
  canvas.fill({{board.x_mm - half_foot_mm, panel_y_mm - foot_mm, 2 * half_foot_mm, foot_mm}}, accent);
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

std::vector<TaughtSetup> taught_setups() {
  return {
      {.panel = "Bonnet, boot lid",
       .note = "The board stands beyond the dent and leans over it, on a stand with a soft foot."},
      {.panel = "Roof",
       .note =
           "The same from the side of the car: you on a firm step, the phone on your side of the dent, the "
           "board beyond it. Lean on nothing."},
      {.panel = "Door, wing",
       .note =
           "The same turned by 90\u00b0: phone on one side, board on a stand on the other, both as high as "
           "the dent. Phone and stripes upright.",
       .upright_panel = true,
       .board_lean_deg = 55}};
}

void draw_setup(Canvas& canvas, const PageBox& box, const TaughtSetup& setup) {
  constexpr double below_panel_mm = 14, beside_mm = 36;  // for words and dimensions
  const double crest_y_mm = box.bottom_mm() - below_panel_mm;
  const double span_mm = (setup.phone_mm + setup.board_mm) * std::sin(radians(setup.view_deg));
  // Page millimetres to a millimetre at the panel.
  const double scale =
      std::min((crest_y_mm - box.y_mm - 4) / setup.phone_mm, (box.width_mm - beside_mm) / span_mm);
  const PagePoint dent{box.x_mm + 0.46 * box.width_mm, crest_y_mm};
  const PagePoint camera = at_angle(dent, -setup.view_deg, setup.phone_mm * scale);
  const PagePoint seen = at_angle(dent, setup.view_deg, setup.board_mm * scale);
  const auto length = [scale](double page_mm) {
    return length_text(10 * std::round(0.1 * page_mm / scale)) + " mm";
  };

  canvas.line(panel_line(box, dent.x_mm, crest_y_mm), {.width_mm = 0.9});
  canvas.line({dent, {dent.x_mm, box.y_mm + 8}}, {.colour = mid_grey, .width_mm = 0.25, .dash_mm = 1.5});
  canvas.line({camera, dent}, ray);
  canvas.line({dent, seen}, ray);
  canvas.arrow_head(seen, dent, accent);
  draw_phone(canvas, camera, -setup.view_deg);
  constexpr double half_board_mm = 110;
  if (!setup.upright_panel) draw_stand(canvas, {seen.x_mm + 2, seen.y_mm}, crest_y_mm + 0.3);
  draw_board(canvas, seen, -setup.board_lean_deg, half_board_mm * scale);

  const double arc_mm = 0.4 * setup.phone_mm * scale;
  canvas.arc(dent, arc_mm, -90 - setup.view_deg, -90, {.colour = accent, .width_mm = 0.25});
  canvas.text({dent.x_mm - 0.5 * arc_mm, dent.y_mm - arc_mm - 1.5}, length_text(setup.view_deg) + "\u00b0",
              fact, Align::centre);

  // Heights beside phone and board, distances below the panel.
  const double lean_mm = half_board_mm * scale * std::sin(radians(setup.board_lean_deg));
  const double phone_foot_mm = camera.x_mm - 10,
               board_foot_mm = setup.upright_panel ? seen.x_mm : seen.x_mm + lean_mm + 4;
  draw_dimension(canvas, {phone_foot_mm, camera.y_mm}, {phone_foot_mm, crest_y_mm},
                 {phone_foot_mm + 1, 0.35 * camera.y_mm + 0.65 * crest_y_mm},
                 length(crest_y_mm - camera.y_mm), Align::left);
  draw_dimension(canvas, {board_foot_mm, seen.y_mm}, {board_foot_mm, crest_y_mm},
                 {board_foot_mm + 1, 0.5 * (seen.y_mm + crest_y_mm)}, length(crest_y_mm - seen.y_mm),
                 Align::left);
  const double below_mm = crest_y_mm + 12;
  draw_dimension(canvas, {camera.x_mm, below_mm}, {dent.x_mm, below_mm},
                 {between(camera, dent, 0.5).x_mm, below_mm - 1}, length(dent.x_mm - camera.x_mm),
                 Align::centre);
  draw_dimension(canvas, {dent.x_mm, below_mm}, {seen.x_mm, below_mm},
                 {between(dent, seen, 0.5).x_mm, below_mm - 1}, length(seen.x_mm - dent.x_mm), Align::centre);

  const double card_length_mm = 100 * scale, card_end_mm = dent.x_mm - 30 * scale;
  canvas.fill({{card_end_mm - card_length_mm, crest_y_mm - 0.9, card_length_mm, 0.9}}, accent);
  canvas.text({card_end_mm - 0.5 * card_length_mm, crest_y_mm + 5.5}, "card", label, Align::centre);
  canvas.text({dent.x_mm + 1, crest_y_mm + 5.5}, "dent", label, Align::centre);
  canvas.text({camera.x_mm - 3, camera.y_mm - 6}, "phone", label, Align::centre);
  const PagePoint upper_end = at_angle(seen, -setup.board_lean_deg, half_board_mm * scale);
  canvas.text({upper_end.x_mm + 5, upper_end.y_mm - 0.5}, "board", label);
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
