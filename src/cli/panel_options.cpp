// Options of what only a person at the panel knows, and the data that plans rest on.
#include "panel_options.hpp"

#include <algorithm>
#include <utility>

#include "command.hpp"
#include "core/joined.hpp"
#include "files/advice_file.hpp"
#include "files/workshop_file.hpp"
#include "words/text.hpp"

namespace ripplegauge::cli {
namespace {

/// Words as people type them: hyphens for underscores, capitals, and a few other names.
std::string tidy(std::string text) {
  static const std::pair<const char*, const char*> other_names[] = {
      {"steel", "mild_steel"},       {"mild", "mild_steel"},  {"high_strength", "high_strength_steel"},
      {"aluminum", "aluminium"},     {"unknown", "not_sure"}, {"wax", "wax_or_sealant"},
      {"sealant", "wax_or_sealant"}, {"cracked", "damaged"},  {"lifting", "damaged"},
      {"line", "body_line"},         {"yes", "reachable"},    {"no", "closed"}};
  text = lower_case(text);
  for (char& c : text)
    if (c == '-' || c == ' ') c = '_';
  for (const auto& [other, word] : other_names)
    if (text == other) return word;
  return text;
}

template <class E>
std::string choices() {
  std::vector<std::string> words = all_words<E>();
  for (std::string& word : words) std::replace(word.begin(), word.end(), '_', '-');
  return joined(words);
}

constexpr const char* group = "What the photo cannot show";

template <class E>
void add_word(CLI::App& command, PanelArguments& arguments, const std::string& name, E PanelFacts::*fact,
              const std::string& text) {
  const auto set = [name, fact, &arguments](const std::string& given) {
    const auto value = from_word<E>(tidy(given));
    if (!value) throw CLI::ValidationError(name, "\"" + given + "\" is not one of " + choices<E>());
    arguments.said.push_back([fact, value](PanelFacts& facts) { facts.*fact = *value; });
  };
  command.add_option_function<std::string>(name, set, text + ": " + choices<E>())
      ->type_name("WORD")
      ->group(group);
}

void add_number(CLI::App& command, PanelArguments& arguments, const std::string& name,
                std::optional<double> PanelFacts::*fact, const std::string& unit, const std::string& text) {
  const auto set = [fact, &arguments](double given) {
    arguments.said.push_back([fact, given](PanelFacts& facts) { facts.*fact = given; });
  };
  command.add_option_function<double>(name, set, text)->type_name(unit)->group(group);
}

}  // namespace

std::shared_ptr<PanelArguments> add_panel_options(CLI::App& command) {
  auto arguments = std::make_shared<PanelArguments>();
  PanelArguments& panel = *arguments;
  add_word(command, panel, "--material", &PanelFacts::material, "Metal of the panel; a magnet tells steel");
  add_number(command, panel, "--thickness", &PanelFacts::thickness_mm, "MM", "Sheet thickness");
  add_word(command, panel, "--paint", &PanelFacts::paint, "Paint (damaged: cracked or lifting)");
  add_word(command, panel, "--coating", &PanelFacts::coating, "Coating on the paint");
  add_word(command, panel, "--place", &PanelFacts::place, "Where the dent lies");
  add_word(command, panel, "--access", &PanelFacts::access, "From behind");
  add_number(command, panel, "--air", &PanelFacts::air_c, "CELSIUS", "Air temperature");
  add_number(command, panel, "--panel-temperature", &PanelFacts::panel_c, "CELSIUS", "Panel temperature");
  command
      .add_option("--facts", panel.facts_file, "All of these from a file (JSON); what is said beside it wins")
      ->type_name("FILE")
      ->group(group);
  command
      .add_option("--kit", panel.kit,
                  "Your kit (JSON); else the profile's, else kit.json of the\ndata folder, else none")
      ->type_name("FILE")
      ->group(group);
  command
      .add_option("--coins", panel.coins,
                  "Coins to compare with: us, euro, uk; else the profile's, or\nthose of its locale, else us")
      ->type_name("COUNTRY")
      ->group(group);
  return arguments;
}

PanelFacts panel_facts_of(const PanelArguments& arguments) {
  PanelFacts facts;
  if (!arguments.facts_file.empty()) facts = read_panel_facts(arguments.facts_file);
  for (const auto& say : arguments.said) say(facts);
  facts.validate();
  return facts;
}

AdviceData advice_data_for(const PanelArguments& arguments, const std::string& profile_file) {
  WorkshopProfile profile;
  if (!profile_file.empty()) profile = read_workshop(profile_file, data_dir());
  if (!arguments.kit.empty()) profile.kit_file = arguments.kit;
  if (!arguments.coins.empty()) profile.coin_country = arguments.coins;
  return read_advice_data(data_dir(), profile.kit_file, profile.coin_country.value_or(""),
                          profile.locale.value_or(""));
}

}  // namespace ripplegauge::cli
