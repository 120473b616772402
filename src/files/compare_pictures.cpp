// Pictures of a comparison: maps before, after and of the difference, sections through each spot, heights
// over a series.
#include <algorithm>
#include <cmath>
#include <limits>

#include "ripplegauge/compare/relief_difference.hpp"
#include "ripplegauge/compare/words.hpp"
#include "ripplegauge/files/compare_file.hpp"
#include "ripplegauge/picture/rectified_view.hpp"
#include "ripplegauge/picture/relief_map.hpp"

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

  ReliefMapOptions options;
  options.range_mm = std::max({largest_height(pair.before), largest_height(pair.after), least_range_mm});
  options.map_side_px = map_side_px;
  options.title = "Before";
  const Picture map_before = relief_map(pair.before, input.first().reading.dents, options);
  options.title = "After";
  const Picture map_after = relief_map(pair.after, dents_after, options);
  options.title = "After minus before";
  options.range_mm = std::max(largest_height(difference_of(pair)), least_range_mm);
  const Picture map_difference = relief_map(difference_of(pair), {}, options);
  pictures.push_back({"relief",
                      "Height of the panel before and after, in the same colours",
                      {{map_before.bgr, "before: blue is low, orange is high", false},
                       {map_after.bgr, "after, in the same colours", false}}});
  pictures.push_back(
      {"difference",
       "How far the panel moved",
       {{map_difference.bgr, "how far the panel moved: orange came up, blue went down", false}}});
}

ChartLine section_line(const std::string& label, const std::vector<SectionPoint>& section,
                       double SectionPoint::*height) {
  ChartLine line{label, {}, LineStyle::plain};
  for (const SectionPoint& point : section)
    line.points.push_back({point.along_mm, point.*height, std::nullopt, std::nullopt, false});
  return line;
}

}  // namespace

Chart section_chart(const CompareInput& input) {
  Chart chart;
  chart.title = "Cross-sections";
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
    panel.title = "Spot " + std::to_string(change.before + 1);
    panel.note = outcome_words(change.outcome, before.kind);
    panel.x_label = "along its length, mm";
    panel.y_label = "height, mm";
    panel.x_counts = false;
    panel.y_from = panel.y_to = 0;
    panel.lines = {section_line("before", section, &SectionPoint::before_mm),
                   section_line("after", section, &SectionPoint::after_mm)};
    chart.panels.push_back(std::move(panel));
  }
  return chart;
}

Chart series_chart(const CompareInput& input) {
  Chart chart;
  chart.title = "From photo to photo";
  ChartPanel height, gone;
  height.title = "Height of each spot";
  height.note = "below zero: low; above: high; with 95 % intervals";
  height.y_label = "height, mm";
  height.y_from = height.y_to = 0;
  gone.title = "Gone, of what stood there first";
  gone.note = "over-pulled counts as relief that is left";
  gone.y_label = "per cent";
  gone.y_from = 0;
  gone.y_to = 100;
  height.x_label = gone.x_label = "photo";
  for (const SpotTrack& track : input.series.tracks) {
    ChartLine heights{"spot " + std::to_string(track.spot + 1), {}, LineStyle::dots}, percents = heights;
    const auto add = [](ChartLine& line, std::size_t i, const std::optional<Quantity>& quantity,
                        bool flagged) {
      if (!quantity || !std::isfinite(quantity->value)) return;
      line.points.push_back(
          {static_cast<double>(i + 1), quantity->value, quantity->low, quantity->high, flagged});
    };
    for (std::size_t i = 0; i < track.points.size(); ++i) {
      const TrackPoint& point = track.points[i];
      const bool overdone = point.outcome == Outcome::overdone || point.outcome == Outcome::low_in_high;
      add(heights, i, point.height_mm, overdone);
      add(percents, i, point.percent_gone, overdone);
    }
    height.lines.push_back(heights);
    gone.lines.push_back(percents);
  }
  chart.panels = {height, gone};
  chart.footnote = "Triangles: pulled too far, a high stands there.";
  return chart;
}

cv::Mat PictureGroup::whole() const {
  std::vector<TitledPicture> titled;
  for (const ReportPicture& picture : pictures)
    titled.push_back({picture.bgr, picture.photo ? picture.caption : ""});
  return side_by_side(titled);
}

std::vector<PictureGroup> comparison_pictures(const CompareInput& input) {
  std::vector<PictureGroup> pictures;
  if (input.views_bgr.size() == input.shots.size() && !input.views_bgr.front().empty() &&
      !input.views_bgr.back().empty())
    pictures.push_back({"photos",
                        "The panel before and after, seen squarely at the same scale",
                        {{input.views_bgr.front(), "before", true},
                         {input.views_bgr.back(), "after, seen squarely at the same scale", true}}});
  add_maps(input, pictures);
  if (const Chart sections = section_chart(input); !sections.panels.empty())
    pictures.push_back({"sections",
                        "A cut through each spot",
                        {{chart_bgr(sections), "a cut through each spot, before and after", false}}});
  if (input.shots.size() > 2)
    pictures.push_back(
        {"series", "What each pull did", {{chart_bgr(series_chart(input)), "what each pull did", false}}});
  return pictures;
}

}  // namespace ripplegauge
