#include <iostream>
#include <memory>

#include "command.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/files/atomic_write.hpp"
#include "ripplegauge/files/board_file.hpp"
#include "ripplegauge/files/card_file.hpp"
#include "ripplegauge/sheet/sheet.hpp"

namespace ripplegauge::cli {
namespace {

struct SheetArguments {
  std::string paper = "a4", out, card_file, board_file;
  double pitch_mm = 16, bar_mm = 100;
  bool tags = false;
};

Paper paper_of(const std::string& word) {
  if (word == "letter") return Paper::letter;
  return word == "a3" ? Paper::a3 : Paper::a4;
}

int run_card(const SheetArguments& a) {
  const CardDefinition card =
      read_card(a.card_file.empty() ? data_dir() / "card-corner.json" : std::filesystem::path(a.card_file));
  const std::string out = a.out.empty() ? "card.pdf" : a.out;
  write_atomically(out, card_sheet_pdf(card, paper_of(a.paper)));
  std::cout << "wrote " << out << ". Print at 100 % (no \"fit to page\"), then measure the check bar with a steel rule\n"
            << "and give what it is with --bar-length.\n";
  return exit_ok;
}

int run_board(const SheetArguments& a) {
  const BoardSheetOptions options{paper_of(a.paper), a.pitch_mm, a.tags};
  options.validate();
  const std::string out = a.out.empty() ? "board.pdf" : a.out;
  write_atomically(out, board_sheet_pdf(options));
  std::cout << "wrote " << out << ". Print at 100 %; page 2 shows how to set it up.\n";
  if (!a.board_file.empty()) {
    write_atomically(a.board_file, board_to_json(board_of_sheet(options, a.bar_mm)));
    std::cout << "wrote " << a.board_file << ", the board's description for measure --board.\n";
  }
  return exit_ok;
}

}  // namespace

void add_sheet_command(CLI::App& app, ChosenCommand& chosen) {
  auto* sheet = app.add_subcommand("sheet", "Print a scale card or a striped board (PDF, true to size)");
  sheet->require_subcommand(1);
  auto a = std::make_shared<SheetArguments>();

  auto* card = sheet->add_subcommand("card", "The scale card with its check bar");
  card->add_option("--out", a->out, "PDF to write [card.pdf]")->type_name("FILE");
  card->add_option("--paper", a->paper, "a4 or letter")->check(CLI::IsMember({"a4", "letter"}))->type_name("SIZE")->capture_default_str();
  card->add_option("--card", a->card_file, "Another card's file")->type_name("FILE");
  card->footer("Example:\n  ripplegauge sheet card --paper letter --out card.pdf");
  card->callback([a, &chosen] { chosen = [a] { return run_card(*a); }; });

  auto* board = sheet->add_subcommand("board", "A striped board, with tags if you like");
  board->add_option("--out", a->out, "PDF to write [board.pdf]")->type_name("FILE");
  board->add_option("--paper", a->paper, "a4, letter or a3")->check(CLI::IsMember({"a4", "letter", "a3"}))->type_name("SIZE")->capture_default_str();
  board->add_option("--pitch", a->pitch_mm, "One light plus one dark stripe, mm")->type_name("MM")->capture_default_str();
  board->add_flag("--tags", a->tags, "Mirrored tags in the corners and beside");
  board->add_option("--board-file", a->board_file, "Also write the board's description (JSON)")->type_name("FILE");
  board->add_option("--bar-length", a->bar_mm, "What the printed check bar measures, mm")->type_name("MM")->capture_default_str();
  board->footer("Examples:\n"
                "  ripplegauge sheet board --paper a3 --pitch 16 --out board.pdf\n"
                "  ripplegauge sheet board --tags --board-file board.json --bar-length 99.4");
  board->callback([a, &chosen] { chosen = [a] { return run_board(*a); }; });
  sheet->footer("Examples:\n  ripplegauge sheet card --out card.pdf\n  ripplegauge sheet board --paper a3 --out board.pdf");
}

}  // namespace ripplegauge::cli
