// Readings of a part with several spots: each spot is a part of the study by itself, told again from reading
// to reading by its place, or by the pattern that the spots make where the card was laid anew.
#include <algorithm>
#include <cmath>

#include "compare/alignment.hpp"
#include "core/joined.hpp"
#include "files/study_file.hpp"
#include "words/text.hpp"

namespace ripplegauge {

namespace {

std::optional<Quantity> quantity_of(const Dent& dent, StudyQuantity quantity) {
  std::optional<Quantity> given = dent.min_radius_mm;
  if (quantity == StudyQuantity::diameter_mm) given = dent.diameter_mm;
  if (quantity == StudyQuantity::depth_mm) given = dent.depth_mm;
  return given && std::isfinite(given->value) ? given : std::nullopt;
}

std::string name_of(const StudyValue& labels) {
  return labels.part + "/" + labels.person + "_" + labels.trial;
}

void add_value(StudyGroup& group, const LabelledReading& one, const std::string& part, const Dent& dent,
               StudyQuantity quantity) {
  StudyValue value = one.labels;
  value.part = part;
  value.stated = quantity_of(dent, quantity);
  if (!value.stated) return;
  value.value = value.stated->value;
  group.values.push_back(std::move(value));
}

using PartReadings = std::vector<const LabelledReading*>;

/// The reading that shows most spots, the first one of them.
const LabelledReading& fullest(const PartReadings& readings) {
  return **std::max_element(readings.begin(), readings.end(), [](auto* a, auto* b) {
    return a->reading.dents.size() < b->reading.dents.size();
  });
}

std::string legend(const LabelledReading& reference) {
  std::vector<std::string> spots;
  for (std::size_t i = 0; i < reference.reading.dents.size(); ++i) {
    const Dent& dent = reference.reading.dents[i];
    spots.push_back(study_spot_name(reference.labels.part, i) + " at x " + figure(dent.x_mm, 0) + ", y " +
                    figure(dent.y_mm, 0) + " mm on the card");
  }
  return reference.labels.part + ": its spots are numbered as " + name_of(reference.labels) +
         " shows them: " + joined(spots, "; ");
}

/// A spot near another one's place, of a card that was laid anew, is rarely as large as that one.
std::vector<SpotMatch> same_spots(const std::vector<Dent>& reference, const std::vector<Dent>& dents) {
  constexpr double least_ratio = 0.75;  // readings of one diameter differ by a few per cent
  const Alignment alignment = align(reference, dents);
  if (alignment.ambiguous) return {};
  std::vector<SpotMatch> pairs = alignment.pairs;
  std::erase_if(pairs, [&](const SpotMatch& pair) {
    const Dent &one = reference[static_cast<std::size_t>(pair.before)],
               &other = dents[static_cast<std::size_t>(pair.after)];
    const auto [smaller, larger] = std::minmax(one.diameter_mm.value, other.diameter_mm.value);
    return one.kind != other.kind || smaller < least_ratio * larger;
  });
  return pairs;
}

void add_spots(const PartReadings& readings, StudyQuantity quantity, StudyGroup& group) {
  const LabelledReading& reference = fullest(readings);
  const std::string& part = reference.labels.part;
  group.notes.push_back(legend(reference));
  for (const LabelledReading* one : readings) {
    const std::vector<Dent>& dents = one->reading.dents;
    const auto left_out = [&](const std::string& why) {
      group.notes.push_back(name_of(one->labels) + " is left out: " + why);
    };
    if (one == &reference) {
      for (std::size_t i = 0; i < dents.size(); ++i)
        add_value(group, *one, study_spot_name(part, i), dents[i], quantity);
      continue;
    }
    const std::vector<SpotMatch> pairs = same_spots(reference.reading.dents, dents);
    if (dents.empty())
      left_out("it shows no spot");
    else if (pairs.empty())
      left_out("which of its spots is which cannot be told; leave the card where it is");
    else
      for (const SpotMatch& pair : pairs)
        add_value(group, *one, study_spot_name(part, static_cast<std::size_t>(pair.before)),
                  dents[static_cast<std::size_t>(pair.after)], quantity);
  }
}

}  // namespace

std::string study_spot_name(const std::string& part, std::size_t index) {
  return part + "#" + std::to_string(index + 1);
}

StudyGroup study_of(const std::string& name, const std::vector<LabelledReading>& readings,
                    StudyQuantity quantity) {
  StudyGroup group{name, "mm", {}, {}};
  std::vector<PartReadings> parts;  // in the order of first appearance
  for (const LabelledReading& one : readings) {
    const auto same_part = [&](const PartReadings& part) {
      return part.front()->labels.part == one.labels.part;
    };
    auto part = std::find_if(parts.begin(), parts.end(), same_part);
    if (part == parts.end()) part = parts.insert(parts.end(), PartReadings{});
    part->push_back(&one);
  }
  for (const PartReadings& part : parts) {
    if (fullest(part).reading.dents.size() > 1) {
      add_spots(part, quantity, group);
      continue;
    }
    for (const LabelledReading* one : part)
      if (!one->reading.dents.empty())
        add_value(group, *one, one->labels.part, one->reading.dents.front(), quantity);
  }
  return group;
}

}  // namespace ripplegauge
