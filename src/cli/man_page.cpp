// The manual page, written from the same declarations as --help, in roff.
#include "man_page.hpp"

#include <set>

namespace ripplegauge::cli {
namespace {

/// Text as roff takes it literally: no escapes, no hyphens that break words, no line that looks like a
/// request.
std::string roff(const std::string& text) {
  std::string out;
  bool line_begins = true;
  for (const char c : text) {
    if (line_begins && (c == '.' || c == '\'')) out += "\\&";
    line_begins = c == '\n';
    if (c == '\\')
      out += "\\e";
    else if (c == '-')
      out += "\\-";
    else
      out += c;
  }
  return out;
}

/// Lines that stand as they are, and no blank ones at either end.
std::string as_it_stands(std::string text) {
  text.erase(0, text.find_first_not_of('\n'));
  while (text.ends_with('\n')) text.pop_back();
  return text.empty() ? "" : ".PP\n.nf\n" + roff(text) + "\n.fi\n";
}

bool takes_many(const CLI::Option& option) {
  return option.get_expected_max() == CLI::detail::expected_max_vector_size;
}

/// "FILE" of "FILE:NONNEGATIVE": how values are checked is for the message that refuses one.
std::string value_name(const CLI::Option& option) {
  const std::string type = option.get_type_name();
  return type.substr(0, type.find(':'));
}

std::string names_of(const std::set<CLI::Option*>& options) {
  std::string names;
  for (const CLI::Option* option : options) names += (names.empty() ? "" : ", ") + option->get_name();
  return names;
}

/// "--coins COUNTRY" with what --help says of it, as a sentence.
std::string option_text(const CLI::Option& option) {
  const bool positional = !option.nonpositional();
  std::string head = "\\fB" + roff(option.get_name(positional, true)) + "\\fR";
  if (!positional && option.get_type_size() != 0) head += " \\fI" + roff(value_name(option)) + "\\fR";
  if (takes_many(option)) head += " ...";
  std::string text = option.get_description();
  if (!option.get_default_str().empty()) text += " (" + option.get_default_str() + " unless given)";
  if (option.get_required() && !positional) text += " (must be given)";
  if (!option.get_needs().empty()) text += " (with " + names_of(option.get_needs()) + ")";
  if (!option.get_excludes().empty()) text += " (not with " + names_of(option.get_excludes()) + ")";
  return ".TP\n" + head + "\n" + roff(text) + "\n";
}

/// "ripplegauge measure PHOTO ... [OPTION ...]"
std::string usage_text(const CLI::App& command, const std::string& path) {
  std::string line = ".PP\n\\fBripplegauge " + roff(path + command.get_name()) + "\\fR";
  for (const CLI::Option* option :
       command.get_options([](const CLI::Option* o) { return !o->nonpositional(); })) {
    const std::string name = roff(option->get_name(true, true)) + (takes_many(*option) ? " ..." : "");
    line += option->get_required() ? " " + name : " [" + name + "]";
  }
  return line + (command.get_require_subcommand_min() > 0 ? " COMMAND" : "") + " [OPTION ...]\n";
}

/// --help is the same everywhere and stands once, with the program.
std::string options_text(const CLI::App& app) {
  std::string text;
  for (const std::string& group : app.get_groups()) {
    if (group.empty()) continue;  // hidden
    const auto options = app.get_options([&](const CLI::Option* option) {
      return option->get_group() == group && (app.get_parent() == nullptr || option != app.get_help_ptr());
    });
    if (options.empty()) continue;
    if (group != "Options") text += ".PP\n\\fI" + roff(group) + "\\fR\n";
    for (const CLI::Option* option : options) text += option_text(*option);
  }
  return text;
}

void add_command(const CLI::App& command, const std::string& path, std::string& page) {
  page += ".SS \"" + roff(path + command.get_name()) + "\"\n" + roff(command.get_description()) + "\n";
  page += usage_text(command, path) + options_text(command) + as_it_stands(command.get_footer());
  for (const CLI::App* below : command.get_subcommands([](const CLI::App*) { return true; }))
    add_command(*below, path + command.get_name() + " ", page);
}

}  // namespace

std::string man_page(const CLI::App& app, const std::string& version) {
  std::string page = ".TH RIPPLEGAUGE 1 \"\" \"ripplegauge " + version + "\" \"User Commands\"\n";
  page += ".SH NAME\nripplegauge \\- measures dents in car panels from one photo of reflected stripes\n";
  page += ".SH SYNOPSIS\n.B ripplegauge\nCOMMAND [OPTION ...]\n.br\n.B ripplegauge\nCOMMAND \\-\\-help\n";
  page += ".SH DESCRIPTION\n" + roff(app.get_description()) + "\n" + options_text(app);
  page += ".SH COMMANDS\n";
  for (const CLI::App* command : app.get_subcommands([](const CLI::App*) { return true; }))
    add_command(*command, "", page);
  page +=
      ".SH EXIT STATUS\n.TP\n0\nDone.\n.TP\n2\nThe command line makes no sense.\n.TP\n3\nA photo cannot be "
      "measured; "
      "the message says why and what to do.\n.TP\n4\nA file cannot be read or written.\n"
      ".SH ENVIRONMENT\n.TP\nRIPPLEGAUGE_DATA\nThe folder of cards, rules, metals, coins and kit that is "
      "used instead of "
      "the one installed with the program.\n"
      ".SH FILES\n.TP\nPREFIX/share/ripplegauge\nThat folder, beside PREFIX/bin where the program "
      "stands. Copy a file, change it, and name the copy with the option that reads it.\n";
  return page;
}

}  // namespace ripplegauge::cli
