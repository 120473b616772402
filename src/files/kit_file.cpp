// What the workshop has on its shelf.
#include "files/kit_file.hpp"

#include "kit_words.hpp"

namespace ripplegauge {
namespace {

const CountRule at_most_a_shelf{0, 1000};

Tab read_tab(ObjectReader& object) {
  Tab tab;
  tab.name = object.required<std::string>("name", name_rule);
  tab.shape = required_word<TabShape>(object, "shape");
  tab.material = required_word<TabMaterial>(object, "material");
  tab.length_mm = object.required<double>("length_mm", between(1, 500));
  tab.width_mm = object.required<double>("width_mm", between(1, 500));
  if (tab.shape == TabShape::round && tab.length_mm != tab.width_mm)
    object.fail("length_mm", "a round tab is as long as it is wide");
  if (tab.shape == TabShape::long_shape && !(tab.length_mm > tab.width_mm))
    object.fail("length_mm", "a long tab must be longer than its \"width_mm\"");
  object.finish();
  return tab;
}

Puller read_puller(ObjectReader& object) {
  Puller puller;
  puller.name = object.required<std::string>("name", name_rule);
  puller.kind = required_word<PullerKind>(object, "kind");
  puller.free_width_mm = object.optional<double>("free_width_mm", between(1, 2000));
  object.finish();
  return puller;
}

Glue read_glue(ObjectReader& object) {
  Glue glue = read_glue_temperatures(object);
  glue.name = object.required<std::string>("name", name_rule);
  object.finish();
  return glue;
}

Tip read_tip(ObjectReader& object) {
  Tip tip;
  tip.name = object.required<std::string>("name", name_rule);
  tip.width_mm = object.required<double>("width_mm", between(0.5, 200));
  tip.hardness = required_word<Hardness>(object, "hardness");
  object.finish();
  return tip;
}

Hammer read_hammer(ObjectReader& object) {
  Hammer hammer;
  hammer.name = object.required<std::string>("name", name_rule);
  hammer.weight = required_word<HammerWeight>(object, "weight");
  object.finish();
  return hammer;
}

}  // namespace

Kit read_kit(const std::filesystem::path& path) {
  const JsonFile file = JsonFile::read(path);
  ObjectReader object = file.object();
  object.require_schema(1);
  Kit kit;
  kit.name = object.required<std::string>("name", name_rule);
  object.optional<std::string>("note");  // for people
  for (auto& tab : object.optional_objects("tabs", at_most_a_shelf)) kit.tabs.push_back(read_tab(tab));
  for (auto& puller : object.optional_objects("pullers", at_most_a_shelf))
    kit.pullers.push_back(read_puller(puller));
  for (auto& glue : object.optional_objects("glues", at_most_a_shelf)) kit.glues.push_back(read_glue(glue));
  for (auto& tip : object.optional_objects("tips", at_most_a_shelf)) kit.tips.push_back(read_tip(tip));
  for (auto& hammer : object.optional_objects("hammers", at_most_a_shelf))
    kit.hammers.push_back(read_hammer(hammer));
  object.finish();
  return kit;
}

}  // namespace ripplegauge
