// `board`: describes a board of the user's own in a file, and checks its pitch on a photo.
#include <fmt/format.h>

#include <charconv>
#include <iostream>
#include <memory>
#include <optional>

#include "command.hpp"
#include "files/atomic_write.hpp"
#include "files/camera_profile_file.hpp"
#include "measure/pitch_check.hpp"
#include "option_hints.hpp"
#include "photo_options.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/json/board_file.hpp"
#include "ripplegauge/photo/photo.hpp"
#include "slips.hpp"
#include "terminal.hpp"

namespace ripplegauge::cli {
namespace {

constexpr double largest_mm = 10000;  // as board files allow

struct BoardArguments {
  std::string file, from;
  std::optional<std::string> name;
  std::optional<double> pitch_mm;
  bool mirrored = false;
  std::vector<std::string> tags;
  std::string photo, card_file, camera_file;
  std::optional<double> distance_mm;
  double bar_mm = 100;
};

template <class T>
bool take(std::string_view& text, T& value) {
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc() || end == text.data()) return false;
  text.remove_prefix(static_cast<std::size_t>(end - text.data()));
  if (text.starts_with(',')) text.remove_prefix(1);
  return true;
}

/// "ID,X,Y,SIDE".
BoardTag tag_from(const std::string& given) {
  constexpr int last_id = 586;  // of family 36h11
  BoardTag tag;
  std::string_view rest = given;
  const bool read =
      take(rest, tag.id) && take(rest, tag.x_mm) && take(rest, tag.y_mm) && take(rest, tag.side_mm);
  const auto within = [](double value_mm) { return value_mm >= -largest_mm && value_mm <= largest_mm; };
  if (!read || !rest.empty() || given.ends_with(','))
    throw UsageError("--tag " + given + ": give number,x,y,side in mm, such as --tag 40,-250,180,40");
  if (tag.id < 0 || tag.id > last_id)
    throw UsageError("--tag " + given + ": the number must be from 0 to " + std::to_string(last_id));
  if (!within(tag.x_mm) || !within(tag.y_mm) || !within(tag.side_mm) || tag.side_mm <= 0)
    throw UsageError("--tag " + given + ": the side must be above 0 and everything below 10 m");
  return tag;
}

/// What board files may say is decided where they are read: a file that measure would refuse is not written.
void require_readable(const std::string& text) {
  try {
    board_from_json(text, "this board");
  } catch (const FileError& error) {
    throw UsageError(error.what());
  }
}

/// What the options say, on top of the board that they start from.
BoardDefinition board_for(const BoardArguments& a) {
  if (a.from.empty() && !a.pitch_mm)
    throw UsageError("give the board's --pitch, or --from a board file that has it");
  BoardDefinition board = a.from.empty() ? BoardDefinition{} : read_board(a.from);
  if (a.name) board.name = *a.name;
  if (a.pitch_mm) board.pitch_mm = *a.pitch_mm;
  if (!(board.pitch_mm > 0 && board.pitch_mm <= largest_mm))
    throw UsageError("--pitch must be above 0 and below 10 m, in mm");
  if (a.mirrored && !board.tags.empty() && !board.printed_mirrored)
    throw UsageError("--mirrored: the tags of " + a.from +
                     " are not mirrored, and a board has one kind only");
  board.printed_mirrored = board.printed_mirrored || a.mirrored;
  for (const std::string& tag : a.tags) board.tags.push_back(tag_from(tag));
  if (const auto conflict = tag_conflict(board.tags)) throw UsageError("--tag: " + *conflict);
  return board;
}

/// Says what the photo shows of the pitch. False when the board file would be wrong.
bool pitch_holds(const BoardArguments& a, const BoardDefinition& board) {
  if (!a.distance_mm && board.tags.empty())
    throw UsageError(
        "--photo needs --board-distance: the tape, in mm, from the panel at the card's inner corner to the "
        "stripes seen there. Once a board is enough; measuring needs no tape, nor does a board with tags");
  MeasureRequest request;
  request.card = card_or_standard(a.card_file);
  request.board = board;
  request.board_pitch_mm = board.pitch_mm;
  request.board_distance_mm = a.distance_mm;
  request.bar_length_mm = a.bar_mm;
  if (!a.camera_file.empty()) request.camera = read_camera_profile(a.camera_file);
  const PitchCheck check = check_pitch(read_photo(a.photo), request);
  std::cout << a.photo << "\n";
  for (const Warning& warning : check.warnings) std::cout << wrap("Warning: " + warning.message, "  ", "  ");
  if (check.refusal) {
    std::cout << wrap("Pitch not checked: " + check.refusal->message, "  ", "  ")
              << wrap("What to do: " + remedy_with_options(*check.refusal), "  ", "  ");
    return false;
  }
  const std::string witness =
      a.distance_mm ? fmt::format("a distance of {:.0f} mm", *a.distance_mm) : "the board's tags";
  std::cout << wrap(
      fmt::format("pitch {:.2f} mm ({:.2f} to {:.2f}) by card, stripes and {}; stated: {:g} mm",
                  check.pitch_mm.value, check.pitch_mm.low, check.pitch_mm.high, witness, check.stated_mm),
      "  ", "  ");
  if (a.distance_mm)
    std::cout << wrap(fmt::format("standard uncertainty {:.1f} % from the tape, {:.1f} % from the photo",
                                  check.from_distance_percent, check.from_photo_percent),
                      "  ", "  ");
  switch (check.verdict) {
    case PitchVerdict::agrees:
      std::cout << "  They agree.\n";
      return true;
    case PitchVerdict::half:
      std::cout << wrap(
          "The stated pitch is half of that: a pitch is one light plus one dark stripe, not one stripe.",
          "  ", "  ");
      return false;
    case PitchVerdict::twice:
      std::cout << wrap("The stated pitch is twice that: a pitch is one light plus one dark stripe, not two.",
                        "  ", "  ");
      return false;
    case PitchVerdict::differs:
      break;
  }
  std::cout << wrap(
      "They disagree. Tape over ten pitches and divide; measure the card's check bar (--bar-length) and the "
      "distance again.",
      "  ", "  ");
  return false;
}

/// Nothing new is said of the board: its file is only to be checked.
bool only_checks(const BoardArguments& a) {
  return !a.photo.empty() && a.from.empty() && !a.name && !a.pitch_mm && !a.mirrored && a.tags.empty();
}

int run_board(const BoardArguments& a) {
  if (only_checks(a)) return pitch_holds(a, read_board(a.file)) ? exit_ok : exit_refused;
  const BoardDefinition board = board_for(a);
  if (std::filesystem::exists(a.file))
    throw UsageError(a.file + " exists already; choose another name, or remove it first");
  const std::string text = board_to_json(board);
  require_readable(text);
  if (!a.photo.empty() && !pitch_holds(a, board)) {
    std::cout << "No board file was written.\n";
    return exit_refused;
  }
  write_atomically(a.file, text);
  std::cout << "wrote " << a.file << ": pitch " << board.pitch_mm << " mm, "
            << (board.tags.empty() ? "no tags" : std::to_string(board.tags.size()) + " tags")
            << ". Give it to measure as --board\n";
  return exit_ok;
}

}  // namespace

void add_board_command(CLI::App& app, ChosenCommand& chosen) {
  auto a = std::make_shared<BoardArguments>();
  auto* board = app.add_subcommand("board", "Write the file that describes a striped board; check its pitch");
  board->add_option("NEW.json", a->file, "Board file to write; with nothing but a photo, the one to\ncheck")
      ->required();
  board
      ->add_option("--pitch", a->pitch_mm,
                   "One light plus one dark stripe, mm: tape over ten of them\nand divide")
      ->check(plausible_board_pitch())
      ->type_name("MM");
  board->add_option("--from", a->from, "Start from this board file: only say what is new")->type_name("FILE");
  board->add_option("--name", a->name, "What you call it")->type_name("TEXT");
  board
      ->add_option("--tag", a->tags,
                   "A tag on it: its number, its centre from the board's\n"
                   "centre (x right along the stripes, y up, as you face the\n"
                   "print), its black square's side; once for each tag")
      ->expected(1)
      ->take_all()
      ->type_name("ID,X,Y,SIDE");
  board->add_flag("--mirrored", a->mirrored, "The tags are printed mirrored: they read in the reflection");
  const std::string check = "Check the pitch on a photo of the board's reflection beside the card";
  board->add_option("--photo", a->photo, "Photo, best of a flat panel or a pane of glass")
      ->type_name("PHOTO")
      ->group(check);
  board
      ->add_option("--board-distance", a->distance_mm,
                   "Tape from the panel at the card's inner corner to the\nstripes seen there, mm")
      ->check(plausible_board_distance())
      ->type_name("MM")
      ->group(check);
  board->add_option("--bar-length", a->bar_mm, "What the card's 100 mm check bar really measures, mm")
      ->check(plausible_bar_length())
      ->type_name("MM")
      ->capture_default_str()
      ->group(check);
  board->add_option("--card", a->card_file, "Card file, if not the standard corner card")
      ->type_name("FILE")
      ->group(check);
  board->add_option("--camera", a->camera_file, "Camera profile of the phone's lens")
      ->type_name("FILE")
      ->group(check);
  board->footer(
      "Every depth is as good as the board's pitch, per cent for per cent. Check it once a board:\n"
      "photograph card and stripes in a flat pane, tape the distance this once (a board with\n"
      "tags needs no tape). The tape's share shrinks with distance; 2 mm of 400 are half a\n"
      "per cent.\n"
      "ripplegauge sheet tags prints tags to stick onto a board.\n\n"
      "Examples:\n"
      "  ripplegauge board wall.json --pitch 20 --name \"wall board\"\n"
      "  ripplegauge board wall.json --pitch 20 --photo wall.jpg --board-distance 310\n"
      "  ripplegauge board board.json --photo pane.jpg --board-distance 400 --bar-length 99.2\n"
      "  ripplegauge board tagged.json --from wall.json --mirrored --tag 40,-250,180,40 --tag 41,250,180,40");
  board->callback([a, &chosen] { chosen = [a] { return run_board(*a); }; });
}

}  // namespace ripplegauge::cli
