// What a run over a folder says at its end.
#include "folder_summary.hpp"

#include <algorithm>

#include "option_hints.hpp"
#include "quote/counts.hpp"
#include "quote/overlap.hpp"
#include "words/text.hpp"

namespace ripplegauge::cli {

namespace {

constexpr int columns = 80;

std::string counted(std::size_t count, const std::string& one, const std::string& many) {
  return std::to_string(count) + " " + (count == 1 ? one : many);
}

std::string indented(const std::string& text, int indent) {
  std::string lines;
  for (const std::string& line : wrapped(text, columns - indent))
    lines += std::string(static_cast<std::size_t>(indent), ' ') + line + "\n";
  return lines;
}

/// Photos of which the same is to be said.
struct Group {
  std::string message, remedy;
  std::vector<std::string> names;
};

void add_to(std::vector<Group>& groups, const std::string& message, const std::string& remedy,
            const std::string& name) {
  const auto found = std::find_if(groups.begin(), groups.end(), [&](const Group& group) {
    return group.message == message && group.remedy == remedy;
  });
  if (found == groups.end())
    groups.push_back({message, remedy, {name}});
  else
    found->names.push_back(name);
}

std::string names_of(const Group& group, std::size_t most) {
  std::string text;
  for (std::size_t i = 0; i < std::min(most, group.names.size()); ++i)
    text += (i == 0 ? "" : ", ") + group.names[i];
  if (group.names.size() > most) text += " and " + std::to_string(group.names.size() - most) + " more";
  return text;
}

/// "bonnet/1.jpg with 2.jpg and 3.jpg": what was read as one.
std::vector<std::string> set_lines(const FolderSummary& summary) {
  std::vector<std::string> lines;
  for (const FolderOutcome& photo : summary.photos) {
    if (photo.together.empty()) continue;
    std::string line = photo.name;
    const std::string folder = photo.name.substr(0, photo.name.rfind('/') + 1);
    for (std::size_t i = 0; i < photo.together.size(); ++i) {
      const std::string& name = photo.together[i];
      line += i == 0 ? " with " : i + 1 < photo.together.size() ? ", " : " and ";
      line += name.starts_with(folder) ? name.substr(folder.size()) : name;
    }
    lines.push_back(line);
  }
  return lines;
}

std::string counts_line(const FolderSummary& summary) {
  const auto with = [&](Status status) {
    return static_cast<std::size_t>(
        std::count_if(summary.photos.begin(), summary.photos.end(),
                      [&](const FolderOutcome& photo) { return photo.status == status && !photo.left_out; }));
  };
  const auto before =
      std::count_if(summary.photos.begin(), summary.photos.end(), [](auto& photo) { return photo.before; });
  std::string text = counted(summary.photos.size(), "photo", "photos") + ": " +
                     std::to_string(with(Status::measured)) + " with spots, " +
                     std::to_string(with(Status::no_dent)) + " without, " +
                     std::to_string(with(Status::refused)) + " not measured";
  const auto left_out =
      std::count_if(summary.photos.begin(), summary.photos.end(), [](auto& photo) { return photo.left_out; });
  if (left_out > 0) text += ", " + std::to_string(left_out) + " left out of a set";
  if (before > 0) text += " (" + std::to_string(before) + " known from before)";
  if (summary.left > 0) text += "; " + std::to_string(summary.left) + " still to do";
  return text + "\n";
}

std::string chart_text(const Job& job) {
  const CountedOnce once = count_once(job);
  const std::vector<CountedSpot>& spots = once.spots;
  if (job.panels.empty()) return "";
  std::string text = "\n" + bar_chart(count_spots(job, spots, plain_bands()), columns);
  std::size_t merged = 0;
  for (const CountedSpot& spot : spots) merged += spot.also_seen.empty() ? 0 : 1;
  if (merged > 0)
    text += indented(counted(merged, "spot was", "spots were") +
                         " seen in more than one photo and counted once. `ripplegauge job mark "
                         "--counts-alone` parts what are two.",
                     0);
  if (!once.questions.empty()) text += "\nTo decide\n";
  for (const std::string& question : once.questions) text += indented(question, 2);
  return text + question_hint(once.questions);
}

}  // namespace

std::string summary_text(const FolderSummary& summary) {
  std::vector<Group> warnings, refused;
  for (const FolderOutcome& photo : summary.photos) {
    for (const Warning& warning : photo.warnings) add_to(warnings, warning.message, "", photo.name);
    if (photo.refusal)
      add_to(refused, photo.refusal->message, remedy_with_options(*photo.refusal), photo.name);
  }
  std::string text = counts_line(summary) + chart_text(summary.job);
  const std::vector<std::string> sets = set_lines(summary);
  if (!sets.empty()) text += "\nRead together, as photos of one place\n";
  for (const std::string& set : sets) text += indented(set, 2);
  if (!warnings.empty()) text += "\nWarnings\n";
  constexpr std::size_t few = 4;  // a warning is often the same for all photos
  for (const Group& group : warnings) text += indented(group.message, 2) + indented(names_of(group, few), 6);
  if (!summary.remarks.empty()) text += "\nRemarks\n";
  for (const std::string& remark : summary.remarks) text += indented(remark, 2);
  if (!refused.empty()) text += "\nNot measured\n";
  for (const Group& group : refused)
    text += indented(group.message, 2) + indented("What to do: " + group.remedy, 4) +
            indented(names_of(group, group.names.size()), 6);
  return text;
}

}  // namespace ripplegauge::cli
