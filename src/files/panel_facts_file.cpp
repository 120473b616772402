// What is known of a panel, from a JSON file.
#include "files/advice_file.hpp"
#include "kit_words.hpp"

namespace ripplegauge {
namespace {

/// An absent key or null: not sure.
template <class E>
E optional_word(ObjectReader& object, std::string_view key) {
  const auto text = object.optional_choice(key, all_words<E>());
  return text ? *from_word<E>(*text) : E::unknown;
}

std::optional<double> optional_in(ObjectReader& object, std::string_view key, const NumberRange& range) {
  return object.optional<double>(key, between(range.low, range.high));
}

}  // namespace

PanelFacts read_panel_facts(const std::filesystem::path& path) {
  ObjectReader object = JsonFile::read(path).object();
  object.require_schema(1);
  object.optional<std::string>("name", name_rule);  // for the reader of the file
  PanelFacts facts;
  facts.material = optional_word<Material>(object, "material");
  facts.thickness_mm = optional_in(object, "thickness_mm", PanelFacts::thickness_range_mm);
  facts.paint = optional_word<Paint>(object, "paint");
  facts.coating = optional_word<Coating>(object, "coating");
  facts.place = optional_word<Place>(object, "place");
  facts.access = optional_word<Access>(object, "access");
  facts.air_c = optional_in(object, "air_c", PanelFacts::air_range_c);
  facts.panel_c = optional_in(object, "panel_c", PanelFacts::panel_range_c);
  object.finish();
  return facts;
}

}  // namespace ripplegauge
