// Reads the rules that say what to practise next.
#include "files/practice_file.hpp"

#include "ripplegauge/json/json_reader.hpp"

namespace ripplegauge {

std::vector<PracticeRule> read_practice_rules(const std::filesystem::path& file) {
  ObjectReader object = JsonFile::read(file, {}).object();
  object.require_schema(1);
  object.optional<std::string>("name");
  std::vector<std::string> measures;
  for (const auto& [value, name] : EnumWords<PracticeMeasure>::list) measures.emplace_back(name);
  std::vector<PracticeRule> rules;
  for (ObjectReader& entry : object.required_objects("rules")) {
    PracticeRule rule;
    rule.of = *from_word<PracticeMeasure>(entry.required_choice("of", measures));
    rule.above = entry.optional<double>("above", between(-1000, 1000));
    rule.below = entry.optional<double>("below", between(-1000, 1000));
    if (!rule.above && !rule.below) entry.fail("above", "a rule needs above or below");
    rule.attempts_from = entry.optional<int>("attempts_from", between(1, 1000)).value_or(1);
    rule.says = entry.required<std::string>("says", {.min_bytes = 1});
    rule.because = entry.required<std::string>("because", {.min_bytes = 1});
    entry.finish();
    rules.push_back(std::move(rule));
  }
  object.finish();
  return rules;
}

}  // namespace ripplegauge
