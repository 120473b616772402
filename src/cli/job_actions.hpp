// What the actions of `job` share.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "wording_options.hpp"

namespace ripplegauge::cli {

/// All that an action may be told; each has options for its own part.
struct JobArguments {
  std::string file, vehicle, notes, panel, reason, item, severity, kind = "low", prices;
  std::string who, new_name, checked, price, json, claim_number, quote_number, valid_until;
  bool untaxed = false;
  int photo = 0;
  std::vector<std::string> readings, facts, dropped_facts, pictures;
  std::vector<int> spots;
  std::optional<double> diameter_mm, plus_minus_mm, low_mm, high_mm, length_mm, width_mm, depth_mm;
  int count = 1;
  WordingArguments wording;
  bool draw = false, beyond_pulling = false, can_be_pulled = false, counts_alone = false, all = false;
};

/// Says something on the error stream and goes on.
void warn(const std::string& message);

/// "2, 5, 6".
std::string numbers(const std::vector<int>& ids);

/// Adds those that are not there yet.
void add_facts(std::vector<std::string>& facts, const std::vector<std::string>& more);

/// Draws saved pictures of these spots anew, after the job is written and while nobody else changes it.
void redraw(const JobArguments& arguments, const std::vector<int>& spots);

int run_add(const JobArguments& arguments);
int run_list(const JobArguments& arguments);

}  // namespace ripplegauge::cli
