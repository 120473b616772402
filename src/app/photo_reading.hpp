// Photos of a folder run as readings: whatever is wrong with a file is a reading that says so.
#pragma once

#include <string>
#include <vector>

#include "photo_sets.hpp"
#include "quote/job.hpp"
#include "ripplegauge/measure/measure.hpp"

namespace ripplegauge {

/// What goes into a job as one: a photo's reading, or that of a set.
struct PhotoReading {
  Reading reading;
  std::vector<const FolderPhoto*> photos;  ///< one, or those of Reading::set in its order
  /// Each photo with the joint reading's spots, as it is drawn; of one photo alone the reading itself.
  std::vector<Reading> views;
};

struct ReadSet {
  std::vector<PhotoReading> readings;
  std::string remark;  ///< why photos that follow each other were not read as one; empty
};

/// Reads a set as one, or its only photo. What only the clock takes for a set is read as one where its photos
/// agree; those that do not count by themselves. `requests` are in the order of the photos. Never throws for
/// a photo's sake. A UsageError is about all of them and passes.
ReadSet read_set(const FolderSet& set, const std::vector<const MeasureRequest*>& requests);

}  // namespace ripplegauge
