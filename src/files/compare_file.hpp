// A comparison as the user takes it away: figures as JSON, pictures, the customer's page, a row for the
// training log.
#pragma once

#include <filesystem>
#include <opencv2/core/mat.hpp>
#include <string>
#include <utility>
#include <vector>

#include "compare/comparison.hpp"
#include "compare/series.hpp"
#include "picture/chart.hpp"
#include "picture/report_page.hpp"
#include "ripplegauge/core/card_definition.hpp"
#include "training/progress.hpp"

namespace ripplegauge {

/// Everything known of the shots of one place, the first one before, the last one after.
struct CompareInput {
  std::vector<SeriesReading> shots;
  Series series;
  /// Photos seen squarely at one scale, one for each shot; empty where there is none.
  std::vector<cv::Mat> views_bgr;
  Wording words = Wording::plain();  ///< of everything that is made of it

  const SeriesReading& first() const { return shots.front(); }
  const SeriesReading& last() const { return shots.back(); }
  const Comparison& comparison() const { return series.against_first.back(); }
};

std::string comparison_to_json(const CompareInput& input);

/// What became of a folder of shots.
struct FolderComparisons {
  std::vector<std::pair<std::string, std::string>> comparisons;  ///< name, and its comparison_to_json
  std::vector<std::pair<std::string, std::string>> refused;      ///< name, and why
  std::vector<std::string> left_over;                            ///< shots without a partner, and why
};
std::string folder_comparisons_to_json(const FolderComparisons& found);

/// Cross-sections of before and after over each other, a panel for each spot that has one.
Chart section_chart(const CompareInput& input);

/// Height of each spot from photo to photo, and per cent gone; for a series of three and more.
Chart series_chart(const CompareInput& input);

/// One picture, or a few that belong side by side.
struct PictureGroup {
  std::string name;     ///< what its file is called, without extension
  std::string caption;  ///< what it shows, in plain words
  std::vector<ReportPicture> pictures;

  /// As one picture for a file.
  cv::Mat whole() const;
};

/// The photos of the shots, in their order (empty where there is none), seen squarely around the spots, in
/// one frame and at one scale; a thin line shows where the spots of the first shot were. By the card's tags
/// in each photo; a view is empty where they are not found. Throws FileError for a photo that cannot be read.
std::vector<cv::Mat> squared_views(const std::vector<std::filesystem::path>& photos,
                                   const CompareInput& input, const CardDefinition& card);

/// Whatever can be shown: photos side by side, maps before and after in the same colours, the difference map,
/// the sections, and for a series its chart.
std::vector<PictureGroup> comparison_pictures(const CompareInput& input);

struct ReportSettings {
  std::string workshop;  ///< the workshop's own name; may be empty
  std::string vehicle;   ///< what the user calls the job; may be empty
  std::string date;      ///< "YYYY-MM-DD"
};

/// For the customer: plain words, pictures, and what the figures can and cannot say.
ReportPage comparison_page(const CompareInput& input, const ReportSettings& settings);

/// The same in brief, one pair among many on a sheet: photos, how far the panel moved, a line for each spot.
void add_to_contact_sheet(ReportPage& sheet, const std::string& name, const CompareInput& input);

TrainingAttempt training_attempt(const CompareInput& input, const std::string& who,
                                 const std::string& exercise, const std::string& logged_at);

}  // namespace ripplegauge
