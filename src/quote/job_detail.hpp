// What the files that change jobs share.
#pragma once

#include <algorithm>
#include <string>

#include "quote/job.hpp"

namespace ripplegauge::job_detail {

template <typename Entries>
int next_id(const Entries& entries) {
  int largest = 0;
  for (const auto& entry : entries) largest = std::max(largest, entry.id);
  return largest + 1;
}

/// What is wrong with a spot by itself, or nothing.
std::string flaw_of(const JobSpot& spot);

}  // namespace ripplegauge::job_detail
