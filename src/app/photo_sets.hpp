// Which photos of a folder show one place and are read as one.
#pragma once

#include <chrono>
#include <functional>
#include <string>
#include <vector>

#include "files/photo_folder.hpp"

namespace ripplegauge {

/// One photo, or those of one place.
struct FolderSet {
  std::vector<const FolderPhoto*> photos;
  bool by_time = false;  ///< nobody said that they show one place: they only follow each other closely
};

struct SetRules {
  std::function<std::string(const FolderPhoto&)> word;  ///< what the table calls its set; empty: nothing
  bool by_folder = false;                               ///< a folder within the panel's folder is a set
  /// At most so long from one photo of a panel to the next; absent: time tells nothing.
  std::optional<std::chrono::seconds> gap;
};

/// Every photo in one set, sets in the order of their first photos. What somebody said goes before what the
/// clock says. Too many photos in quick succession are no set, and a remark says so. Throws UsageError where
/// somebody called more photos one set than can be read together.
std::vector<FolderSet> sets_of(const std::vector<const FolderPhoto*>& photos, const SetRules& rules,
                               std::vector<std::string>& remarks);

}  // namespace ripplegauge
