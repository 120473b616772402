// Options for the language, numbers and paper of what a command writes.
#pragma once

#include <CLI/CLI.hpp>
#include <filesystem>
#include <string>

#include "words/wording.hpp"

namespace ripplegauge::cli {

struct WordingArguments {
  std::string language, locale, paper;
  ShownUnits units;
};

/// --inch and --fahrenheit. What the command prints is told in them without its doing; its drawings and pages
/// are where it hands `units` on.
void add_unit_options(CLI::App& command, ShownUnits& units);
/// What was asked of the command that was chosen, which may have these options.
ShownUnits units_asked_of(const CLI::App& app);

/// --language, --locale and --paper.
void add_wording_options(CLI::App& command, WordingArguments& arguments, const std::string& group = "");
/// --paper alone, for pages that are in English.
void add_paper_option(CLI::App& command, WordingArguments& arguments, const std::string& group = "");

/// What is said goes before the workshop profile (empty: none), the profile before `otherwise`, a locale.
/// Where nobody names a locale of the language, the language itself is one. Throws UsageError, and FileError
/// for a file of texts.
Wording wording_from(const WordingArguments& arguments, const std::filesystem::path& profile,
                     const std::string& otherwise = "");

/// English for a page that is in no other language, on the paper that is said, else the profile's.
Wording english_on_paper(const WordingArguments& arguments, const std::filesystem::path& profile = {});

}  // namespace ripplegauge::cli
