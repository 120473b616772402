// Asks once for what stays the same from photo to photo, and keeps it in a workshop profile.
#include <fmt/format.h>
#include <unistd.h>

#include <cstdlib>
#include <functional>
#include <iostream>
#include <memory>
#include <optional>

#include "command.hpp"
#include "files/advice_file.hpp"
#include "files/atomic_write.hpp"
#include "files/camera_profile_file.hpp"
#include "files/kit_file.hpp"
#include "files/workshop_file.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/json/board_file.hpp"
#include "ripplegauge/json/card_file.hpp"
#include "slips.hpp"
#include "terminal.hpp"
#include "wording_options.hpp"

namespace ripplegauge::cli {
namespace {

namespace fs = std::filesystem;

struct SetupArguments {
  std::string file = "workshop.json";
  std::optional<double> pitch_mm, bar_mm;
  std::string board_file, card_file, camera_file, kit_file, coins;
  WordingArguments wording;

  bool say_nothing() const {
    return !pitch_mm && !bar_mm && board_file.empty() && card_file.empty() && camera_file.empty() &&
           kit_file.empty() && coins.empty() && wording.language.empty() && wording.locale.empty() &&
           wording.paper.empty();
  }
};

/// Here, else among the files that come with the program.
fs::path found(std::string name) {
  if (const char* home = std::getenv("HOME"); home != nullptr && name.starts_with("~/"))
    name = home + name.substr(1);
  std::error_code unreadable;
  const fs::path with_program = data_dir() / name;
  return !fs::exists(name, unreadable) && fs::exists(with_program, unreadable) ? with_program
                                                                               : fs::path(name);
}

// A profile that measure would refuse is not written: each file is read before it is named.

void take_board(WorkshopProfile& profile, const std::string& name) {
  const fs::path file = found(name);
  read_board(file);
  profile.board_file = file;
  profile.board_pitch_mm.reset();  // the board's file has it
}

void take_pitch(WorkshopProfile& profile, double pitch_mm) {
  profile.board_pitch_mm = pitch_mm;
  profile.board_file.reset();
}

void take_camera(WorkshopProfile& profile, const std::string& name) {
  const fs::path file = found(name);
  read_camera_profile(file);
  profile.camera_file = file;
}

void take_kit(WorkshopProfile& profile, const std::string& name) {
  const fs::path file = found(name);
  read_kit(file);
  profile.kit_file = file;
}

void take_card(WorkshopProfile& profile, const std::string& name) {
  const fs::path file = found(name);
  read_card(file);
  profile.card_file = file;
}

void take_coins(WorkshopProfile& profile, const std::string& country) {
  read_advice_data(data_dir(), std::nullopt, country);  // refuses a country that has none
  profile.coin_country = country;
}

/// Refuses what no page could be made with.
void take_wording(const WordingArguments& said, WorkshopProfile& profile) {
  wording_from(said, "");
  if (!said.language.empty())
    profile.language = said.language.ends_with(".txt") ? fs::absolute(said.language).string() : said.language;
  if (!said.locale.empty()) profile.locale = said.locale;
  if (!said.paper.empty()) profile.paper = said.paper;
}

/// Millimetres as people type them. Throws UsageError.
double length_from(std::string text, const CLI::Validator& plausible) {
  if (const std::size_t comma = text.find(','); comma != std::string::npos) text[comma] = '.';
  char* end = nullptr;
  const double length_mm = std::strtod(text.c_str(), &end);
  if (text.empty() || *end != '\0' || !(length_mm > 0))
    throw UsageError("\"" + text + "\" is no length; give millimetres, such as 16 or 99.2");
  if (const std::string wrong = plausible(text); !wrong.empty()) throw UsageError(wrong);
  return length_mm;
}

bool names_a_file(const std::string& answer) {
  return answer.find_first_of("/~") != std::string::npos || answer.ends_with(".json");
}

struct Question {
  const char* text;
  std::string now;                               ///< what holds if nothing is answered
  std::function<void(const std::string&)> take;  ///< throws what is wrong with an answer
  std::function<void()> forget;                  ///< for the answer "-"
};

/// Asks until the answer can be taken. Throws UsageError when the input ends.
void ask(const Question& question) {
  std::cout << "\n" << wrap(question.text, "", "");
  for (;;) {
    std::cout << "  [" << question.now << "] > " << std::flush;
    std::string answer;
    if (!std::getline(std::cin, answer)) throw UsageError("stopped: nothing was written");
    const std::size_t begin = answer.find_first_not_of(" \t\r");
    if (begin == std::string::npos) return;
    answer = answer.substr(begin, answer.find_last_not_of(" \t\r") + 1 - begin);
    try {
      if (answer == "-")
        question.forget();
      else
        question.take(answer);
      return;
    } catch (const std::exception& error) {
      std::cout << wrap(error.what(), "  ", "  ");
    }
  }
}

std::string shown(const std::optional<double>& length_mm, const std::optional<fs::path>& file,
                  const std::string& otherwise) {
  if (file) return file->string();
  return length_mm ? fmt::format("{:.6g} mm", *length_mm) : otherwise;
}

void ask_all(WorkshopProfile& profile) {
  std::cout << wrap("Four questions. Enter keeps what stands in brackets, - means none.", "", "");
  ask(
      {"The board: its pitch in mm (one light plus one dark stripe: tape over ten of them and divide), or "
       "its "
       "board file.",
       shown(profile.board_pitch_mm, profile.board_file, "none"),
       [&](const std::string& answer) {
         if (names_a_file(answer))
           take_board(profile, answer);
         else
           take_pitch(profile, length_from(answer, plausible_board_pitch()));
       },
       [&] {
         profile.board_file.reset();
         profile.board_pitch_mm.reset();
       }});
  ask({"The card: what its 100 mm check bar measures by a steel rule, to 0.2 mm. Printers scale.",
       shown(profile.bar_length_mm, std::nullopt, "not measured"),
       [&](const std::string& answer) {
         profile.bar_length_mm = length_from(answer, plausible_bar_length());
       },
       [&] { profile.bar_length_mm.reset(); }});
  ask({"The phone: its camera profile, if you have one (ripplegauge camera makes it).",
       shown(std::nullopt, profile.camera_file, "none"),
       [&](const std::string& answer) { take_camera(profile, answer); },
       [&] { profile.camera_file.reset(); }});
  ask(
      {"Your kit of tabs, pullers and glues: its file, if you have one (kit-sample.json is one to start "
       "from).",
       shown(std::nullopt, profile.kit_file, "none"),
       [&](const std::string& answer) { take_kit(profile, answer); }, [&] { profile.kit_file.reset(); }});
}

void take_options(const SetupArguments& a, WorkshopProfile& profile) {
  if (a.pitch_mm) take_pitch(profile, *a.pitch_mm);
  if (!a.board_file.empty()) take_board(profile, a.board_file);
  if (a.bar_mm) profile.bar_length_mm = a.bar_mm;
  if (!a.card_file.empty()) take_card(profile, a.card_file);
  if (!a.camera_file.empty()) take_camera(profile, a.camera_file);
  if (!a.kit_file.empty()) take_kit(profile, a.kit_file);
  if (!a.coins.empty()) take_coins(profile, a.coins);
  take_wording(a.wording, profile);
}

std::string line(const char* name, const std::string& text) {
  return wrap(text, fmt::format("  {:<8}", name), std::string(10, ' '));
}

void print_profile(const std::string& file, const WorkshopProfile& profile) {
  std::cout << "wrote " << file << "\n"
            << line("board", shown(profile.board_pitch_mm, profile.board_file,
                                   "none: say --board-pitch with every photo"))
            << line("bar", shown(profile.bar_length_mm, std::nullopt,
                                 "not measured: intervals are as wide as printers scale"))
            << line("camera",
                    shown(std::nullopt, profile.camera_file, "none: EXIF or the card tell the lens"))
            << line("kit", shown(std::nullopt, profile.kit_file, "none: plans name tools by their kind"))
            << wrap(
                   "Give it to measure, check, compare, plan and next as --profile " + file +
                       ". Every depth is as good as the pitch, per cent for per cent: check it once a board, "
                       "ripplegauge board --help.",
                   "", "");
}

int run_setup(const SetupArguments& a) {
  std::error_code unreadable;
  WorkshopProfile profile;
  if (fs::exists(a.file, unreadable)) profile = read_workshop(a.file, data_dir());
  if (!a.say_nothing())
    take_options(a, profile);
  else if (::isatty(STDIN_FILENO) == 1)
    ask_all(profile);
  else
    throw UsageError(
        "setup has nothing to write: give --board-pitch or --board, --bar-length, --camera, --kit, or run it "
        "at a terminal, where it asks");
  write_atomically(a.file, workshop_to_json(profile, fs::path(a.file).parent_path(), data_dir()));
  print_profile(a.file, profile);
  return exit_ok;
}

constexpr const char* examples =
    R"(Without options it asks for them, at a terminal. A profile that is there already is
changed: what you do not say stays. It may be copied to any folder.

Examples:
  ripplegauge setup
  ripplegauge setup --board-pitch 16 --bar-length 99.2
  ripplegauge setup bay2.json --board board.json --camera phone.json --kit mykit.json)";

}  // namespace

void add_setup_command(CLI::App& app, ChosenCommand& chosen) {
  auto a = std::make_shared<SetupArguments>();
  auto* setup = app.add_subcommand("setup", "Say once what stays the same: board, check bar, phone, kit");
  setup->add_option("FILE", a->file, "Workshop profile to write or to change")->capture_default_str();
  auto* pitch =
      setup->add_option("--board-pitch", a->pitch_mm, "One light plus one dark stripe of the board, mm")
          ->check(plausible_board_pitch())
          ->type_name("MM");
  setup->add_option("--board", a->board_file, "Board file, which has the pitch and the tags")
      ->type_name("FILE")
      ->excludes(pitch);
  setup->add_option("--bar-length", a->bar_mm, "What the card's 100 mm check bar really measures, mm")
      ->check(plausible_bar_length())
      ->type_name("MM");
  setup->add_option("--card", a->card_file, "Card file, if not the standard corner card")->type_name("FILE");
  setup->add_option("--camera", a->camera_file, "Camera profile of the phone's lens; see ripplegauge camera")
      ->type_name("FILE");
  setup->add_option("--kit", a->kit_file, "Your kit")->type_name("FILE");
  setup->add_option("--coins", a->coins, "Coins to compare with: us, euro, uk")->type_name("COUNTRY");
  add_wording_options(*setup, a->wording);
  setup->footer(examples);
  setup->callback([a, &chosen] { chosen = [a] { return run_setup(*a); }; });
}

}  // namespace ripplegauge::cli
