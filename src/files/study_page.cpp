// A study as a page: its readings as a chart, what they scatter by, and how far off they are.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>

#include "files/study_file.hpp"
#include "picture/chart.hpp"

namespace ripplegauge {
namespace {

constexpr double nan = std::numeric_limits<double>::quiet_NaN();

std::string figure(double value) { return fmt::format("{:.3g}", value); }

std::string with_interval(const std::optional<Quantity>& quantity, const std::string& unit) {
  if (!quantity) return "not known";
  return figure(quantity->value) + (unit.empty() ? "" : " " + unit) + " (" + figure(quantity->low) + " to " +
         figure(quantity->high) + ")";
}

std::size_t index_of(const std::vector<std::string>& names, const std::string& name) {
  return static_cast<std::size_t>(std::find(names.begin(), names.end(), name) - names.begin());
}

/// What deviations of a part are counted from: its known value, else its mean.
std::map<std::string, double> references(const NamedStudy& study) {
  std::map<std::string, std::pair<double, int>> sums;
  for (const StudyValue& value : study.values) {
    sums[value.part].first += value.value;
    ++sums[value.part].second;
  }
  std::map<std::string, double> reference;
  for (const auto& [part, sum] : sums) reference[part] = sum.first / sum.second;
  for (const PartBias& part : study.known.parts) reference[part.part] = part.known.value;
  return reference;
}

/// A line a person, so that each has a colour; readings of a part stand side by side and are not joined.
std::vector<ChartLine> reading_lines(const NamedStudy& study, bool deviations) {
  const StudyResult& result = study.result;
  const std::map<std::string, double> reference = references(study);
  std::vector<ChartLine> lines;
  for (const std::string& person : result.people) lines.push_back({person, {}, LineStyle::dots});
  std::map<std::string, int> placed;
  std::map<std::string, int> count;
  for (const StudyValue& value : study.values) ++count[value.part];
  for (const std::string& person : result.people)
    for (const StudyValue& value : study.values) {
      if (value.person != person) continue;
      constexpr double width = 0.7;  // of the room that a part has
      const double place = (placed[value.part]++ + 0.5) / count[value.part] - 0.5;
      const double x = 1 + static_cast<double>(index_of(result.parts, value.part)) + width * place;
      const double known = reference.at(value.part);
      const auto shown = [&](double y) { return deviations ? 100 * (y / known - 1) : y; };
      ChartPoint point{x, shown(value.value), std::nullopt, std::nullopt, false};
      if (value.stated) {
        point.low = shown(value.stated->low);
        point.high = shown(value.stated->high);
      }
      auto& points = lines[index_of(result.people, person)].points;
      points.push_back(point);
      points.push_back({x, nan, std::nullopt, std::nullopt, false});
    }
  return lines;
}

ChartLine known_line(const NamedStudy& study, bool deviations) {
  ChartLine line{"known", {}, LineStyle::dashed};
  for (const PartBias& part : study.known.parts) {
    const double x = 1 + static_cast<double>(index_of(study.result.parts, part.part));
    const double y = deviations ? 0 : part.known.value;
    for (const auto& [at, height] : {std::pair(x - 0.4, y), std::pair(x + 0.4, y), std::pair(x, nan)})
      line.points.push_back({at, height, std::nullopt, std::nullopt, false});
  }
  return line;
}

}  // namespace

Chart study_chart(const NamedStudy& study) {
  Chart chart;
  chart.title = study.name;
  chart.footnote = "Bars: the interval of 95 % that each reading states itself.";
  for (const bool deviations : {false, true}) {
    ChartPanel panel;
    const bool known = !study.known.parts.empty();
    panel.title = !deviations ? "Readings" : known ? "Less what is known" : "Less the part's mean";
    panel.y_label = deviations ? "per cent" : study.unit;
    panel.x_names = study.result.parts;
    panel.lines = reading_lines(study, deviations);
    if (known) panel.lines.push_back(known_line(study, deviations));
    chart.panels.push_back(std::move(panel));
  }
  return chart;
}

namespace {

ReportTable spread_table(const NamedStudy& study) {
  const StudyResult& result = study.result;
  ReportTable table{{"", "std. dev.", "share of total"}, {}};
  const auto row = [&](const char* name, const std::optional<Quantity>& deviation,
                       const std::optional<Quantity>& percent) {
    if (deviation)
      table.rows.push_back(
          {name, with_interval(deviation, study.unit), percent ? with_interval(percent, "%") : ""});
  };
  row("repeatability", result.repeatability, result.repeatability_percent);
  row("reproducibility", result.reproducibility, result.reproducibility_percent);
  row("both", result.measurement, result.measurement_percent);
  row("from part to part", result.part_variation, result.part_percent);
  return table;
}

ReportTable bias_table(const NamedStudy& study) {
  ReportTable table{{"part", "known", "readings", "off by"}, {}};
  for (const PartBias& part : study.known.parts)
    table.rows.push_back(
        {part.part,
         figure(part.known.value) +
             (part.known.uncertainty > 0 ? " ± " + figure(part.known.uncertainty) : ""),
         std::to_string(part.readings),
         part.interval ? with_interval(part.interval, study.unit) : figure(part.bias) + " " + study.unit});
  return table;
}

void add_study(const NamedStudy& study, std::vector<ReportBlock>& blocks) {
  blocks.push_back(ReportHeading{study.name});
  if (!study.values.empty())
    blocks.push_back(ReportPictures{{{chart_bgr(study_chart(study)), "each reading, by part", false}}, 2});
  if (study.result.repeatability) blocks.push_back(spread_table(study));
  for (const std::string& line : study_sentences(study)) blocks.push_back(ReportText{line, false});
  if (!study.known.parts.empty()) blocks.push_back(bias_table(study));
  for (const std::string& line : study.notes) blocks.push_back(ReportNote{line + "."});
  for (const std::string& line : study.result.missing) blocks.push_back(ReportNote{"Missing: " + line + "."});
  for (const std::string& line : study.result.remarks) blocks.push_back(ReportNote{line + "."});
}

}  // namespace

std::vector<std::string> study_sentences(const NamedStudy& study) {
  std::vector<std::string> lines;
  const StudyResult& result = study.result;
  if (result.tolerance_percent)
    lines.push_back("Six standard deviations of the measurement are " +
                    with_interval(result.tolerance_percent, "%") +
                    " of the tolerance; under 10 % is good, over 30 % not fit for use.");
  if (const auto& ratio = study.scatter_over_stated)
    lines.push_back("Readings of one part scatter " + with_interval(ratio, "") +
                    " times what their own intervals state" +
                    (ratio->low > 1 ? ": the intervals promise too much." : "."));
  const KnownComparison& known = study.known;
  if (known.bias_percent)
    lines.push_back("Over all parts readings are off by " + with_interval(known.bias_percent, "%") +
                    (known.bias_percent->low > 0 || known.bias_percent->high < 0
                         ? ", surely more than by chance."
                         : ", no more than by chance."));
  if (known.stated > 0)
    lines.push_back(std::to_string(known.holding) + " of " + std::to_string(known.stated) +
                    " intervals hold the known value; of a hundred about 95 should.");
  return lines;
}

ReportPage study_page(const std::vector<NamedStudy>& studies, double confidence, const std::string& quantity,
                      const std::string& date) {
  ReportPage page;
  page.title = "How far readings of the " + quantity + " can be trusted";
  page.date = date;
  for (const NamedStudy& study : studies) add_study(study, page.blocks);
  page.blocks.push_back(
      ReportText{"Repeatability: the same person, or the same set-up, again. Reproducibility: between "
                 "people, or set-ups. "
                 "In brackets: " +
                     figure(100 * confidence) + " % intervals.",
                 false});
  page.footer = "Measured from photos of reflected stripes beside a printed scale card.";
  return page;
}

}  // namespace ripplegauge
