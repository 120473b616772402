// Language, country and paper as a command is told them, else as the workshop profile has them.
#include "wording_options.hpp"

#include "command.hpp"
#include "core/joined.hpp"
#include "files/texts_file.hpp"
#include "files/workshop_file.hpp"
#include "ripplegauge/core/errors.hpp"

namespace ripplegauge::cli {

namespace {

std::string first_said(const std::string& said, const std::optional<std::string>& in_profile) {
  return said.empty() ? in_profile.value_or("") : said;
}

CLI::Option* in_group(CLI::Option* option, const std::string& group) {
  return group.empty() ? option : option->group(group);
}

constexpr const char *inch_option = "--inch", *fahrenheit_option = "--fahrenheit";

}  // namespace

void add_unit_options(CLI::App& command, ShownUnits& units) {
  command.add_flag(inch_option, units.inches, "Tell lengths in inches, too");
  command.add_flag(fahrenheit_option, units.fahrenheit,
                   "Tell temperatures in \u00b0F; what you give stays in \u00b0C");
}

ShownUnits units_asked_of(const CLI::App& app) {
  const CLI::App* command = &app;
  while (!command->get_subcommands().empty()) command = command->get_subcommands().front();
  const auto asked = [&](const char* name) {
    const CLI::Option* option = option_named(*command, name);
    return option != nullptr && option->count() > 0;
  };
  return {asked(inch_option), asked(fahrenheit_option)};
}

void add_paper_option(CLI::App& command, WordingArguments& arguments, const std::string& group) {
  in_group(command.add_option("--paper", arguments.paper, "Of the PDF and of a printed page: a4, letter")
               ->transform(CLI::IsMember({"a4", "letter"}, CLI::ignore_case))
               ->type_name("WORD"),
           group);
}

void add_wording_options(CLI::App& command, WordingArguments& arguments, const std::string& group) {
  in_group(command
               .add_option("--language", arguments.language,
                           "Of texts and pages: " + joined(languages()) +
                               ", or your own texts (a copy of en.txt);\nelse the profile's, else en")
               ->type_name("WORD"),
           group);
  in_group(
      command
          .add_option("--locale", arguments.locale,
                      "How numbers and dates are written, such as de-DE or en-US;\nit chooses the paper, "
                      "too")
          ->type_name("WORD"),
      group);
  add_paper_option(command, arguments, group);
}

Wording english_on_paper(const WordingArguments& arguments, const std::filesystem::path& profile_file) {
  WordingArguments english = arguments;
  english.language = "en";
  return Wording::plain().on(wording_from(english, profile_file).paper());
}

Wording wording_from(const WordingArguments& arguments, const std::filesystem::path& profile_file,
                     const std::string& otherwise) {
  const WorkshopProfile profile =
      profile_file.empty() ? WorkshopProfile{} : read_workshop(profile_file, data_dir());
  const std::string language = first_said(arguments.language, profile.language);
  Texts texts = texts_named(language.empty() ? "en" : language);
  const std::string code = texts.at("language");
  std::string locale = first_said(arguments.locale, profile.locale);
  if (locale.empty()) locale = code == "en" || otherwise.starts_with(code) ? otherwise : code;
  const Wording words = wording_for(std::move(texts), locale).in(arguments.units);
  const std::string paper = first_said(arguments.paper, profile.paper);
  if (paper.empty()) return words;
  return words.on(paper == "letter" ? PagePaper::letter : PagePaper::a4);
}

}  // namespace ripplegauge::cli
