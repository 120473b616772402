// Plans and next steps as JSON.
#include "files/advice_file.hpp"
#include "json/json_write.hpp"

namespace ripplegauge {
namespace {

OrderedJson to_json(const Quantity& q) { return json_quantity(q); }
OrderedJson to_json(const std::optional<Quantity>& q) { return json_quantity(q); }

OrderedJson to_json(const TemperatureRange& range) {
  return {{"low", json_number(range.low_c)}, {"high", json_number(range.high_c)}};
}

OrderedJson to_json(const PanelFacts& facts) {
  return {{"material", word(facts.material)},  {"thickness_mm", json_number(facts.thickness_mm)},
          {"paint", word(facts.paint)},        {"coating", word(facts.coating)},
          {"place", word(facts.place)},        {"access", word(facts.access)},
          {"air_c", json_number(facts.air_c)}, {"panel_c", json_number(facts.panel_c)}};
}

OrderedJson to_json(const Fact& fact) {
  OrderedJson json = {{"name", fact.name}, {"text", fact.value}, {"source", fact.source}};
  if (fact.number) json["number"] = to_json(*fact.number);
  if (!fact.unit.empty()) json["unit"] = fact.unit;
  return json;
}

// list_to_json sees only what is declared before it.
OrderedJson to_json(const Step& step);
OrderedJson to_json(const Question& question);
OrderedJson to_json(const Caution& caution);
OrderedJson to_json(const Warning& warning);
OrderedJson to_json(const Finding& finding);
OrderedJson to_json(const Doubt& doubt);
OrderedJson to_json(const DentPlan& plan);
OrderedJson to_json(const Plan& plan);
OrderedJson to_json(const SpotNext& next);
OrderedJson to_json(const TemperatureReading& reading);

template <class T>
OrderedJson list_to_json(const std::vector<T>& list) {
  OrderedJson json = OrderedJson::array();
  for (const T& one : list) json.push_back(to_json(one));
  return json;
}

OrderedJson to_json(const Step& step) {
  OrderedJson json = {{"code", step.code},
                      {"action", step.action},
                      {"points", step.points},
                      {"reason", step.reason},
                      {"facts", list_to_json(step.facts)},
                      {"alternatives", step.alternatives}};
  if (!step.missing.empty()) json["missing"] = step.missing;
  return json;
}

OrderedJson to_json(const Question& question) { return {{"option", question.code}, {"text", question.text}}; }

OrderedJson to_json(const Caution& caution) {
  return {{"code", caution.code},
          {"text", caution.text},
          {"source", caution.source},
          {"before_step", caution.before_step}};
}

OrderedJson to_json(const Warning& warning) { return {{"code", warning.code}, {"message", warning.message}}; }

OrderedJson to_json(const Finding& finding) {
  return {{"of", word(finding.of)},
          {"value", json_number(finding.value.value)},
          {"low", json_number(finding.value.low)},
          {"high", json_number(finding.value.high)},
          {"estimated", finding.estimated},
          {"straddles", finding.straddles()}};
}

OrderedJson to_json(const Doubt& doubt) { return {{"about", doubt.about}, {"text", doubt.text}}; }

OrderedJson to_json(const SeverityAssessment& severity) {
  return {{"grade", severity.word},
          {"worst", severity.worst_word},
          {"spoken", severity.spoken},
          {"straddles", severity.straddles},
          {"reason", severity.reason},
          {"findings", list_to_json(severity.findings)},
          {"pulling", word(severity.pulling)},
          {"doubts", list_to_json(severity.doubts)},
          {"crease", severity.is_long},
          {"size_class", severity.size_class}};
}

OrderedJson to_json(const TabChoice& choice) {
  OrderedJson json = {{"shape", word(choice.shape)},
                      {"material", word(choice.material)},
                      {"max_length_mm", json_number(choice.max_length_mm)},
                      {"max_width_mm", json_number(choice.max_width_mm)},
                      {"in_row", choice.in_row},
                      {"preparation_decides", choice.preparation_decides},
                      {"from_kit", nullptr}};
  if (choice.tab)
    json["from_kit"] = {{"name", choice.tab->name},
                        {"shape", word(choice.tab->shape)},
                        {"material", word(choice.tab->material)},
                        {"length_mm", json_number(choice.tab->length_mm)},
                        {"width_mm", json_number(choice.tab->width_mm)}};
  return json;
}

OrderedJson to_json(const PullerChoice& choice) {
  OrderedJson json = {{"kind", word(choice.kind)}, {"from_kit", nullptr}};
  if (choice.puller) json["from_kit"] = {{"name", choice.puller->name}, {"kind", word(choice.puller->kind)}};
  return json;
}

OrderedJson to_json(const TipChoice& choice) {
  OrderedJson json = {{"width_mm", json_number(choice.width_mm)},
                      {"hardness", word(choice.hardness)},
                      {"hammer", word(choice.weight)},
                      {"from_kit", nullptr},
                      {"hammer_from_kit", nullptr}};
  if (choice.tip)
    json["from_kit"] = {{"name", choice.tip->name}, {"width_mm", json_number(choice.tip->width_mm)}};
  if (choice.hammer) json["hammer_from_kit"] = choice.hammer->name;
  return json;
}

/// Tab, puller, tip, temperature and waiting time, where there are any.
template <class Choices>
void add_choices(const Choices& from, OrderedJson& json) {
  if (from.tab) json["tab"] = to_json(*from.tab);
  if (from.puller) json["puller"] = to_json(*from.puller);
  if (from.tip) json["tip"] = to_json(*from.tip);
  if (from.pull_at) json["pull_at_c"] = to_json(*from.pull_at);
  if (from.wait_s) json["wait_s"] = to_json(*from.wait_s);
}

OrderedJson to_json(const DentPlan& plan) {
  OrderedJson json = {{"spot", plan.number},
                      {"kind", to_string(plan.dent.kind)},
                      {"x_mm", json_number(plan.dent.x_mm)},
                      {"y_mm", json_number(plan.dent.y_mm)},
                      {"diameter_mm", to_json(plan.dent.diameter_mm)},
                      {"depth_mm", to_json(plan.dent.depth_mm)},
                      {"coin", plan.coin},
                      {"severity", to_json(plan.severity)}};
  if (!plan.order_reason.empty()) json["order_reason"] = plan.order_reason;
  add_choices(plan, json);
  json["steps"] = list_to_json(plan.steps);
  return json;
}

OrderedJson to_json(const Plan& plan) {
  OrderedJson json = {{"schema", 1}, {"photo", plan.photo}, {"status", to_string(plan.status)}};
  if (!plan.nothing_to_do.empty()) {
    json["nothing_to_do"] = plan.nothing_to_do;
    return json;
  }
  json["kit"] = plan.kit.empty() ? OrderedJson(nullptr) : OrderedJson(plan.kit);
  json["panel"] = to_json(plan.facts);
  json["before"] = list_to_json(plan.before);
  json["spots"] = list_to_json(plan.dents);
  json["after"] = list_to_json(plan.after);
  json["questions"] = list_to_json(plan.questions);
  json["cautions"] = list_to_json(plan.cautions);
  return json;
}

OrderedJson index_to_json(const std::optional<std::size_t>& index) {
  return index ? OrderedJson(*index + 1) : OrderedJson(nullptr);
}

OrderedJson to_json(const SpotNext& next) {
  OrderedJson json = {{"verdict", word(next.verdict)},
                      {"spot_before", index_to_json(next.spot.before)},
                      {"spot_after", index_to_json(next.spot.after)},
                      {"x_mm", json_number(next.where.x_mm)},
                      {"y_mm", json_number(next.where.y_mm)},
                      {"gone_percent", to_json(next.gone_percent)}};
  if (next.same_tab) json["same_tab"] = *next.same_tab;
  add_choices(next, json);
  json["step"] = to_json(next.step);
  if (!next.details.empty()) json["details"] = list_to_json(next.details);
  return json;
}

OrderedJson to_json(const TemperatureReading& reading) {
  return {{"at_s", json_number(reading.at_s)}, {"celsius", json_number(reading.celsius)}};
}

}  // namespace

std::string plans_to_json(const std::vector<Plan>& plans) {
  return json_text(plans.size() == 1 ? to_json(plans.front()) : list_to_json(plans));
}

std::string next_to_json(const NextStep& next) {
  return json_text({{"schema", 1},
                    {"before", next.before},
                    {"after", next.after},
                    {"verdict", word(next.verdict)},
                    {"same_place", word(next.place.same)},
                    {"same_place_reason", next.place.reason},
                    {"summary", next.summary},
                    {"spots", list_to_json(next.spots)},
                    {"warnings", list_to_json(next.warnings)},
                    {"cautions", list_to_json(next.cautions)}});
}

std::string pull_window_to_json(const PullWindow& window, const std::vector<TemperatureReading>& readings,
                                double ambient_c, const TemperatureRange& between,
                                const CoolingOptions& options) {
  return json_text({{"schema", 1},
                    {"ambient_c", json_number(ambient_c)},
                    {"between_c", to_json(between)},
                    {"readings", list_to_json(readings)},
                    {"thermometer_limit_c", json_number(options.thermometer_limit_c)},
                    {"ambient_limit_c", json_number(options.ambient_limit_c)},
                    {"enters_s", to_json(window.enters_s)},
                    {"leaves_s", to_json(window.leaves_s)},
                    {"rate_per_s", to_json(window.rate_per_s)},
                    {"rms_residual_c", json_number(window.rms_residual_c)},
                    {"warnings", list_to_json(window.warnings)}});
}

}  // namespace ripplegauge
