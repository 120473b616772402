// Reads the rules of severity, the metals and the coins, and names file, key and rule where one is broken.
#include "files/severity_file.hpp"

#include <set>

#include "core/joined.hpp"
#include "kit_words.hpp"

namespace ripplegauge {
namespace {

Quantity read_interval(ObjectReader&& object, const NumberRule& rule) {
  Quantity quantity;
  quantity.value = object.required<double>("value", rule);
  quantity.low = object.required<double>("low", rule);
  quantity.high = object.required<double>("high", rule);
  if (!(quantity.low <= quantity.value && quantity.value <= quantity.high))
    object.fail("value", "it must lie between \"low\" and \"high\"");
  object.finish();
  return quantity;
}

std::vector<SheetMetal> read_metals(const std::filesystem::path& path) {
  const JsonFile file = JsonFile::read(path);
  ObjectReader object = file.object();
  object.require_schema(1);
  object.required<std::string>("name", name_rule);
  std::vector<SheetMetal> metals;
  for (ObjectReader& entry : object.required_objects("metals", {1, 20})) {
    SheetMetal metal;
    metal.material = required_word<Material>(entry, "material");
    metal.yield_mpa = read_interval(entry.required_object("yield_mpa"), between(10, 3000));
    metal.youngs_gpa = entry.required<double>("youngs_gpa", between(10, 500));
    metal.thickness_mm = read_interval(entry.required_object("thickness_mm"), between(0.3, 4));
    metal.density_kg_m3 = entry.required<double>("density_kg_m3", between(500, 30000));
    metal.heat_capacity_j_kgk = entry.required<double>("heat_capacity_j_kgk", between(50, 5000));
    metal.reason = entry.required<std::string>("reason", reason_rule);
    for (const SheetMetal& earlier : metals)
      if (earlier.material == metal.material) entry.fail("material", "each material may stand only once");
    entry.finish();
    metals.push_back(std::move(metal));
  }
  if (metals.size() != all_words<Material>().size())
    object.fail("metals", "all of these must be there: " + joined(all_words<Material>()));
  object.finish();
  return metals;
}

void check_order(const ObjectReader& object, const char* key, Measure of,
                 const std::vector<double>& thresholds) {
  for (std::size_t i = 1; i < thresholds.size(); ++i)
    if (smaller_is_worse(of) ? !(thresholds[i] < thresholds[i - 1]) : !(thresholds[i] > thresholds[i - 1]))
      object.fail(key, smaller_is_worse(of) ? "each must be smaller than the one before it"
                                            : "each must be larger than the one before it");
}

GradeRule read_criterion(ObjectReader& object, std::size_t grades) {
  GradeRule rule;
  rule.of = required_word<Measure>(object, "of");
  rule.thresholds = object.required_list<double>("thresholds", {grades - 1, grades - 1}, between(0, 1e6));
  check_order(object, "thresholds", rule.of, rule.thresholds);
  if (object.has("crease_thresholds")) {
    rule.crease_thresholds =
        object.required_list<double>("crease_thresholds", {grades - 1, grades - 1}, between(0, 1e6));
    check_order(object, "crease_thresholds", rule.of, rule.crease_thresholds);
  }
  rule.reason = object.required<std::string>("reason", reason_rule);
  object.finish();
  return rule;
}

LimitRule read_limit(ObjectReader& object) {
  LimitRule rule;
  rule.of = required_word<Measure>(object, "of");
  rule.threshold = object.required<double>("threshold", between(0, 1e6));
  rule.then = required_word<Pulling>(object, "then");
  if (rule.then == Pulling::promising) object.fail("then", "a limit must make pulling doubtful or beyond");
  rule.only_long = object.required<bool>("only_long");
  rule.highs_too = object.required<bool>("highs_too");
  rule.says = object.required<std::string>("says", name_rule);
  rule.reason = object.required<std::string>("reason", reason_rule);
  object.finish();
  return rule;
}

SizeClass read_size(ObjectReader& object) {
  SizeClass size;
  size.name = object.required<std::string>("name", name_rule);
  size.from_mm = object.required<double>("from_mm", between(0, 1e4));
  object.finish();
  return size;
}

}  // namespace

SeverityRules read_severity_rules(const std::filesystem::path& path, const std::filesystem::path& metals) {
  const JsonFile file = JsonFile::read(path);
  ObjectReader object = file.object();
  object.require_schema(1);
  SeverityRules rules;
  rules.name = object.required<std::string>("name", name_rule);
  object.required<std::string>("how", reason_rule);  // for whoever reads the file
  rules.grades = object.required_list<std::string>("grades", {2, 10}, {1, 40});
  if (std::set(rules.grades.begin(), rules.grades.end()).size() != rules.grades.size())
    object.fail("grades", "each grade needs a word of its own");
  for (ObjectReader& entry : object.required_objects("criteria", {1, 20}))
    rules.criteria.push_back(read_criterion(entry, rules.grades.size()));
  for (ObjectReader& entry : object.required_objects("criteria_of_highs", {1, 20}))
    rules.criteria_of_highs.push_back(read_criterion(entry, rules.grades.size()));
  for (ObjectReader& entry : object.required_objects("beyond_pulling", {0, 50}))
    rules.limits.push_back(read_limit(entry));
  rules.long_from_ratio = object.required<double>("long_from_ratio", between(1.1, 20));
  rules.edge_from_grade = object.required_choice("edge_from_grade", rules.grades);
  for (ObjectReader& entry : object.required_objects("size_classes", {1, 50})) {
    SizeClass size = read_size(entry);
    const bool first = rules.sizes.empty();
    if (first ? size.from_mm != 0 : !(size.from_mm > rules.sizes.back().from_mm))
      entry.fail("from_mm",
                 first ? "the first class must begin at 0" : "it must be larger than the class before it");
    rules.sizes.push_back(std::move(size));
  }
  object.finish();
  rules.metals = read_metals(metals);
  return rules;
}

std::vector<CoinSet> read_coins(const std::filesystem::path& path) {
  const JsonFile file = JsonFile::read(path);
  ObjectReader object = file.object();
  object.require_schema(1);
  std::vector<CoinSet> sets;
  for (ObjectReader& entry : object.required_objects("sets", {1, 300})) {
    CoinSet set;
    set.country = entry.required<std::string>("country", name_rule);
    set.regions = entry.optional_list<std::string>("regions", {0, 300}, {2, 2});
    set.source = entry.required<std::string>("source", reason_rule);
    for (ObjectReader& coin : entry.required_objects("coins", {1, 100})) {
      set.coins.push_back({coin.required<std::string>("name", name_rule),
                           coin.required<double>("diameter_mm", between(5, 100))});
      coin.finish();
    }
    entry.finish();
    sets.push_back(std::move(set));
  }
  object.finish();
  return sets;
}

}  // namespace ripplegauge
