// Pictures of a comparison: maps before, after and of the difference, sections through each spot, heights
// over a series.
#include <algorithm>
#include <cmath>
#include <limits>

#include "compare/relief_difference.hpp"
#include "compare/words.hpp"
#include "files/compare_file.hpp"
#include "picture/rectified_view.hpp"
#include "picture/relief_map.hpp"

namespace ripplegauge {

namespace {

constexpr int map_side_px = 600;
constexpr double least_range_mm = 0.001;  // a micrometre: an even panel stays even

const Dent* main_after(const SpotChange& change, const Reading& after) {
  return change.after.empty() ? nullptr : &after.dents[static_cast<std::size_t>(change.after.front())];
}

/// After's spots where they lie in the frame of before.
std::vector<Dent> in_frame(std::vector<Dent> dents, const CardMotion& motion) {
  const auto moved = [&](double& x_mm, double& y_mm) {
    const PointMm place = motion.before_from_after({x_mm, y_mm});
    x_mm = place.x_mm;
    y_mm = place.y_mm;
  };
  for (Dent& dent : dents) {
    moved(dent.x_mm, dent.y_mm);
    for (PointMm& point : dent.outline) moved(point.x_mm, point.y_mm);
    dent.angle_deg = std::fmod(dent.angle_deg + motion.turn_deg + 360, 180);
  }
  return dents;
}

double largest_height(const Relief& relief) {
  double largest = 0;
  for (const float height : relief.height_mm)
    if (std::isfinite(height)) largest = std::max(largest, std::abs(static_cast<double>(height)));
  return largest;
}

/// No spot after: the surface is flat there, as far as the photo shows.
bool nothing_after(const CompareInput& input) { return input.last().reading.dents.empty(); }

void add_maps(const CompareInput& input, std::vector<PictureGroup>& pictures) {
  const Relief &before = input.first().relief, &after = input.last().relief;
  const Alignment& alignment = input.comparison().alignment;
  if (before.empty() || (after.empty() && !nothing_after(input)) || alignment.kind == AlignmentKind::none)
    return;
  const ReliefPair pair = on_one_grid(before, after, alignment.motion);
  const std::vector<Dent> dents_after = in_frame(input.last().reading.dents, alignment.motion);

  const Wording& words = input.words;
  ReliefMapOptions options;
  options.words = words;
  options.range_mm = std::max({largest_height(pair.before), largest_height(pair.after), least_range_mm});
  options.map_side_px = map_side_px;
  options.title = words("compare.picture.before");
  const Picture map_before = relief_map(pair.before, input.first().reading.dents, options);
  options.title = words("compare.picture.after");
  const Picture map_after = relief_map(pair.after, dents_after, options);
  options.title = words("compare.picture.difference");
  options.range_mm = std::max(largest_height(difference_of(pair)), least_range_mm);
  const Picture map_difference = relief_map(difference_of(pair), {}, options);
  pictures.push_back({"relief",
                      words("compare.picture.relief"),
                      {{map_before.bgr, words("compare.picture.relief_before"), false},
                       {map_after.bgr, words("compare.picture.relief_after"), false}}});
  pictures.push_back({"difference",
                      words("compare.picture.moved"),
                      {{map_difference.bgr, words("compare.picture.moved_colours"), false}}});
}

ChartLine section_line(const std::string& label, const std::vector<SectionPoint>& section,
                       double SectionPoint::*height, const AxisUnit& unit) {
  ChartLine line{label, {}, LineStyle::plain};
  for (const SectionPoint& point : section)
    line.points.push_back(
        {point.along_mm * unit.per_mm, point.*height * unit.per_mm, std::nullopt, std::nullopt, false});
  return line;
}

}  // namespace

Chart section_chart(const CompareInput& input) {
  Chart chart;
  const Wording& words = input.words;
  chart.words = words;
  const AxisUnit unit = length_unit(words.units());
  chart.title = words("compare.picture.sections");
  const Comparison& comparison = input.comparison();
  for (const SpotChange& change : comparison.spots) {
    const Dent& before = input.first().reading.dents[static_cast<std::size_t>(change.before)];
    const Dent* after = main_after(change, input.last().reading);
    const Relief none;
    const bool joined = comparison.alignment.kind != AlignmentKind::none;
    const auto section = compared_section(before, input.first().relief, joined ? after : nullptr,
                                          joined ? input.last().relief : none, comparison.alignment.motion,
                                          joined && nothing_after(input));
    if (section.empty()) continue;
    ChartPanel panel;
    panel.title = words("compare.spot", {{"number", change.before + 1}});
    panel.note = words.with_units(outcome_words(change, words));
    panel.x_label = words("compare.picture.along", {{"unit", unit.name}});
    panel.y_label = words("compare.picture.height", {{"unit", unit.name}});
    panel.x_counts = false;
    panel.y_from = panel.y_to = 0;
    panel.lines = {section_line(words("compare.page.before"), section, &SectionPoint::before_mm, unit),
                   section_line(words("compare.page.after"), section, &SectionPoint::after_mm, unit)};
    chart.panels.push_back(std::move(panel));
  }
  return chart;
}

Chart series_chart(const CompareInput& input) {
  Chart chart;
  const Wording& words = input.words;
  chart.words = words;
  const AxisUnit unit = length_unit(words.units());
  chart.title = words("compare.picture.series");
  ChartPanel height, gone;
  height.title = words("compare.picture.heights");
  height.note = words("compare.picture.heights_note");
  height.y_label = words("compare.picture.height", {{"unit", unit.name}});
  height.y_from = height.y_to = 0;
  gone.title = words("compare.picture.gone");
  gone.note = words("compare.picture.gone_note");
  gone.y_label = words("compare.picture.per_cent");
  gone.y_from = 0;
  gone.y_to = 100;
  height.x_label = gone.x_label = words("compare.page.photo");
  for (const SpotTrack& track : input.series.tracks) {
    ChartLine heights{words("compare.page.spot", {{"number", track.spot + 1}}), {}, LineStyle::dots},
        percents = heights;
    const auto add = [](ChartLine& line, std::size_t i, const std::optional<Quantity>& quantity, double scale,
                        bool flagged) {
      if (!quantity || !std::isfinite(quantity->value)) return;
      line.points.push_back({static_cast<double>(i + 1), scale * quantity->value, scale * quantity->low,
                             scale * quantity->high, flagged});
    };
    for (std::size_t i = 0; i < track.points.size(); ++i) {
      const TrackPoint& point = track.points[i];
      const bool overdone = point.outcome == Outcome::overdone || point.outcome == Outcome::low_in_high;
      add(heights, i, point.height_mm, unit.per_mm, overdone);
      add(percents, i, point.percent_gone, 1, overdone);
    }
    height.lines.push_back(heights);
    gone.lines.push_back(percents);
  }
  chart.panels = {height, gone};
  chart.footnote = words("compare.picture.triangles");
  return chart;
}

cv::Mat PictureGroup::whole() const {
  std::vector<TitledPicture> titled;
  for (const ReportPicture& picture : pictures)
    titled.push_back({picture.bgr, picture.photo ? picture.caption : ""});
  return side_by_side(titled);
}

std::vector<PictureGroup> comparison_pictures(const CompareInput& input) {
  const Wording& words = input.words;
  std::vector<PictureGroup> pictures;
  if (input.views_bgr.size() == input.shots.size() && !input.views_bgr.front().empty() &&
      !input.views_bgr.back().empty())
    pictures.push_back({"photos",
                        words("compare.picture.photos"),
                        {{input.views_bgr.front(), words("compare.picture.photo_before"), true},
                         {input.views_bgr.back(), words("compare.picture.photo_after"), true}}});
  add_maps(input, pictures);
  if (const Chart sections = section_chart(input); !sections.panels.empty())
    pictures.push_back({"sections",
                        words("compare.picture.cut"),
                        {{chart_bgr(sections), words("compare.picture.cut_both"), false}}});
  if (input.shots.size() > 2)
    pictures.push_back({"series",
                        words("compare.picture.pulls"),
                        {{chart_bgr(series_chart(input)), words("compare.picture.pulls_each"), false}}});
  return pictures;
}

}  // namespace ripplegauge
