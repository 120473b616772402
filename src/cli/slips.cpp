// Slips that people make on the command line, and what they meant.
#include "slips.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cmath>
#include <cstdlib>
#include <numeric>
#include <optional>

#include "command.hpp"
#include "terminal.hpp"

namespace ripplegauge::cli {
namespace {

/// Letters to change, add, leave out or swap with their neighbour (optimal string alignment distance).
std::size_t letters_apart(const std::string& a, const std::string& b) {
  std::vector<std::size_t> two_ago, last(b.size() + 1), row(b.size() + 1);
  std::iota(last.begin(), last.end(), 0u);
  for (std::size_t i = 1; i <= a.size(); ++i) {
    row[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      row[j] = std::min({last[j] + 1, row[j - 1] + 1, last[j - 1] + (a[i - 1] == b[j - 1] ? 0 : 1)});
      const bool swapped = i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1];
      if (swapped) row[j] = std::min(row[j], two_ago[j - 2] + 1);
    }
    two_ago = last;
    std::swap(last, row);
  }
  return last[b.size()];
}

/// The parts of "--board-pitch": board, pitch.
std::vector<std::string> parts_of(const std::string& name) {
  std::vector<std::string> parts(1);
  for (const char c : name) {
    if (c != '-' && c != '_')
      parts.back() += static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
    else if (!parts.back().empty())
      parts.emplace_back();
  }
  if (parts.back().empty()) parts.pop_back();
  return parts;
}

std::string joined_parts(const std::string& name) {
  std::string all;
  for (const std::string& part : parts_of(name)) all += part;
  return all;
}

/// Every part of the one begins or is a part of the other: "--pitch" for "--board-pitch".
bool is_short_for(const std::string& typed, const std::string& known) {
  const std::vector<std::string> wanted = parts_of(typed), there = parts_of(known);
  return !wanted.empty() && std::all_of(wanted.begin(), wanted.end(), [&](const std::string& part) {
    return std::any_of(there.begin(), there.end(),
                       [&](const std::string& other) { return other.starts_with(part); });
  });
}

std::optional<std::string> nearest(const std::string& typed, const std::vector<std::string>& known) {
  const std::string bare = joined_parts(typed);
  std::optional<std::string> best;
  std::size_t best_apart = bare.size() / 3 + 1;  // more than a third of the letters is another word
  for (const std::string& name : known) {
    const std::size_t apart = letters_apart(bare, joined_parts(name));
    if (apart < best_apart) {
      best = name;
      best_apart = apart;
    }
  }
  if (best) return best;
  for (const std::string& name : known)
    if (is_short_for(typed, name) && (!best || name.size() < best->size())) best = name;
  return best;
}

std::vector<std::string> options_of(const CLI::App& command) {
  std::vector<std::string> names;
  for (const CLI::Option* option : command.get_options())
    if (!option->get_group().empty())
      for (const std::string& name : option->get_lnames()) names.push_back("--" + name);
  return names;
}

std::vector<std::string> commands_of(const CLI::App& command) {
  std::vector<std::string> names;
  for (const CLI::App* sub : command.get_subcommands([](const CLI::App*) { return true; }))
    names.push_back(sub->get_name());
  return names;
}

std::string no_such(const std::string& command, const std::string& kind, const std::string& word,
                    const std::optional<std::string>& meant) {
  return command + ": there is no " + kind + " " + word + (meant ? "; did you mean " + *meant + "?" : "") +
         "\n\"" + command + " --help\" lists what there is.";
}

/// A number, if the whole text is one.
std::optional<double> number_in(const std::string& text) {
  char* end = nullptr;
  const double value = std::strtod(text.c_str(), &end);
  return !text.empty() && *end == '\0' ? std::optional(value) : std::nullopt;
}

struct Plausible {
  const char* what;
  double least_mm, most_mm;           ///< outside of this it is refused
  double usual_from_mm, usual_to_mm;  ///< inside of this a guess is worth naming
  bool is_list = false;               ///< a comma parts the values of several photos
};

CLI::Validator plausible(const Plausible& rule) {
  return CLI::Validator(
      [rule](const std::string& text) -> std::string {
        const auto value = number_in(text);
        if (!value || !(*value > 0) || (*value >= rule.least_mm && *value <= rule.most_mm)) return "";
        std::string meant;
        for (const double factor :
             {10.0, 0.1, 1000.0, 25.4, 100.0, 0.01})  // cm, a lost point, m, inches, more
          if (const double mm = *value * factor;
              meant.empty() && mm >= rule.usual_from_mm && mm <= rule.usual_to_mm)
            meant = fmt::format("; did you mean {:.4g}?", mm);
        const char* parted = rule.is_list && text.find('.') == std::string::npos
                                 ? " (Decimals take a point: a comma parts the values of several photos.)"
                                 : "";
        return fmt::format("{} is in millimetres, and {} mm cannot be", rule.what, text) + meant + parted;
      },
      "", "");
}

}  // namespace

std::string unknown_word(const CLI::App& app, const std::vector<std::string>& words) {
  const CLI::App* command = &app;
  std::string path = app.get_name();
  for (const std::string& word : words) {
    const std::vector<std::string> subcommands = commands_of(*command);
    const bool is_option = word.size() > 1 && word[0] == '-' && !number_in(word);
    if (is_option) {
      const std::string name = word.substr(0, word.find('='));
      if (name == "--") return "";
      if (option_named(*command, name) == nullptr)
        return no_such(path, "option", name, nearest(name, options_of(*command)));
    } else if (!subcommands.empty()) {
      if (std::find(subcommands.begin(), subcommands.end(), word) == subcommands.end()) {
        std::vector<std::string> known = subcommands;
        for (const std::string& option : options_of(*command)) known.push_back(option);
        return no_such(path, "command", word, nearest(word, known));
      }
      command = command->get_subcommand(word);
      path += " " + word;
    }
  }
  return "";
}

void accept_decimal_commas(CLI::App& app) {
  const auto with_point = [](std::string& text) -> std::string {
    const std::size_t comma = text.find(',');
    if (comma == std::string::npos || text.find_first_of(",.", comma + 1) != std::string::npos ||
        text.find('.') != std::string::npos)
      return "";
    std::string pointed = text;
    pointed[comma] = '.';
    if (!number_in(pointed)) return "";
    if (text.size() - comma == 4)  // thousands, or decimals? Off by a thousand if it is guessed wrong
      return "\"" + text + "\" can be read in two ways; write " + pointed + " or " + text.substr(0, comma) +
             text.substr(comma + 1);
    text = pointed;
    return "";
  };
  for (CLI::Option* option : app.get_options()) {
    const std::string type = option->get_type_name();
    if ((type == "MM" || type == "CELSIUS") && option->get_delimiter() == '\0')
      option->transform(CLI::Validator(with_point, "", ""));
  }
  for (CLI::App* command : app.get_subcommands([](CLI::App*) { return true; }))
    accept_decimal_commas(*command);
}

CLI::Validator plausible_board_distance() {
  return plausible({"the board's distance", 40, 2000, 100, 700, true});
}

CLI::Validator possible_board_pitch() { return plausible({"the pitch", 0.5, 200, 6, 60, true}); }

CLI::Validator plausible_board_pitch() { return plausible({"the pitch", 2, 200, 6, 60, true}); }

CLI::Validator plausible_bar_length() { return plausible({"the check bar", 50, 200, 90, 110}); }

}  // namespace ripplegauge::cli
