// A folder of photos of one vehicle, each told by its place or name which panel it shows.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace ripplegauge {

struct FolderPhoto {
  std::filesystem::path file;  ///< to open it
  std::string name;            ///< from the folder on: "bonnet/IMG_2034.jpg"
  std::string panel;           ///< empty: nobody can tell, see trouble
  std::string trouble;         ///< why the panel is not known
};

struct PhotoFolderOptions {
  /// How a photo's name, without its ending, tells the panel, see panel_from_name(). Empty: the first
  /// sub-folder is the panel; photos that lie in none are named like "bonnet-3", or else the folder itself
  /// has the panel's name.
  std::string panel_pattern;
  std::filesystem::path leave_out;  ///< a folder within it that is not searched
};

/// Whether a file's name ends as photos' names do: .jpg, .jpeg, .png, .heic, .heif or .hif, in any case. The
/// one list for all commands.
bool has_photo_ending(const std::filesystem::path& file);

/// The photo's file, sought where its name says and beside the reading; empty when it is in neither place.
std::filesystem::path photo_beside(const std::string& photo_name, const std::filesystem::path& reading_file);

/// Photos in a folder and its sub-folders, told by the endings of their names (JPEG, PNG, HEIC), in the order
/// of their names. Hidden files and folders are passed over, and folders JOB-pictures beside a JOB.json.
/// Throws FileError where the folder cannot be read, and UsageError for a pattern that makes no sense.
std::vector<FolderPhoto> photos_in(const std::filesystem::path& folder, const PhotoFolderOptions& options);

/// The panel in a photo's name: in the pattern, {panel} stands for the panel's name, # for a number and * for
/// anything, all as long as possible from left to right; everything else for itself. "{panel}-#" finds "roof
/// left" in "roof left-12". Nothing if the name does not fit. Throws UsageError unless {panel} stands in the
/// pattern once.
std::optional<std::string> panel_from_name(std::string_view pattern, std::string_view name);

}  // namespace ripplegauge
