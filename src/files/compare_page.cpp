// The customer's page of a comparison: what became of the whole, pictures, each spot with its table, and how
// sure that is; and a pair's part of a page that shows all pairs of a folder.
#include <algorithm>
#include <cmath>

#include "compare/words.hpp"
#include "files/compare_file.hpp"
#include "words/text.hpp"

namespace ripplegauge {

namespace {

std::string or_not_known(const std::optional<Quantity>& quantity, const Wording& words) {
  return quantity ? length_words(*quantity, words) : words("text.not_known");
}

std::optional<Quantity> height_of(const Dent& dent) {
  if (!dent.depth_mm || dent.kind == Kind::high) return dent.depth_mm;
  return Quantity{-dent.depth_mm->value, -dent.depth_mm->high, -dent.depth_mm->low};
}

std::string volume_words(const std::optional<Quantity>& mm3, const Wording& words) {
  if (!mm3) return words("text.not_known");
  std::string text = length_words(*mm3, words);  // figures and interval alike
  for (auto at = text.find(" mm"); at != std::string::npos; at = text.find(" mm", at + 4))
    text.insert(at + 3, "³");
  return text;
}

std::string sentence(const std::string& text) { return with_full_stop(capitalised(text)); }

std::string kind_words(const Dent& dent, const Wording& words) {
  return words(dent.kind == Kind::low ? "kind.low" : "kind.high");
}

ReportTable before_and_after(const Wording& words) {
  return {{"", words("compare.page.before"), words("compare.page.after")}, {}};
}

ReportTable spot_table(const SpotChange& change, const Reading& before, const Reading& after,
                       const Wording& words) {
  const Dent& spot = before.dents[static_cast<std::size_t>(change.before)];
  ReportTable table = before_and_after(words);
  const bool empty = change.after.empty();
  const Dent* left = empty ? nullptr : &after.dents[static_cast<std::size_t>(change.after.front())];
  const std::string nothing =
      words(change.outcome == Outcome::gone ? "compare.nothing_seen" : "text.not_known");
  const auto add = [&](const char* key, const std::string& was, const std::string& is) {
    table.rows.push_back({words(key), was, is});
  };
  add("compare.page.kind", kind_words(spot, words), left ? kind_words(*left, words) : nothing);
  add("compare.page.height", or_not_known(height_of(spot), words),
      left ? or_not_known(height_of(*left), words) : nothing);
  add("compare.page.width", length_words(spot.diameter_mm, words),
      left ? length_words(left->diameter_mm, words) : nothing);
  for (const int index : change.after) {
    const Dent& dent = after.dents[static_cast<std::size_t>(index)];
    if (dent.inside_of == change.after.front())
      add(dent.kind == Kind::low ? "compare.page.low_inside" : "compare.page.high_inside", "",
          words("compare.wide", {{"depth", or_not_known(dent.depth_mm, words)},
                                 {"width", length_words(dent.diameter_mm.value, words)}}));
  }
  if (spot.volume_mm3)
    add("compare.page.volume", volume_words(spot.volume_mm3, words),
        left ? volume_words(left->volume_mm3, words) : nothing);
  // Relief that was pulled past flat is not gone, so a share of it would mislead.
  if (change.outcome == Outcome::gone || change.outcome == Outcome::partly)
    add("compare.page.gone", "", gone_words(change.outcome, change.percent_gone, words));
  return table;
}

void add_spot(const SpotChange& change, const CompareInput& input, std::vector<ReportBlock>& blocks) {
  const Wording& words = input.words;
  const Reading &before = input.first().reading, &after = input.last().reading;
  const Kind kind = before.dents[static_cast<std::size_t>(change.before)].kind;
  blocks.push_back(ReportHeading{words(
      "compare.page.spot_is", {{"number", change.before + 1}, {"outcome", outcome_words(change, words)}})});
  blocks.push_back(spot_table(change, before, after, words));
  if (change.outcome == Outcome::gone) blocks.push_back(ReportText{rest_words(change, kind, words), false});
  for (const std::string& note : change.notes) blocks.push_back(ReportNote{sentence(note)});
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

std::string brief(const Dent& dent, const Wording& words) {
  return words(dent.kind == Kind::low ? "compare.brief.low" : "compare.brief.high",
               {{"depth", dent.depth_mm ? length_words(dent.depth_mm->value, words) : "?"},
                {"width", length_words(dent.diameter_mm.value, words)}});
}

/// A line for each spot and each new mark.
ReportTable brief_table(const CompareInput& input) {
  const Wording& words = input.words;
  const Reading &before = input.first().reading, &after = input.last().reading;
  ReportTable table = before_and_after(words);
  table.header.push_back(words("compare.page.gone"));
  for (const SpotChange& change : input.comparison().spots) {
    std::string left;
    for (const int index : change.after)
      left += (left.empty() ? "" : "; ") + brief(after.dents[static_cast<std::size_t>(index)], words);
    if (left.empty())
      left = words(change.outcome == Outcome::gone ? "compare.nothing_seen" : "text.not_known");
    table.rows.push_back({std::to_string(change.before + 1),
                          brief(before.dents[static_cast<std::size_t>(change.before)], words), left,
                          gone_words(change.outcome, change.percent_gone, words)});
  }
  for (const NewMark& mark : input.comparison().new_marks)
    table.rows.push_back(
        {words("compare.page.new"), "", brief(after.dents[static_cast<std::size_t>(mark.after)], words), ""});
  return table;
}

ReportTable series_table(const CompareInput& input) {
  const Wording& words = input.words;
  ReportTable table{{words("compare.page.photo")}, {}};
  for (const SpotTrack& track : input.series.tracks)
    table.header.push_back(words("compare.page.spot", {{"number", track.spot + 1}}));
  for (std::size_t i = 0; i < input.shots.size(); ++i) {
    std::vector<std::string> row = {std::to_string(i + 1)};
    for (const SpotTrack& track : input.series.tracks) {
      const TrackPoint& point = track.points[i];
      const std::string height =
          point.height_mm ? length_words(point.height_mm->value, words) : words("text.not_known");
      row.push_back(i == 0 ? height
                           : words("compare.page.height_and_gone",
                                   {{"height", height},
                                    {"gone", gone_words(point.outcome, point.percent_gone, words)}}));
    }
    table.rows.push_back(row);
  }
  return table;
}

}  // namespace

void add_to_contact_sheet(ReportPage& sheet, const std::string& name, const CompareInput& input) {
  const Wording& words = input.words;
  const Comparison& comparison = input.comparison();
  sheet.blocks.push_back(ReportHeading{name});
  ReportPictures row{{}, 3};
  for (PictureGroup& group : comparison_pictures(input))
    if (group.name == "photos" || group.name == "difference")
      for (ReportPicture& picture : group.pictures) row.pictures.push_back(std::move(picture));
  for (ReportPicture& picture : row.pictures)
    picture.caption = words(!picture.photo                      ? "compare.page.moved"
                            : &picture == &row.pictures.front() ? "compare.page.before"
                                                                : "compare.page.after");
  if (!row.pictures.empty()) sheet.blocks.push_back(std::move(row));
  sheet.blocks.push_back(ReportText{summary_words(comparison, words), false});
  sheet.blocks.push_back(brief_table(input));
  if (comparison.place.same == SamePlace::likely)
    sheet.blocks.push_back(ReportNote{sentence(comparison.place.reason)});
  for (const std::string& note : comparison.notes) sheet.blocks.push_back(ReportNote{sentence(note)});
}

ReportPage comparison_page(const CompareInput& input, const ReportSettings& settings) {
  const Wording& words = input.words;
  const Comparison& comparison = input.comparison();
  ReportPage page;
  page.words = words;
  page.title = settings.vehicle.empty() ? words("compare.title")
                                        : words("compare.title_of", {{"vehicle", settings.vehicle}});
  page.workshop = settings.workshop;
  page.date = settings.date;
  page.blocks.push_back(ReportText{summary_words(comparison, words), true});
  add_pictures(input, page.blocks);
  if (input.shots.size() > 2) {
    page.blocks.push_back(ReportHeading{words("compare.page.series")});
    page.blocks.push_back(series_table(input));
  }
  for (const SpotChange& change : comparison.spots) add_spot(change, input, page.blocks);
  if (!comparison.new_marks.empty()) {
    page.blocks.push_back(ReportHeading{words("compare.page.new_marks")});
    for (const NewMark& mark : comparison.new_marks)
      page.blocks.push_back(ReportText{sentence(new_mark_words(mark, input.last().reading, words)), false});
  }
  page.blocks.push_back(ReportHeading{words("compare.page.sure")});
  page.blocks.push_back(ReportText{sentence(comparison.place.reason), false});
  for (const std::string& note : comparison.notes) page.blocks.push_back(ReportNote{sentence(note)});
  page.blocks.push_back(ReportText{words("compare.page.explained"), false});
  page.footer = words("compare.page.footer");
  return page;
}

}  // namespace ripplegauge
