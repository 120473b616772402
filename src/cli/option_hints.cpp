// Which options go with which refusal.
#include "option_hints.hpp"

#include <fmt/format.h>

#include <filesystem>
#include <string_view>
#include <utility>

#include "core/joined.hpp"
#include "ripplegauge/core/findings.hpp"
#include "terminal.hpp"
#include "words/text.hpp"

namespace ripplegauge::cli {

std::string remedy_with_options(const Refusal& refusal) {
  constexpr std::pair<PhotoFinding, std::string_view> options[] = {
      {PhotoFinding::pitch_contradicted, "--board-pitch, --board-distance; of a tagged board --board"},
      {PhotoFinding::card_unknown, "--card"},
      {PhotoFinding::card_not_flat, "--card"},
      {PhotoFinding::camera_profile_misfit, "--camera"},
      {PhotoFinding::no_panel, "--panel-pattern"},
      {PhotoFinding::out_of_memory, "--threads 1"}};
  for (const auto& [finding, option] : options)
    if (is(refusal, finding)) return refusal.remedy + " Options: " + std::string(option) + ".";
  return refusal.remedy;
}

std::string plan_hints(const Plan& plan, bool full) {
  if (!plan.nothing_to_do.empty()) return "";
  if (!full) {
    std::vector<std::string> open;
    for (const Question& question : plan.questions) open.push_back(question.code);
    return (open.empty() ? "" : wrap("Not told: " + joined(open), "", "  ")) +
           "--full: preparation, reasons, alternatives and all cautions\n";
  }
  std::vector<std::string> unknown;
  for (const Question& question : plan.questions)
    if (question.code != "depth") unknown.push_back("--" + question.code);  // a photo tells that, no option
  std::string text = "\nAt the command line\n";
  const auto add = [&](const std::string& what, const std::string& how) {
    text += wrap(how, "  " + padded_right(what, 16), std::string(18, ' '));
  };
  if (!unknown.empty()) add("not yet known", joined(unknown));
  if (plan.kit.empty()) add("your kit", "--kit FILE");
  if (plan.glue && !plan.glue->glue.cold) {
    const Glue& glue = plan.glue->glue;
    const std::string air = plan.facts.air_c ? fmt::format(" --ambient {:g}", *plan.facts.air_c) : "";
    add("the wait",
        fmt::format("ripplegauge pullwindow{} --at {:g}@0:00 --at CELSIUS@M:SS --between {:g}..{:g}", air,
                    glue.warm_panel_c, glue.pull.low_c, glue.pull.high_c));
  }
  add("after the pull", "ripplegauge next BEFORE.json AFTER.json");
  return text;
}

std::string card_hint(const PlaceEvidence& place, const Wording& words) {
  return place.card_decides ? words("compare.card_moved") + "\n" : "";
}

std::string question_hint(const std::vector<std::string>& questions, const Wording& words) {
  return questions.empty() ? "" : wrap(words("quote.question.how"), "  ", "  ");
}

std::string reading_hint(const PhotoForReading& error) {
  const std::filesystem::path json =
      std::filesystem::path(error.file()).filename().replace_extension(".json");
  return "; `ripplegauge measure " + error.file() + " --json " + json.string() + "` writes one";
}

std::string quote_hint(const Quote& quote, const Wording& words) {
  std::vector<std::string> ids;
  for (const UnpricedSpot& spot : quote.unpriced)
    if (spot.reason == NoPrice::severity_not_known) ids.push_back(std::to_string(spot.id));
  if (ids.empty()) return "";
  return "\n" + wrap("ripplegauge job mark JOB --spot " + joined(ids, ",") + " --severity WORD",
                     words("quote.remark.severity_how") + " ", "  ");
}

}  // namespace ripplegauge::cli
