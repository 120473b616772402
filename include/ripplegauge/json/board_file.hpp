#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

#include "ripplegauge/core/board_definition.hpp"

namespace ripplegauge {

/// Reads a board file; only schema and pitch are required:
///   {"schema": 1, "name": "...", "pitch_mm": 16, "printed_mirrored": true,
///    "tags": [{"id": 40, "x_mm": -250, "y_mm": 180, "side_mm": 40}, ...]}
/// Throws FileError, also for tags that overlap or share a number.
BoardDefinition read_board(const std::filesystem::path& file);

/// `name` stands for the file in error messages.
BoardDefinition board_from_json(std::string_view text, const std::string& name);

std::string board_to_json(const BoardDefinition& board);

/// What cannot be about the tags together, such as "tags 40 and 41 overlap"; nothing if all is well.
std::optional<std::string> tag_conflict(const std::vector<BoardTag>& tags);

}  // namespace ripplegauge
