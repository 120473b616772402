// Slips that people make on the command line: each is named together with what was most likely meant.
#pragma once

#include <CLI/CLI.hpp>
#include <string>
#include <vector>

namespace ripplegauge::cli {

/// What to say when `words` (the command line without the program) hold a command or an option that does not
/// exist; empty when they do not.
std::string unknown_word(const CLI::App& app, const std::vector<std::string>& words);

/// "98,4" is read as 98.4 by every option of one number, in whatever command. Options that take a number for
/// each photo part them by commas, and go without.
void accept_decimal_commas(CLI::App& app);

/// Refuses lengths that only come about by another unit or a lost decimal point, and says which one was
/// meant.
CLI::Validator plausible_board_distance();
CLI::Validator plausible_board_pitch();
/// The same for a photo that is there already: finer stripes than a board is printed with are refused by what
/// the photo shows.
CLI::Validator possible_board_pitch();
CLI::Validator plausible_bar_length();

}  // namespace ripplegauge::cli
