#pragma once

#include <filesystem>

#include "ripplegauge/core/card_definition.hpp"

namespace ripplegauge {

/// Reads a card file:
///   {"schema": 1, "name": "...", "tag_family": "36h11", "tag_side_mm": 18, "bar_nominal_mm": 100,
///    "tags": [{"id": 0, "x_mm": 0, "y_mm": 0}, ...],
///    "paper": [{"x0_mm": -14, "y0_mm": -14, "x1_mm": 114, "y1_mm": 14}, ...]}
/// Throws FileError, also for tags that overlap, share a number or lie off the paper.
CardDefinition read_card(const std::filesystem::path& file);

}  // namespace ripplegauge
