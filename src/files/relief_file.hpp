// A relief as a file for other programs: a plain grid for spreadsheets and numpy, or a 16-bit greyscale
// picture.
#pragma once

#include <filesystem>
#include <string>

#include "ripplegauge/core/relief.hpp"

namespace ripplegauge {

/// The format follows the extension: .csv (commas) and .txt (tabs) hold the grid, .png the picture.
/// Throws UsageError for another extension or an empty relief, FileError when it cannot be written.
void write_relief(const std::filesystem::path& file, const Relief& relief);

/// Comment lines that begin with "#" say unit, step and origin; then one line a row, the first at the
/// smallest y, heights in mm to 0.01 µm, "nan" where nothing was measured. numpy.loadtxt reads it as it is.
std::string relief_to_text(const Relief& relief, char separator);

/// Grey 1 to 65535 covers the heights from the lowest to the highest, 0 is where nothing was measured; the
/// top row is at the largest y, as one looks at the panel. The tEXt chunks state, as decimal numbers,
/// height_mm = offset_mm + scale_mm * grey, the step and the place of the top left pixel; pHYs states the
/// size.
std::string relief_to_png(const Relief& relief);

/// Reads what write_relief wrote as .csv or .txt. Throws FileError.
Relief read_relief(const std::filesystem::path& file);

}  // namespace ripplegauge
