// `sheet`: cards, boards and tags to print.
#include "sheet/sheet.hpp"

#include <fmt/format.h>

#include <cstdio>
#include <iostream>
#include <memory>
#include <tuple>
#include <utility>

#include "command.hpp"
#include "files/atomic_write.hpp"
#include "photo_options.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/json/board_file.hpp"

namespace ripplegauge::cli {
namespace {

struct CardArguments {
  std::string out = "card.pdf", paper = "a4", card_file;
};

struct BoardArguments {
  std::string out = "board.pdf", paper = "a4", board_file;
  double pitch_mm = BoardSheetOptions{}.pitch_mm, bar_mm = 100;
  bool tags = false;
  std::string tiles = "1x1";
};

struct TagArguments {
  std::string out = "tags.pdf", paper = "a4";
  TagSheetOptions options;
};

const std::vector<std::string> papers = {"a4", "letter", "a3"};

/// What every sheet asks: where to write it, and on what paper.
void add_page_options(CLI::App& command, std::string& out, std::string& paper) {
  command.add_option("--out", out, "PDF to write")->type_name("FILE")->capture_default_str();
  command.add_option("--paper", paper, "a4, letter or a3")
      ->transform(CLI::IsMember(papers, CLI::ignore_case))
      ->type_name("SIZE")
      ->capture_default_str();
}

Paper paper_of(const std::string& word) {
  if (word == "letter") return Paper::letter;
  return word == "a3" ? Paper::a3 : Paper::a4;
}

int run_card(const CardArguments& a) {
  const CardDefinition card = card_or_standard(a.card_file);
  write_atomically(a.out, card_sheet_pdf(card, paper_of(a.paper)));
  std::cout
      << "wrote " << a.out << "\n"
      << "Print it at 100 %, not \"fit to page\". Then measure the check bar with a steel rule and give\n"
         "its length to measure as --bar-length.\n";
  return exit_ok;
}

/// "2x3": two sheets across, three down.
std::pair<int, int> tiles_from(const std::string& given) {
  int across = 0, down = 0, read = 0;
  std::string text = given;
  for (char& c : text)
    if (c == 'X' || c == '*') c = 'x';
  if (std::sscanf(text.c_str(), "%2dx%2d%n", &across, &down, &read) != 2 ||
      static_cast<std::size_t>(read) != text.size())
    throw UsageError("--tile " + given + ": give sheets across and down, such as 2x1");
  return {across, down};
}

int run_board(const BoardArguments& a) {
  BoardSheetOptions options{.paper = paper_of(a.paper), .pitch_mm = a.pitch_mm, .tags = a.tags};
  std::tie(options.tiles_across, options.tiles_down) = tiles_from(a.tiles);
  const std::string board = a.tags ? "--board FILE" : fmt::format("--board-pitch {:g}", a.pitch_mm);
  options.how_to_measure = "ripplegauge measure PHOTO " + board + " --bar-length MM";
  write_atomically(a.out, board_sheet_pdf(options));
  std::cout << "wrote " << a.out << "\n"
            << "Print it at 100 %, not \"fit to page\". Its last page shows how to set the board up.\n";
  if (!a.board_file.empty()) {
    write_atomically(a.board_file, board_to_json(board_of_sheet(options, a.bar_mm)));
    std::cout << "wrote " << a.board_file
              << ", which says what the board is: give it to measure as --board\n";
  } else if (a.tags) {
    std::cout << "measure needs to know where the tags are: repeat with --board-file FILE\n";
  }
  return exit_ok;
}

int run_tags(TagArguments a) {
  a.options.paper = paper_of(a.paper);
  a.options.how_to_describe =
      "ripplegauge board NEW.json --from OLD.json --mirrored --tag NUMBER,RIGHT,UP,SIDE, once for each.";
  write_atomically(a.out, tag_sheet_pdf(a.options));
  std::cout
      << "wrote " << a.out << "\n"
      << "Print it at 100 %, not \"fit to page\". It says how to stick the tags on and describe them.\n";
  return exit_ok;
}

void add_card(CLI::App& sheet, ChosenCommand& chosen) {
  auto a = std::make_shared<CardArguments>();
  auto* card = sheet.add_subcommand("card", "The scale card with its check bar");
  add_page_options(*card, a->out, a->paper);
  card->add_option("--card", a->card_file, "Another card's file instead of the corner card")
      ->type_name("FILE");
  card->footer(
      "Examples:\n"
      "  ripplegauge sheet card\n"
      "  ripplegauge sheet card --paper letter --out card.pdf");
  card->callback([a, &chosen] { chosen = [a] { return run_card(*a); }; });
}

void add_board(CLI::App& sheet, ChosenCommand& chosen) {
  auto a = std::make_shared<BoardArguments>();
  auto* board = sheet.add_subcommand("board", "A striped board, of one sheet or more, and how to set it up");
  add_page_options(*board, a->out, a->paper);
  board->add_option("--pitch", a->pitch_mm, "One light plus one dark stripe, mm")
      ->type_name("MM")
      ->capture_default_str();
  board->add_flag(
      "--tags", a->tags,
      "Mirrored tags in the corners and along the short sides:\nthey tell how far the board stands");
  board
      ->add_option("--tile", a->tiles,
                   "A larger board: so many sheets across and down, with\nmarks where to cut and to glue")
      ->type_name("COLSxROWS")
      ->capture_default_str();
  board->add_option("--board-file", a->board_file, "Also write what the board is (JSON)")->type_name("FILE");
  board
      ->add_option(
          "--bar-length", a->bar_mm,
          "What the printed check bar measures, mm: the board file\nis scaled by it, the sheet is not")
      ->type_name("MM")
      ->capture_default_str();
  board->footer(
      "Examples:\n"
      "  ripplegauge sheet board --paper a3 --pitch 16\n"
      "  ripplegauge sheet board --tile 1x2 --tags --board-file board.json\n"
      "  ripplegauge sheet board --tags --out board.pdf --board-file board.json\n"
      "  the same with --bar-length 99.4, once it is printed and its bar measured");
  board->callback([a, &chosen] { chosen = [a] { return run_board(*a); }; });
}

void add_tags(CLI::App& sheet, ChosenCommand& chosen) {
  auto a = std::make_shared<TagArguments>();
  auto* tags = sheet.add_subcommand("tags", "Tags to stick onto a board that you have");
  add_page_options(*tags, a->out, a->paper);
  tags->add_option("--first", a->options.first_id, "Number of the first tag")
      ->type_name("ID")
      ->capture_default_str();
  tags->add_option("--count", a->options.count, "How many")->type_name("N")->capture_default_str();
  tags->add_option("--side", a->options.side_mm, "Side of the black square, mm")
      ->type_name("MM")
      ->capture_default_str();
  tags->footer(
      "Examples:\n"
      "  ripplegauge sheet tags\n"
      "  ripplegauge sheet tags --side 30 --count 4 --paper letter");
  tags->callback([a, &chosen] { chosen = [a] { return run_tags(*a); }; });
}

}  // namespace

void add_sheet_command(CLI::App& app, ChosenCommand& chosen) {
  auto* sheet =
      app.add_subcommand("sheet", "Print a scale card, a striped board, tags for one (PDF, true to size)");
  sheet->require_subcommand(1);
  add_card(*sheet, chosen);
  add_board(*sheet, chosen);
  add_tags(*sheet, chosen);
  sheet->footer(
      "Examples:\n"
      "  ripplegauge sheet card --out card.pdf\n"
      "  ripplegauge sheet board --paper a3 --out board.pdf");
}

}  // namespace ripplegauge::cli
