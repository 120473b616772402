// Which photos of a folder are one set: by a table, by folders of their own, or by the clock.
#include "photo_sets.hpp"

#include <algorithm>
#include <map>
#include <optional>
#include <utility>

#include "compare/photo_time.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/measure/together.hpp"
#include "ripplegauge/photo/photo.hpp"
#include "words/text.hpp"

namespace ripplegauge {
namespace {

/// "bonnet/dent 1" of "bonnet/dent 1/IMG_3.jpg"; empty where the photo lies in the panel's folder itself.
std::string folder_within_panel(const FolderPhoto& photo) {
  const std::size_t first = photo.name.find('/'), last = photo.name.rfind('/');
  return first == last ? "" : photo.name.substr(0, last);
}

/// What somebody called the set; panels of one word are two sets.
std::string said_of(const FolderPhoto& photo, const SetRules& rules) {
  const std::string word = rules.word(photo);
  if (!word.empty()) return word;
  return rules.by_folder ? folder_within_panel(photo) : "";
}

struct TimedPhoto {
  std::chrono::sys_seconds taken;
  const FolderPhoto* photo;
};

/// Photos of one panel that follow each other closely, in the order of time.
std::vector<std::vector<const FolderPhoto*>> successions(std::vector<TimedPhoto> photos,
                                                         std::chrono::seconds gap) {
  std::stable_sort(photos.begin(), photos.end(), [](auto& a, auto& b) { return a.taken < b.taken; });
  std::vector<std::vector<const FolderPhoto*>> runs;
  for (std::size_t i = 0; i < photos.size(); ++i) {
    if (i == 0 || photos[i].taken - photos[i - 1].taken > gap) runs.emplace_back();
    runs.back().push_back(photos[i].photo);
  }
  return runs;
}

bool by_name(const FolderPhoto* a, const FolderPhoto* b) { return a->name < b->name; }

}  // namespace

std::vector<FolderSet> sets_of(const std::vector<const FolderPhoto*>& photos, const SetRules& rules,
                               std::vector<std::string>& remarks) {
  std::map<std::pair<std::string, std::string>, FolderSet> said;  // by panel and word
  std::map<std::string, std::vector<TimedPhoto>> timed;           // by panel
  std::vector<FolderSet> sets;
  for (const FolderPhoto* photo : photos) {
    if (const std::string word = said_of(*photo, rules); !word.empty()) {
      said[{photo->panel, word}].photos.push_back(photo);
      continue;
    }
    const auto taken = rules.gap ? photo_time(date_taken_of(photo->file)) : std::nullopt;
    if (taken)
      timed[photo->panel].push_back({*taken, photo});
    else
      sets.push_back({{photo}});
  }
  for (auto& [name, set] : said) {
    if (set.photos.size() > most_together)
      throw UsageError("the set " + printable(name.second) + " of panel " + printable(name.first) + " has " +
                       std::to_string(set.photos.size()) + " photos; up to " + std::to_string(most_together) +
                       " can be read together: leave some out, or part them");
    sets.push_back(std::move(set));
  }
  for (auto& [panel, of_panel] : timed)
    for (std::vector<const FolderPhoto*>& run : successions(std::move(of_panel), *rules.gap)) {
      std::sort(run.begin(), run.end(), by_name);
      if (run.size() <= most_together) {
        const bool several = run.size() > 1;
        sets.push_back({std::move(run), several});
        continue;
      }
      remarks.push_back(printable(run.front()->name) + " and " + std::to_string(run.size() - 1) +
                        " more follow each other closely, and up to " + std::to_string(most_together) +
                        " photos can be read together: each counts by itself. Put those of one place into a "
                        "folder of their own.");
      for (const FolderPhoto* photo : run) sets.push_back({{photo}});
    }
  std::sort(sets.begin(), sets.end(), [](const FolderSet& a, const FolderSet& b) {
    return by_name(a.photos.front(), b.photos.front());
  });
  return sets;
}

}  // namespace ripplegauge
