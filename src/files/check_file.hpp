// Checks of photos as JSON, schema 1: what `check --json` writes.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "advice/second_shot.hpp"
#include "ripplegauge/measure/photo_check.hpp"

namespace ripplegauge {

/// What another photo of the place would add to a checked one, read together with it.
std::optional<SecondShot> second_shot_after(const PhotoCheck& check);

/// A single check as one object, several as an array of objects. What is not known is null.
std::string photo_checks_to_json(const std::vector<PhotoCheck>& checks);

}  // namespace ripplegauge
