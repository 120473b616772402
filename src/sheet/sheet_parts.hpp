// What several sheets have in common.
#pragma once

#include <string>
#include <vector>

#include "draw/canvas.hpp"
#include "sheet/sheet.hpp"

namespace ripplegauge {

using namespace draw;

/// Tag `id` as one black shape; the printed top is towards the page's top. `mirrored` swaps left and right.
void draw_tag(Canvas& canvas, int id, PagePoint centre, double side_mm, bool mirrored);

/// A black bar of `length_mm`, its left end at the top left corner `at`, and what it is for beside and below
/// it.
void draw_check_bar(Canvas& canvas, PagePoint at, double length_mm);

/// Steps below each other, numbered from `first_number`. Returns the y below the last one.
double draw_steps(Canvas& canvas, PagePoint top, double width_mm, const std::vector<std::string>& steps,
                  double font_size_mm, int first_number = 1);

/// How phone, card, dent and board stand to each other, to scale.
void draw_setup(Canvas& canvas, const PageBox& box, const TaughtSetup& setup);

/// What the phone's screen should show.
void draw_screen_view(Canvas& canvas, const PageBox& box);

/// A length as people write it: "16", "12.5".
std::string length_text(double length_mm);

}  // namespace ripplegauge
