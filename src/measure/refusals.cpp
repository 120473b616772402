#include "refusals.hpp"
#include "ripplegauge/core/quantile.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>

namespace ripplegauge {
namespace {

/// Width over which the photo's sharpest edges rise, in pixels, along x and along y: contrast of the strongest edges
/// over their steepest gradient. Motion blurs one direction more than the other.
struct Sharpness {
  double edge_x_px = 0, edge_y_px = 0;
  double contrast = 0;  ///< code values, within a neighbourhood
};

Sharpness sharpness_of(const cv::Mat& grey) {
  Sharpness s;
  cv::Mat small;
  const int factor = std::max(1, std::max(grey.cols, grey.rows) / 1500);
  cv::resize(grey, small, cv::Size(grey.cols / factor, grey.rows / factor), 0, 0, cv::INTER_AREA);
  const auto width = [&](int dx, int dy) {
    cv::Mat gradient;
    cv::Sobel(small, gradient, CV_32F, dx, dy, 3, 0.125);
    std::vector<float> g;
    for (int r = 0; r < gradient.rows; r += 2)
      for (int c = 0; c < gradient.cols; c += 2) g.push_back(std::abs(gradient.at<float>(r, c)));
    const float steepest = quantile_of(g, 0.999);
    cv::Mat low, high;
    cv::erode(small, low, cv::Mat::ones(41, 41, CV_8U));
    cv::dilate(small, high, cv::Mat::ones(41, 41, CV_8U));
    double contrast = 0;
    cv::minMaxLoc(high - low, nullptr, &contrast);
    s.contrast = std::max(s.contrast, contrast);
    return factor * contrast / std::max<double>(steepest, 0.5);
  };
  s.edge_x_px = width(1, 0), s.edge_y_px = width(0, 1);
  return s;
}

double share_clipped(const cv::Mat& grey) {
  return static_cast<double>(cv::countNonZero(grey >= 250)) / static_cast<double>(grey.total());
}

}  // namespace

Refusal refuse_no_card(const cv::Mat& grey, const std::vector<SeenTag>& seen) {
  const double mean = cv::mean(grey)[0];
  if (share_clipped(grey) > 0.25)
    return {"overexposed", "Most of the photo is burnt out to white; no card can be read in it.",
            "Tap on the white card to set the exposure, or turn the lamp down, and photograph again."};
  if (mean < 12)
    return {"too_dark", "The photo is nearly black; no card can be read in it.",
            "Add light on the card and photograph again."};
  const Sharpness s = sharpness_of(grey);
  constexpr double blurred_px = 22;  // a sharp photo has edges of 2 to 8 px by this measure
  constexpr double ink_on_paper = 150;  // without it no card is there that could be blurred
  const bool wide_edges =
      std::min(s.edge_x_px, s.edge_y_px) > blurred_px || std::max(s.edge_x_px, s.edge_y_px) > 2.5 * blurred_px;
  if (s.contrast >= ink_on_paper && wide_edges) {
    const double ratio = std::max(s.edge_x_px, s.edge_y_px) / std::max(std::min(s.edge_x_px, s.edge_y_px), 1.0);
    return {"blurred", std::string("The photo is blurred") + (ratio > 1.8 ? ", probably by motion" : "") + "; no card can be read in it.",
            "Rest the phone on something, tap on the card to focus, and photograph again."};
  }
  if (s.contrast >= ink_on_paper && !seen.empty())
    return {"card_unknown", "Tags are in the photo, but none of them belongs to this card.",
            "Use the card that the program printed, or name your own with --card."};
  return {"card_not_found", "No scale card was found in the photo.",
          "Lay the printed card flat beside the dent, all of it in the picture and unshaded, and photograph again."};
}

std::optional<Refusal> check_tags(const cv::Mat& grey, const CardDefinition& card, std::vector<SeenTag>& seen) {
  std::vector<SeenTag> ours;
  std::map<int, int> count;
  for (const SeenTag& tag : seen)
    for (const CardTag& known : card.tags)
      if (known.id == tag.id) {
        ours.push_back(tag);
        ++count[tag.id];
      }
  if (ours.empty()) return refuse_no_card(grey, seen);
  int doubled = 0;
  for (const auto& [id, times] : count) doubled += times > 1;
  if (doubled >= 2)
    return Refusal{"two_cards", "Two cards are in the photo (tags that stand on the card once are seen twice).",
                   "Leave one card beside the dent, cover or remove the other, and photograph again."};
  if (doubled == 1)  // a chance decoding: believe neither
    std::erase_if(ours, [&](const SeenTag& tag) { return count[tag.id] > 1; });
  seen = ours;
  // Three tags that do not stand in one line fix the panel; fewer leave its tilt to chance.
  bool spread = false;
  for (const SeenTag& a : seen)
    for (const SeenTag& b : seen)
      for (const SeenTag& c : seen) {
        const auto centre = [](const SeenTag& t) { return 0.25 * (t.corners_px[0] + t.corners_px[1] + t.corners_px[2] + t.corners_px[3]); };
        const cv::Point2d u = centre(b) - centre(a), v = centre(c) - centre(a);
        spread |= std::abs(u.cross(v)) > 0.2 * cv::norm(u) * cv::norm(v) && cv::norm(u) > 0 && cv::norm(v) > 0;
      }
  if (seen.size() < 4 || !spread)
    return Refusal{"too_few_tags", "Only " + std::to_string(seen.size()) + " of the card's " + std::to_string(card.tags.size()) + " tags can be read.",
                   "Bring the whole card into the picture, flat and without shadow or glare on it."};
  double shortest = 1e9;
  for (const SeenTag& tag : seen)
    for (std::size_t k = 0; k < 4; ++k) shortest = std::min(shortest, cv::norm(tag.corners_px[k] - tag.corners_px[(k + 1) % 4]));
  constexpr double smallest_side_px = 24;  // three pixels a cell
  if (shortest < smallest_side_px)
    return Refusal{"card_too_small", "The card is too small in the photo to measure from (a tag is only " + std::to_string(static_cast<int>(shortest)) + " pixels wide).",
                   "Go nearer, or use the camera's full resolution."};
  return std::nullopt;
}

std::optional<Refusal> check_view(double tilt_deg, double tag_rms_px, double pixels_per_mm) {
  constexpr double steepest_deg = 62;
  if (tilt_deg > steepest_deg)
    return Refusal{"too_oblique", "The panel is seen too much from the side (" + std::to_string(static_cast<int>(tilt_deg)) + " degrees off square).",
                   "Hold the phone more squarely over the panel: 20 to 45 degrees is best."};
  constexpr double card_bent_mm = 0.25;
  if (tag_rms_px > std::max(2.5, card_bent_mm * pixels_per_mm))
    return Refusal{"card_not_flat", "The card's tags do not fit together: the card is bent, lifted or wrongly described.",
                   "Press the card flat onto the panel (a few magnets or tape help), and check that --card names the card you use."};
  return std::nullopt;
}

}  // namespace ripplegauge
