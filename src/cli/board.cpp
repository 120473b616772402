#include <charconv>
#include <iostream>
#include <memory>

#include "command.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/files/atomic_write.hpp"
#include "ripplegauge/files/board_file.hpp"

namespace ripplegauge::cli {
namespace {

constexpr double largest_mm = 10000;  // as board files allow

struct BoardArguments {
  std::string file, name;
  double pitch_mm = 0;
  bool mirrored = false;
  std::vector<std::string> tags;
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

int run_board(const BoardArguments& a) {
  if (!(a.pitch_mm > 0 && a.pitch_mm <= largest_mm))
    throw UsageError("--pitch must be above 0 and below 10 m, in mm");
  BoardDefinition board{a.name, a.pitch_mm, a.mirrored, {}};
  for (const std::string& tag : a.tags) board.tags.push_back(tag_from(tag));
  if (const auto conflict = tag_conflict(board.tags)) throw UsageError("--tag: " + *conflict);
  if (std::filesystem::exists(a.file))
    throw UsageError(a.file + " exists already; choose another name, or remove it first");
  const std::string text = board_to_json(board);
  require_readable(text);
  write_atomically(a.file, text);
  std::cout << "wrote " << a.file << ": pitch " << a.pitch_mm << " mm, "
            << (board.tags.empty() ? "no tags" : std::to_string(board.tags.size()) + " tags")
            << ". Give it to measure as --board\n";
  return exit_ok;
}

}  // namespace

void add_board_command(CLI::App& app, ChosenCommand& chosen) {
  auto a = std::make_shared<BoardArguments>();
  auto* board = app.add_subcommand("board", "Write the file that describes a striped board you own");
  board->add_option("NEW.json", a->file, "Board file to write")->required();
  board
      ->add_option("--pitch", a->pitch_mm,
                   "One light plus one dark stripe, mm: tape over ten of them\nand divide")
      ->required()
      ->type_name("MM");
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
  board->footer(
      "Examples:\n"
      "  ripplegauge board wall.json --pitch 20 --name \"wall board\"\n"
      "  ripplegauge board stickers.json --pitch 16 --mirrored --tag 40,-250,180,40 --tag 41,250,180,40");
  board->callback([a, &chosen] { chosen = [a] { return run_board(*a); }; });
}

}  // namespace ripplegauge::cli
