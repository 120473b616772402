// What differs from photo to photo of one folder: a small table, made with a spreadsheet.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace ripplegauge {

/// What a row says of the photos that it names; what is absent is as for all others.
struct PhotoValues {
  std::string
      photo;  ///< name within the folder, or a file's name alone, or a folder's; '*' for any characters
  std::optional<double> board_pitch_mm, board_distance_mm, bar_length_mm;
  std::string board_file;  ///< relative to the table
  std::string panel;
  std::string set;  ///< photos of one panel with the same word here show one place and are read as one
  int line = 0;     ///< of the table
};

/// Columns photo, board_pitch_mm, board_distance_mm, bar_length_mm, board, panel, set and any others for
/// remarks (comment, note), in any order. Commas, semicolons or tabs separate; decimal commas are read with
/// the latter two. Throws FileError naming line, column and rule.
std::vector<PhotoValues> read_photo_values(const std::filesystem::path& file);

/// The rows that name this photo ("door/IMG_2.jpg"), taken together: what a later row says goes before what
/// an earlier one says. Nothing where none names it.
std::optional<PhotoValues> values_of_photo(const std::vector<PhotoValues>& rows, const std::string& name);

}  // namespace ripplegauge
