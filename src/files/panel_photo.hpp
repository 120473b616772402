// A photo and where its card lies in it: the panel seen squarely, cut out anywhere.
#pragma once

#include <filesystem>
#include <opencv2/core/mat.hpp>
#include <vector>

#include "picture/rectified_view.hpp"
#include "ripplegauge/core/card_definition.hpp"
#include "ripplegauge/core/reading.hpp"
#include "sheet/plan_sheet.hpp"

namespace ripplegauge {

struct PanelPhoto {
  cv::Mat bgr;  ///< reduced to what a page can show
  std::vector<SeenPlace>
      places;  ///< the corners of the card's tags, in pixels of `bgr` and in the card frame
};

/// Throws FileError where the photo cannot be read; without places where no tag of the card is found.
PanelPhoto read_panel_photo(const std::filesystem::path& photo, const CardDefinition& card,
                            double bar_length_mm);

/// The photo of a saved reading: where it lay when it was measured, else beside the reading; else empty.
std::filesystem::path photo_of(const Reading& reading, const std::filesystem::path& reading_file);

/// For plan_sheet_pdf().
PanelView panel_view(PanelPhoto photo);

}  // namespace ripplegauge
