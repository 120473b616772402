// Refusals before any stripe is looked at: exposure, sharpness, angle, the card.
#include "refusals.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>
#include <string>

#include "core/quantile.hpp"
#include "ripplegauge/core/findings.hpp"
#include "sharpness.hpp"

namespace ripplegauge {
namespace {

double share_clipped(const cv::Mat& grey) {
  return static_cast<double>(cv::countNonZero(grey >= 250)) / static_cast<double>(grey.total());
}

Refusal refuse_blurred(double edge_width_px, bool by_motion, const std::string& consequence) {
  const std::string width = " (edges are " + std::to_string(std::lround(edge_width_px)) + " pixels wide)";
  if (by_motion)
    return {code_of(PhotoFinding::blurred),
            "The photo is blurred by motion" + width + "; " + consequence + ".",
            "Rest the phone on something or use the self-timer, add light, and photograph again."};
  return {code_of(PhotoFinding::blurred), "The photo is out of focus" + width + "; " + consequence + ".",
          "Tap on the card to focus on it, wait until it is sharp, and photograph again."};
}

/// Blur where the tags that do read show it: their cells run into each other.
std::optional<Refusal> refuse_blur(const cv::Mat& grey, const std::vector<SeenTag>& tags,
                                   const std::string& consequence) {
  constexpr double of_a_cell = 0.6;
  const double width_px = median_edge_width_px(tags);
  if (width_px < of_a_cell * shortest_side_px(tags) / cells_a_side) return std::nullopt;
  return refuse_blurred(width_px, sharpness_of(grey, box_around(tags)).by_motion(), consequence);
}

}  // namespace

cv::Rect box_around(const std::vector<SeenTag>& tags) {
  std::vector<cv::Point2f> corners;
  double side_px = 0;
  for (const SeenTag& tag : tags)
    for (std::size_t k = 0; k < 4; ++k) {
      corners.push_back(tag.corners_px[k]);
      side_px = std::max(side_px, cv::norm(tag.corners_px[k] - tag.corners_px[(k + 1) % 4]));
    }
  const cv::Rect box = cv::boundingRect(corners);
  const int margin = static_cast<int>(side_px);
  return {box.x - margin, box.y - margin, box.width + 2 * margin, box.height + 2 * margin};
}

double median_edge_width_px(const std::vector<SeenTag>& tags) {
  std::vector<double> widths;
  widths.reserve(tags.size());
  for (const SeenTag& tag : tags) widths.push_back(tag.edge_width_px);
  return median_of(widths);
}

double shortest_side_px(const std::vector<SeenTag>& tags) {
  double shortest = std::numeric_limits<double>::infinity();
  for (const SeenTag& tag : tags)
    for (std::size_t k = 0; k < 4; ++k)
      shortest = std::min(shortest, cv::norm(tag.corners_px[k] - tag.corners_px[(k + 1) % 4]));
  return shortest;
}

Refusal refuse_no_card(const cv::Mat& grey, const std::vector<SeenTag>& seen) {
  if (!seen.empty())
    return {code_of(PhotoFinding::card_unknown),
            "Tags are in the photo, but none of them belongs to this card.",
            "Use the card that the program printed, or name your own."};
  const double mean = cv::mean(grey)[0];
  if (share_clipped(grey) > 0.25)
    return {code_of(PhotoFinding::overexposed),
            "Most of the photo is burnt out to white; no card can be read in it.",
            "Tap on the white card to set the exposure, or turn the lamp down, and photograph again."};
  if (mean < 12)
    return {code_of(PhotoFinding::too_dark), "The photo is nearly black; no card can be read in it.",
            "Add light on the card and photograph again."};
  const Sharpness s = sharpness_of(grey, cv::Rect(0, 0, grey.cols, grey.rows));
  // Sharp photos have edges of 4 to 9 px by this measure; tags that large that they read have cells of 3 px
  // and more.
  constexpr double blurred_px = 11;
  constexpr double some_contrast = 60;  // noise has no edges
  if (s.contrast > some_contrast && s.widest_px > blurred_px)
    return refuse_blurred(s.widest_px, s.by_motion(), "no card can be read in it");
  return {code_of(PhotoFinding::card_not_found), "No scale card was found in the photo.",
          "Lay the printed card flat beside the dent, all of it in the picture and unshaded, and photograph "
          "again."};
}

std::optional<Refusal> check_tags(const cv::Mat& grey, const CardDefinition& card,
                                  std::vector<SeenTag>& seen) {
  std::vector<SeenTag> ours;
  std::map<int, int> count;
  for (const SeenTag& tag : seen)
    for (const CardTag& known : card.tags)
      if (known.id == tag.id) {
        ours.push_back(tag);
        ++count[tag.id];
      }
  std::swap(seen, ours);
  if (seen.empty()) return refuse_no_card(grey, ours);
  int doubled = 0;
  for (const auto& [id, times] : count) doubled += times > 1;
  if (doubled >= 2)
    return Refusal{code_of(PhotoFinding::two_cards),
                   "Two cards are in the photo (tags that stand on the card once are seen twice).",
                   "Leave one card beside the dent, cover or remove the other, and photograph again."};
  if (doubled == 1)  // a chance decoding: believe neither
    std::erase_if(seen, [&](const SeenTag& tag) { return count[tag.id] > 1; });
  if (seen.empty()) return refuse_no_card(grey, ours);
  // Three tags that do not stand in one line fix the panel; fewer leave its tilt to chance.
  bool spread = false;
  for (const SeenTag& a : seen)
    for (const SeenTag& b : seen)
      for (const SeenTag& c : seen) {
        const cv::Point2d u = centre_px(b) - centre_px(a), v = centre_px(c) - centre_px(a);
        spread |=
            std::abs(u.cross(v)) > 0.2 * cv::norm(u) * cv::norm(v) && cv::norm(u) > 0 && cv::norm(v) > 0;
      }
  const double shortest_px = shortest_side_px(seen);
  // Where only the nearest tags read, those behind them are smaller still.
  constexpr double nearest_over_furthest = 4.0 / 3;
  if (shortest_px < smallest_side_px ||
      (seen.size() < 4 && shortest_px < nearest_over_furthest * smallest_side_px))
    return Refusal{code_of(PhotoFinding::card_too_small),
                   "The card is too small in the photo to measure from (a tag is only " +
                       std::to_string(static_cast<int>(shortest_px)) + " pixels wide).",
                   "Go nearer, or use the camera's full resolution."};
  if (seen.size() < 4 || !spread) {
    const std::string read_tags =
        std::to_string(seen.size()) + " of the card's " + std::to_string(card.tags.size()) + " tags";
    if (auto blurred = refuse_blur(grey, seen, "only " + read_tags + " can be read")) return blurred;
    return Refusal{code_of(PhotoFinding::too_few_tags), "Only " + read_tags + " can be read.",
                   "Bring the whole card into the picture, flat and without shadow or glare on it."};
  }
  return std::nullopt;
}

std::optional<Refusal> check_view(const cv::Mat& grey, const std::vector<SeenTag>& tags, double tilt_deg,
                                  double tag_rms_px, double pixels_per_mm) {
  if (tilt_deg > steepest_deg)
    return Refusal{code_of(PhotoFinding::too_oblique),
                   "The panel is seen too much from the side (" + std::to_string(static_cast<int>(tilt_deg)) +
                       " degrees from straight on).",
                   "Hold the phone more squarely over the panel: 20 to 45 degrees is best."};
  constexpr double card_bent_mm = 0.25;
  if (tag_rms_px > std::max(2.5, card_bent_mm * pixels_per_mm)) {
    if (auto blurred = refuse_blur(grey, tags, "the card's tags cannot be placed")) return blurred;
    return Refusal{code_of(PhotoFinding::card_not_flat),
                   "The card's tags do not fit together: the card is bent, lifted or wrongly described.",
                   "Press the card flat onto the panel (a few magnets or tape help), and check that it "
                   "is the card that was named."};
  }
  return std::nullopt;
}

}  // namespace ripplegauge
