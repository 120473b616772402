// The customer's page of a comparison: what became of the whole, pictures, each spot with its table, and how
// sure that is; and a pair's part of a page that shows all pairs of a folder.
#include <algorithm>
#include <cmath>

#include "ripplegauge/compare/words.hpp"
#include "ripplegauge/files/compare_file.hpp"
#include "ripplegauge/words/text.hpp"

namespace ripplegauge {

namespace {

std::string or_dash(const std::optional<Quantity>& quantity) {
  return quantity ? length_words(*quantity) : "not known";
}

std::optional<Quantity> height_of(const Dent& dent) {
  if (!dent.depth_mm || dent.kind == Kind::high) return dent.depth_mm;
  return Quantity{-dent.depth_mm->value, -dent.depth_mm->high, -dent.depth_mm->low};
}

std::string volume_words(const std::optional<Quantity>& mm3) {
  if (!mm3) return "not known";
  std::string text = length_words(*mm3);  // figures and interval alike
  for (auto at = text.find(" mm"); at != std::string::npos; at = text.find(" mm", at + 4))
    text.insert(at + 3, "³");
  return text;
}

ReportTable spot_table(const SpotChange& change, const Reading& before, const Reading& after) {
  const Dent& spot = before.dents[static_cast<std::size_t>(change.before)];
  ReportTable table{{"", "before", "after"}, {}};
  const bool empty = change.after.empty();
  const Dent* left = empty ? nullptr : &after.dents[static_cast<std::size_t>(change.after.front())];
  const std::string nothing = change.outcome == Outcome::gone ? "nothing seen" : "not known";
  const auto kind = [](const Dent& dent) { return dent.kind == Kind::low ? "low" : "high"; };
  table.rows.push_back({"kind", kind(spot), left ? kind(*left) : nothing});
  table.rows.push_back(
      {"height (low below 0)", or_dash(height_of(spot)), left ? or_dash(height_of(*left)) : nothing});
  table.rows.push_back(
      {"width", length_words(spot.diameter_mm), left ? length_words(left->diameter_mm) : nothing});
  for (const int index : change.after) {
    const Dent& dent = after.dents[static_cast<std::size_t>(index)];
    if (dent.inside_of == change.after.front())
      table.rows.push_back({std::string(kind(dent)) + " inside it", "",
                            or_dash(dent.depth_mm) + ", " + length_words(dent.diameter_mm.value) + " wide"});
  }
  if (spot.volume_mm3)
    table.rows.push_back(
        {"volume", volume_words(spot.volume_mm3), left ? volume_words(left->volume_mm3) : nothing});
  // Relief that was pulled past flat is not gone, so a share of it would mislead.
  if (change.outcome == Outcome::gone || change.outcome == Outcome::partly)
    table.rows.push_back({"gone", "", gone_words(change.outcome, change.percent_gone)});
  return table;
}

void add_spot(const SpotChange& change, const CompareInput& input, std::vector<ReportBlock>& blocks) {
  const Reading &before = input.first().reading, &after = input.last().reading;
  const Kind kind = before.dents[static_cast<std::size_t>(change.before)].kind;
  blocks.push_back(ReportHeading{"Spot " + std::to_string(change.before + 1) + ": " + outcome_words(change)});
  blocks.push_back(spot_table(change, before, after));
  if (change.outcome == Outcome::gone) blocks.push_back(ReportText{rest_words(change, kind), false});
  for (const std::string& note : change.notes) blocks.push_back(ReportNote{capitalised(note) + "."});
}

/// The map of the difference and a single section share a row; everything else has its own.
void add_pictures(const CompareInput& input, std::vector<ReportBlock>& blocks) {
  const bool one_section = input.comparison().spots.size() == 1;
  for (PictureGroup& group : comparison_pictures(input)) {
    auto* row = blocks.empty() ? nullptr : std::get_if<ReportPictures>(&blocks.back());
    if (group.name == "sections" && one_section && row != nullptr && row->pictures.size() == 1)
      row->pictures.push_back(std::move(group.pictures.front()));
    else
      blocks.push_back(ReportPictures{std::move(group.pictures)});
  }
}

std::string brief(const Dent& dent) {
  return std::string(to_string(dent.kind)) + " " +
         (dent.depth_mm ? length_words(dent.depth_mm->value) : "?") + ", " +
         length_words(dent.diameter_mm.value) + " wide";
}

/// A line for each spot and each new mark.
ReportTable brief_table(const CompareInput& input) {
  const Reading &before = input.first().reading, &after = input.last().reading;
  ReportTable table{{"", "before", "after", "gone"}, {}};
  for (const SpotChange& change : input.comparison().spots) {
    std::string left;
    for (const int index : change.after)
      left += (left.empty() ? "" : "; ") + brief(after.dents[static_cast<std::size_t>(index)]);
    if (left.empty()) left = change.outcome == Outcome::gone ? "nothing seen" : "not known";
    table.rows.push_back({std::to_string(change.before + 1),
                          brief(before.dents[static_cast<std::size_t>(change.before)]), left,
                          gone_words(change.outcome, change.percent_gone)});
  }
  for (const NewMark& mark : input.comparison().new_marks)
    table.rows.push_back({"new", "", brief(after.dents[static_cast<std::size_t>(mark.after)]), ""});
  return table;
}

ReportTable series_table(const CompareInput& input) {
  ReportTable table{{"photo"}, {}};
  for (const SpotTrack& track : input.series.tracks)
    table.header.push_back("spot " + std::to_string(track.spot + 1));
  for (std::size_t i = 0; i < input.shots.size(); ++i) {
    std::vector<std::string> row = {std::to_string(i + 1)};
    for (const SpotTrack& track : input.series.tracks) {
      const TrackPoint& point = track.points[i];
      std::string cell = point.height_mm ? length_words(point.height_mm->value) : "not known";
      if (i > 0) cell += "; gone: " + gone_words(point.outcome, point.percent_gone);
      row.push_back(cell);
    }
    table.rows.push_back(row);
  }
  return table;
}

}  // namespace

void add_to_contact_sheet(ReportPage& sheet, const std::string& name, const CompareInput& input) {
  const Comparison& comparison = input.comparison();
  sheet.blocks.push_back(ReportHeading{name});
  ReportPictures row{{}, 3};
  for (PictureGroup& group : comparison_pictures(input))
    if (group.name == "photos" || group.name == "difference")
      for (ReportPicture& picture : group.pictures) row.pictures.push_back(std::move(picture));
  for (ReportPicture& picture : row.pictures)
    picture.caption = picture.photo ? (&picture == &row.pictures.front() ? "before" : "after") : "moved";
  if (!row.pictures.empty()) sheet.blocks.push_back(std::move(row));
  sheet.blocks.push_back(ReportText{summary_words(comparison), false});
  sheet.blocks.push_back(brief_table(input));
  if (comparison.place.same == SamePlace::likely)
    sheet.blocks.push_back(ReportNote{capitalised(comparison.place.reason) + "."});
  for (const std::string& note : comparison.notes)
    sheet.blocks.push_back(ReportNote{capitalised(note) + "."});
}

ReportPage comparison_page(const CompareInput& input, const ReportSettings& settings) {
  const Comparison& comparison = input.comparison();
  ReportPage page;
  page.title = settings.vehicle.empty() ? "Before and after" : "Before and after: " + settings.vehicle;
  page.workshop = settings.workshop;
  page.date = settings.date;
  page.blocks.push_back(ReportText{summary_words(comparison), true});
  add_pictures(input, page.blocks);
  if (input.shots.size() > 2) {
    page.blocks.push_back(ReportHeading{"From photo to photo"});
    page.blocks.push_back(series_table(input));
  }
  for (const SpotChange& change : comparison.spots) add_spot(change, input, page.blocks);
  if (!comparison.new_marks.empty()) {
    page.blocks.push_back(ReportHeading{"New marks"});
    for (const NewMark& mark : comparison.new_marks)
      page.blocks.push_back(ReportText{capitalised(new_mark_words(mark, input.last().reading)) + ".", false});
  }
  page.blocks.push_back(ReportHeading{"How sure this is"});
  page.blocks.push_back(ReportText{capitalised(comparison.place.reason) + ".", false});
  for (const std::string& note : comparison.notes) page.blocks.push_back(ReportNote{capitalised(note) + "."});
  page.blocks.push_back(ReportText{
      "The figures in brackets are the range that holds the true value about 95 times in 100. \"Gone\" says "
      "that the "
      "photo shows nothing any more; it does not say that the metal or the paint is as it was when new.",
      false});
  page.footer = "Measured from photos of reflected stripes beside a printed scale card.";
  return page;
}

}  // namespace ripplegauge
