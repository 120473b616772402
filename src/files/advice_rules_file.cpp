// Reads the rules behind a plan, and with them all data that a plan rests on.
#include "files/advice_file.hpp"
#include "files/kit_file.hpp"
#include "files/severity_file.hpp"
#include "kit_words.hpp"

namespace ripplegauge {
namespace {

RuleNumber read_number(ObjectReader& parent, std::string_view key, const NumberRule& rule) {
  ObjectReader object = parent.required_object(key);
  RuleNumber number{object.required<double>("value", rule),
                    object.required<std::string>("reason", reason_rule)};
  object.finish();
  return number;
}

Condition read_condition(ObjectReader&& object, const SeverityRules& severity) {
  Condition when;
  const auto grade = [&](std::string_view key) -> std::optional<int> {
    const auto word = object.optional_choice(key, severity.grades);
    return word ? severity.grade_index(*word) : std::nullopt;
  };
  when.diameter_from_mm = object.optional<double>("diameter_from_mm", between(0, 2000));
  when.diameter_below_mm = object.optional<double>("diameter_below_mm", between(0, 2000));
  when.thickness_below_mm = object.optional<double>("thickness_below_mm", between(0.3, 4));
  when.grade_at_least = grade("grade_at_least");
  when.grade_at_most = grade("grade_at_most");
  when.material = optional_word_list<Material>(object, "material");
  when.paint = optional_word_list<Paint>(object, "paint");
  when.place = optional_word_list<Place>(object, "place");
  if (when.diameter_from_mm && when.diameter_below_mm && !(*when.diameter_from_mm < *when.diameter_below_mm))
    object.fail("diameter_below_mm", "it must be above \"diameter_from_mm\", else the rule never holds");
  if (when.grade_at_least && when.grade_at_most && *when.grade_at_least > *when.grade_at_most)
    object.fail("grade_at_most", "it must not be milder than \"grade_at_least\", else the rule never holds");
  object.finish();
  return when;
}

template <class T>
std::vector<ChoiceRule<T>> read_choices(ObjectReader& parent, std::string_view key,
                                        const SeverityRules& severity) {
  std::vector<ChoiceRule<T>> rules;
  for (ObjectReader& object : parent.required_objects(key, {1, 100})) {
    ChoiceRule<T> rule;
    rule.pick = required_word<T>(object, "pick");
    rule.when = read_condition(object.required_object("when"), severity);
    rule.otherwise = optional_word_list<T>(object, "otherwise");
    rule.reason = object.required<std::string>("reason", reason_rule);
    object.finish();
    rules.push_back(std::move(rule));
  }
  if (!rules.back().when.empty())
    parent.fail(key, "the last rule must have an empty \"when\", so that there is always an answer");
  return rules;
}

void read_tab_rules(ObjectReader&& tab, const SeverityRules& severity, AdviceRules& rules) {
  rules.face_share = read_number(tab, "face_share", between(0.1, 0.99));
  rules.small_face_share = read_number(tab, "small_face_share", between(0, 0.9));
  rules.smallest_face_mm = read_number(tab, "smallest_face_mm", between(0.5, 50));
  rules.smallest_face_share = read_number(tab, "smallest_face_share", between(0.1, 0.99));
  if (rules.smallest_face_share.value < rules.face_share.value)
    tab.fail("smallest_face_share", "it must not be below \"face_share\"");
  rules.preparation_decides_mm = read_number(tab, "preparation_decides_mm", between(0, 50));
  rules.long_from_ratio = read_number(tab, "long_from_ratio", between(1.1, 20));
  rules.row_gap_mm = read_number(tab, "row_gap_mm", between(0, 100));
  rules.small_face_mm = read_number(tab, "small_face_mm", between(0, 200));
  rules.tab_material = read_choices<TabMaterial>(tab, "material", severity);
  tab.finish();
}

void read_after_rules(ObjectReader&& after, AdviceRules& rules) {
  rules.visible_slope_mrad = read_number(after, "visible_slope_mrad", between(0.01, 100));
  rules.good_gain_percent = read_number(after, "good_gain_percent", between(1, 100));
  rules.poor_gain_percent = read_number(after, "poor_gain_percent", between(0, 99));
  if (!(rules.poor_gain_percent.value < rules.good_gain_percent.value))
    after.fail("poor_gain_percent", "it must be below \"good_gain_percent\"");
  after.finish();
}

}  // namespace

AdviceRules read_advice_rules(const std::filesystem::path& path, const SeverityRules& severity) {
  const JsonFile file = JsonFile::read(path);
  ObjectReader object = file.object();
  object.require_schema(1);
  AdviceRules rules;
  rules.name = object.required<std::string>("name", name_rule);
  read_tab_rules(object.required_object("tab"), severity, rules);
  rules.feet_clear_mm = read_number(object, "feet_clear_mm", between(0, 200));
  rules.pullers = read_choices<PullerKind>(object, "pullers", severity);
  rules.tip_hardness = read_choices<Hardness>(object, "tip_hardness", severity);
  rules.hammers = read_choices<HammerWeight>(object, "hammers", severity);
  ObjectReader glue = object.required_object("common_glue");
  rules.common_glue = read_glue_temperatures(glue);
  rules.common_glue.name = "a common glue";
  rules.glue_reason = glue.required<std::string>("reason", reason_rule);
  glue.finish();
  read_after_rules(object.required_object("after_pull"), rules);
  object.finish();
  return rules;
}

AdviceData read_advice_data(const std::filesystem::path& folder,
                            const std::optional<std::filesystem::path>& kit, const std::string& coin_country,
                            const std::string& locale) {
  AdviceData data;
  data.severity = read_severity_rules(folder / "severity.json", folder / "materials.json");
  data.rules = read_advice_rules(folder / "rules.json", data.severity);
  const std::vector<CoinSet> coins = read_coins(folder / "coins.json");
  data.coins = coin_country.empty() ? coins_for_locale(coins, locale) : coins_of(coins, coin_country);
  const std::filesystem::path own = folder / "kit.json";
  if (std::error_code error; kit)
    data.kit = read_kit(*kit);
  else if (std::filesystem::exists(own, error))
    data.kit = read_kit(own);
  return data;
}

}  // namespace ripplegauge
