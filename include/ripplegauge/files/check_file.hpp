// Checks of photos as JSON, schema 1: what `check --json` writes.
#pragma once

#include <string>
#include <vector>

#include "ripplegauge/measure/photo_check.hpp"

namespace ripplegauge {

/// A single check as one object, several as an array of objects. What is not known is null.
std::string photo_checks_to_json(const std::vector<PhotoCheck>& checks);

}  // namespace ripplegauge
