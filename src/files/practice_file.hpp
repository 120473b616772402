#pragma once

#include <filesystem>
#include <vector>

#include "training/practice.hpp"

namespace ripplegauge {

/// The rules of practice (practice.json of the data folder). Throws FileError naming key, value and rule.
std::vector<PracticeRule> read_practice_rules(const std::filesystem::path& file);

}  // namespace ripplegauge
