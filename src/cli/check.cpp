// `check`: whether a photo will do, and else what to change by how much.
#include <fmt/format.h>

#include <cmath>
#include <iostream>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "command.hpp"
#include "files/atomic_write.hpp"
#include "files/check_file.hpp"
#include "option_hints.hpp"
#include "output_filter.hpp"
#include "photo_options.hpp"
#include "picture/next_photo_picture.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/measure/photo_check.hpp"
#include "ripplegauge/photo/photo.hpp"
#include "terminal.hpp"
#include "wording_options.hpp"

namespace ripplegauge::cli {
namespace {

constexpr const char* examples =
    R"(Measures as measure does, and turns what was seen into advice: an answer while the
phone is still in the hand. Where the photo will do, it says what a second one,
read together with it, should be; --picture draws that. Exit code 0: measure it;
3: measure would refuse it.

Examples:
  ripplegauge check dent.jpg --board-pitch 16
  ripplegauge check dent.jpg --board-pitch 16 --picture second-photo.png
  ripplegauge check first.jpg second.jpg --profile workshop.json --json checks.json)";

struct CheckArguments {
  std::vector<std::string> photos;
  std::string json_file, picture_file;
  ShownUnits units;
  std::shared_ptr<PhotoArguments> photo;
};

std::string line(const char* name, const std::string& text) {
  return wrap(text, fmt::format("    {:<12}", name), std::string(16, ' '));
}

std::string card_line(const PhotoCheck& check) {
  const ShotFigures& f = check.figures;
  std::string text = fmt::format("{} of {} tags", check.setup.tags_found, f.tags_on_card);
  if (f.tag_side_px) text += fmt::format(", {:.1f} pixels a mm", check.setup.pixels_per_mm);
  if (f.edge_width_px) text += fmt::format(", edges {:.1f} pixels wide", *f.edge_width_px);
  return line("card", text);
}

std::string stripes_line(const PhotoCheck& check) {
  const ShotFigures& f = check.figures;
  std::string text = fmt::format("{:.0f} pixels a pair", *f.stripe_period_px);
  if (check.setup.stripe_period_mm)
    text += fmt::format(" ({:.1f} mm on the panel)", *check.setup.stripe_period_mm);
  if (f.stripe_direction_deg) {
    const double degrees = std::abs(*f.stripe_direction_deg);
    text += degrees < 0.5 ? ", level"
                          : fmt::format(", {:.0f} deg {} to the right", degrees,
                                        *f.stripe_direction_deg > 0 ? "up" : "down");
  }
  return line("stripes", text);
}

std::string figures_table(const PhotoCheck& check) {
  const Setup& s = check.setup;
  const ShotFigures& f = check.figures;
  std::string out = card_line(check);
  if (s.camera_distance_mm && s.camera_tilt_deg)
    out += line("phone", fmt::format("{:.0f} mm from the card, {:.0f} degrees from straight on",
                                     s.camera_distance_mm->value, s.camera_tilt_deg->value));
  if (f.stripe_period_px) out += stripes_line(check);
  if (s.board_distance_mm && s.board_tilt_deg)
    out += line("board", fmt::format("{:.0f} mm away ({:.0f} to {:.0f}), turned by {:.0f} degrees",
                                     s.board_distance_mm->value, s.board_distance_mm->low,
                                     s.board_distance_mm->high, s.board_tilt_deg->value));
  if (f.clipped_share && f.stripe_contrast)
    out += line("light", fmt::format("stripes span {:.0f} of 255 grey values, {:.0f} % are burnt out",
                                     *f.stripe_contrast, 100 * *f.clipped_share));
  if (s.judged)
    out += line("seen", fmt::format("{:.0f} cm2 of panel, x {:.0f} to {:.0f}, y {:.0f} to {:.0f} mm",
                                    0.01 * s.judged->area_mm2, s.judged->x0_mm, s.judged->x1_mm,
                                    s.judged->y0_mm, s.judged->y1_mm));
  if (s.visible_slope_mrad && f.visible_depth_mm)
    out +=
        line("shows", fmt::format("a dent 10 mm wide from {:.3f} mm deep, slopes from {:.1f} mm in a metre",
                                  *f.visible_depth_mm, *s.visible_slope_mrad));
  for (const SeenDisturbance& d : check.disturbances)
    out += line("bent",
                fmt::format("at x {:.0f}, y {:.0f} mm over {:.0f} mm, {:.0f} mm from the card{}", d.x_mm,
                            d.y_mm, d.size_mm, d.card_gap_mm, d.measurable ? "" : ": cannot be measured"));
  return out;
}

std::string check_table(const PhotoCheck& check) {
  std::string out = one_line(check.photo.name) + "\n";
  if (check.refusal) {
    out += wrap("Would be refused: " + check.refusal->message + " (" + check.refusal->code + ")", "  ", "  ");
    out += wrap("What to do: " + remedy_with_options(*check.refusal), "  ", "  ");
  } else {
    out +=
        check.advice.empty() ? "  Ready: measure it.\n" : "  Ready: measure it, or improve the next shot.\n";
  }
  for (const ShotAdvice& advice : check.advice) out += wrap(advice.message, "  - ", "    ");
  for (const Warning& warning : check.warnings) out += wrap("Warning: " + warning.message, "  ", "  ");
  return out + figures_table(check);
}

/// Of a photo that will do: what one more would add, the card left where it is.
std::string second_photo_text(const PhotoCheck& check, const std::optional<SecondShot>& shot) {
  if (check.refusal || !shot) return "";
  const auto spot = static_cast<std::size_t>(shot->spot);
  const std::string which = check.reading.dents.size() > 1 ? fmt::format(" of spot {}", spot + 1) : "";
  std::string out =
      wrap(fmt::format("A second photo, read together with this one, would make the {}{} known to "
                       "about {:.1f} % instead of {:.1f} % ({} is what limits it). The card stays "
                       "where it is:",
                       shot->quantity, which, shot->expected_percent, shot->now_percent, shot->limited_by),
           "  ", "  ");
  for (const std::string& words : shot->words) out += wrap(words, "  - ", "    ");
  return out;
}

/// Draws what the second photo should be; says so where there is nothing to draw.
void write_second_photo_picture(const std::string& photo, const PhotoCheck& check,
                                const std::optional<SecondShot>& shot, const CheckArguments& a) {
  const ShotFigures& f = check.figures;
  if (check.refusal || !shot || !f.stripe_period_px || !f.stripe_direction_deg) {
    std::cout << "  No picture was written: there is no second photo to propose.\n";
    return;
  }
  NextPhoto next{shot->spot,
                 *f.stripe_direction_deg,
                 *f.stripe_period_px,
                 shot->turn_board_deg.value_or(0),
                 1,
                 shot->stripes_missing,
                 {}};
  for (const std::string& words : shot->words) next.words.push_back(in_units(words, a.units));
  if (shot->pitch_mm) next.period_factor = *shot->pitch_mm / check.setup.board_pitch_mm;
  if (shot->board_further_mm && check.setup.camera_distance_mm && check.setup.board_distance_mm) {
    // Seen in a flat mirror, the board is as far away as both ways together.
    const double ways = check.setup.camera_distance_mm->value + check.setup.board_distance_mm->value;
    next.period_factor *= ways / (ways + *shot->board_further_mm);
  }
  constexpr int picture_side_px = 2400;
  const Picture picture = next_photo_picture(read_photo_colour(photo, picture_side_px), check.reading, next);
  write_atomically(a.picture_file, encode_for_name(picture.bgr, a.picture_file));
}

int run_check(const CheckArguments& a) {
  if (!a.picture_file.empty() && a.photos.size() > 1)
    throw UsageError("--picture goes with one photo; give the photos one at a time");
  std::vector<PhotoCheck> checks;
  bool refused = false;
  for (std::size_t i = 0; i < a.photos.size(); ++i) {
    const MeasureRequest request = request_for(*a.photo, i, a.photos.size());
    checks.push_back(check_photo(read_photo(a.photos[i]), request));
    refused |= checks.back().refusal.has_value();
    const auto second = second_shot_after(checks.back());
    std::cout << check_table(checks.back()) << second_photo_text(checks.back(), second);
    if (!a.picture_file.empty()) write_second_photo_picture(a.photos[i], checks.back(), second, a);
  }
  if (!a.json_file.empty()) write_atomically(a.json_file, photo_checks_to_json(checks));
  return refused ? exit_refused : exit_ok;
}

}  // namespace

void add_check_command(CLI::App& app, ChosenCommand& chosen) {
  auto a = std::make_shared<CheckArguments>();
  auto* command = app.add_subcommand("check", "Can this photo be measured, and how to take a better one");
  command->add_option("PHOTO", a->photos, "Photo of striped reflection and card (JPEG, PNG, HEIC)")
      ->required();
  a->photo = add_photo_options(*command);
  command->add_option("--json", a->json_file, "Write what was found to this file; of several photos an array")
      ->type_name("FILE");
  command->add_option("--picture", a->picture_file, "Draw what a second photo should show: .png or .jpg")
      ->type_name("FILE");
  add_unit_options(*command, a->units);
  command->footer(examples);
  command->callback([a, &chosen] { chosen = [a] { return run_check(*a); }; });
}

}  // namespace ripplegauge::cli
