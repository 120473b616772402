#include "panel_options.hpp"

#include <algorithm>
#include <utility>

#include "command.hpp"
#include "ripplegauge/files/advice_file.hpp"

namespace ripplegauge::cli {
namespace {

/// Words as people type them: hyphens for underscores, capitals, and a few other names.
std::string tidy(std::string text) {
  static const std::pair<const char*, const char*> other_names[] = {{"steel", "mild_steel"},
                                                                    {"mild", "mild_steel"},
                                                                    {"high_strength", "high_strength_steel"},
                                                                    {"aluminum", "aluminium"},
                                                                    {"unknown", "not_sure"},
                                                                    {"wax", "wax_or_sealant"},
                                                                    {"sealant", "wax_or_sealant"},
                                                                    {"slick", "ceramic_slick"},
                                                                    {"cracked", "damaged"},
                                                                    {"lifting", "damaged"},
                                                                    {"line", "body_line"},
                                                                    {"yes", "reachable"},
                                                                    {"no", "closed"}};
  for (char& c : text) {
    if (c == '-' || c == ' ') c = '_';
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  }
  for (const auto& [other, word] : other_names)
    if (text == other) return word;
  return text;
}

template <class E>
std::string choices() {
  std::string text;
  for (std::string word : all_words<E>()) {
    std::replace(word.begin(), word.end(), '_', '-');
    text += (text.empty() ? "" : ", ") + word;
  }
  return text;
}

template <class E>
void add_word(CLI::App& command, const std::string& name, E& target, const std::string& text) {
  command
      .add_option_function<std::string>(
          name,
          [name, &target](const std::string& given) {
            const auto value = from_word<E>(tidy(given));
            if (!value) throw CLI::ValidationError(name, "\"" + given + "\" is not one of " + choices<E>());
            target = *value;
          },
          text + ": " + choices<E>())
      ->type_name("WORD")
      ->group("What the photo cannot show");
}

void add_number(CLI::App& command, const std::string& name, std::optional<double>& target,
                const std::string& unit, const std::string& text) {
  command.add_option(name, target, text)->type_name(unit)->group("What the photo cannot show");
}

}  // namespace

std::shared_ptr<PanelArguments> add_panel_options(CLI::App& command) {
  auto arguments = std::make_shared<PanelArguments>();
  PanelFacts& facts = arguments->facts;
  add_word(command, "--material", facts.material, "Metal of the panel; a magnet tells steel");
  add_number(command, "--thickness", facts.thickness_mm, "MM", "Sheet thickness");
  add_word(command, "--paint", facts.paint, "Paint (damaged: cracked or lifting)");
  add_word(command, "--coating", facts.coating, "Coating on the paint");
  add_word(command, "--place", facts.place, "Where the dent lies");
  add_word(command, "--access", facts.access, "From behind");
  add_number(command, "--air", facts.air_c, "CELSIUS", "Air temperature");
  add_number(command, "--panel", facts.panel_c, "CELSIUS", "Panel temperature");
  command.add_option("--kit", arguments->kit, "Your kit (JSON); else kit.json of the data folder, else none")
      ->type_name("FILE")
      ->group("What the photo cannot show");
  command.add_option("--coins", arguments->coins, "Coins to compare with: us, euro, uk")
      ->type_name("COUNTRY")
      ->capture_default_str()
      ->group("What the photo cannot show");
  return arguments;
}

AdviceData advice_data_for(const PanelArguments& arguments) {
  arguments.facts.validate();
  const auto kit = arguments.kit.empty() ? std::nullopt : std::optional<std::filesystem::path>(arguments.kit);
  return read_advice_data(data_dir(), kit, arguments.coins);
}

}  // namespace ripplegauge::cli
