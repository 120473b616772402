// The mean edge of each of a tag's four sides, over all tags: hundreds of pixels for each half a pixel of
// distance from the edge, so that how it rises is known finer than pixels are.
#include "doubled_edges.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "core/linear_light.hpp"
#include "refusals.hpp"

namespace ripplegauge {
namespace {

constexpr double bin_px = 0.5;

/// What the photo shows across an edge, 0 in the dark to 1 in the light, by distance from it.
struct EdgeSpread {
  std::vector<double> sum, squares, count;
  explicit EdgeSpread(std::size_t bins) : sum(bins), squares(bins), count(bins) {}
  double mean(std::size_t bin) const { return sum[bin] / count[bin]; }
  double variance_of_mean(std::size_t bin) const {
    return std::max(0.0, squares[bin] / count[bin] - mean(bin) * mean(bin)) / count[bin];
  }
};

/// Exposures are blended in linear light or in code values, nobody knows which. Between the two a faint one
/// shows both where an edge rises and where it falls.
const std::array<float, 256>& root_of_light() {
  static const std::array<float, 256> table = [] {
    std::array<float, 256> t = linear_from_srgb8();
    for (float& light : t) light = std::sqrt(light);
    return t;
  }();
  return table;
}

struct SidePixel {
  double beyond_px;  ///< the side, outwards
  double value;
};

/// The pixels up to `reach_px` from a side, without its ends, where other edges are near.
std::vector<SidePixel> pixels_along(const cv::Mat& grey, cv::Point2d a, cv::Point2d b, cv::Point2d outward,
                                    double reach_px) {
  constexpr double end = 0.14;  // of the side: a cell, and a little
  const double length = cv::norm(b - a);
  const cv::Point2d along = (b - a) / length, reach = reach_px * outward;
  const auto [left, right] = std::minmax({a.x + reach.x, a.x - reach.x, b.x + reach.x, b.x - reach.x});
  const auto [top, bottom] = std::minmax({a.y + reach.y, a.y - reach.y, b.y + reach.y, b.y - reach.y});
  const int u0 = std::max(0, cvCeil(left)), u1 = std::min(grey.cols - 1, cvFloor(right)),
            v0 = std::max(0, cvCeil(top)), v1 = std::min(grey.rows - 1, cvFloor(bottom));
  std::vector<SidePixel> pixels;
  for (int v = v0; v <= v1; ++v)
    for (int u = u0; u <= u1; ++u) {
      const cv::Point2d p = cv::Point2d(u, v) - a;
      const double share = p.dot(along) / length, beyond_px = p.dot(outward);
      if (share > end && share < 1 - end && std::abs(beyond_px) < reach_px)
        pixels.push_back({beyond_px, root_of_light()[grey.at<uchar>(v, u)]});
    }
  return pixels;
}

void add_side(const cv::Mat& grey, const SeenTag& tag, std::size_t side, double reach_px,
              EdgeSpread& spread) {
  const cv::Point2d a = tag.corners_px[side], b = tag.corners_px[(side + 1) % 4];
  cv::Point2d outward = cv::Point2d((b - a).y, -(b - a).x) / cv::norm(b - a);
  if ((0.5 * (a + b) - centre_px(tag)).dot(outward) < 0) outward = -outward;
  const std::vector<SidePixel> pixels = pixels_along(grey, a, b, outward, reach_px);
  constexpr double flat_px = 1.5, least_contrast = 0.1;
  double dark = 0, darks = 0, light = 0, lights = 0;
  for (const SidePixel& p : pixels) {
    if (p.beyond_px < flat_px - reach_px) dark += p.value, ++darks;
    if (p.beyond_px > reach_px - flat_px) light += p.value, ++lights;
  }
  if (darks == 0 || lights == 0) return;
  dark /= darks, light /= lights;
  if (light - dark < least_contrast) return;
  for (const SidePixel& p : pixels) {
    const auto bin = static_cast<std::size_t>((p.beyond_px + reach_px) / bin_px);
    if (bin >= spread.sum.size()) continue;
    const double value = (p.value - dark) / (light - dark);
    spread.sum[bin] += value, spread.squares[bin] += value * value, ++spread.count[bin];
  }
}

/// How steeply an edge rises where, 1 / px: one hump for every edge that shows.
struct LineSpread {
  std::vector<double> rise;
  double noise = 0;
};

std::optional<LineSpread> line_spread(const EdgeSpread& spread) {
  LineSpread line;
  double variance = 0;
  for (std::size_t bin = 0; bin < spread.sum.size(); ++bin) {
    if (spread.count[bin] < 2) return std::nullopt;
    variance = std::max(variance, spread.variance_of_mean(bin));
    if (bin >= 2) line.rise.push_back((spread.mean(bin) - spread.mean(bin - 2)) / (2 * bin_px));
  }
  line.noise = std::sqrt(2 * variance) / (2 * bin_px);
  return line;
}

struct TwoHumps {
  double apart_px;  ///< from the greater to the lesser, outwards
  double share;
};

/// The greatest hump, and the next greatest that a valley parts from it.
std::optional<TwoHumps> two_humps(const LineSpread& line) {
  // Two Gaussian humps show a valley of three quarters where they stand 2.8 standard deviations apart. Evenly
  // moved photos that were sharpened afterwards, by nine tenths and less, show a shallower one.
  constexpr double deep_valley = 0.75, sure = 5;
  const std::vector<double>& rise = line.rise;
  const auto last = static_cast<std::ptrdiff_t>(rise.size()) - 1;
  const auto at = [&](std::ptrdiff_t bin) { return rise[static_cast<std::size_t>(bin)]; };
  const std::ptrdiff_t greatest = std::max_element(rise.begin(), rise.end()) - rise.begin();
  std::optional<TwoHumps> found;
  for (const int step : {-1, 1}) {
    double valley = at(greatest);
    for (std::ptrdiff_t bin = greatest + step; bin > 0 && bin < last; bin += step) {
      const double here = at(bin), share = here / at(greatest);
      valley = std::min(valley, here);
      if (here < at(bin - 1) || here < at(bin + 1) || valley > deep_valley * here ||
          here - valley < sure * line.noise)
        continue;
      if (!found || share > found->share)
        found = TwoHumps{bin_px * static_cast<double>(bin - greatest), share};
    }
  }
  return found;
}

/// The edge of one side of the tags and of the opposite one, where the photo goes from dark to light the
/// other way: a second exposure lies on the same side in the photo, as far away. Halos of sharpening and what
/// a printer leaves beside ink do not.
std::optional<DoubledEdges> doubled_alike(const TwoHumps& one, const TwoHumps& opposite) {
  // Rings of sharpening and of compression reach three hundredths of an edge; one exposure of eight, seven.
  constexpr double least_share = 0.15, same_px = 1.5;
  // Even exposures that are blended in linear light part the root of it as sqrt(1/2) to 1 - sqrt(1/2), the
  // greater always towards the dark.
  constexpr double alike = 0.4;
  if (std::min(one.share, opposite.share) < least_share) return std::nullopt;
  if (std::abs(std::abs(one.apart_px) - std::abs(opposite.apart_px)) > same_px) return std::nullopt;
  const bool told_apart = std::max(one.share, opposite.share) < alike;
  if (told_apart && one.apart_px * opposite.apart_px > 0) return std::nullopt;
  return DoubledEdges{0.5 * (std::abs(one.apart_px) + std::abs(opposite.apart_px)),
                      0.5 * (one.share + opposite.share)};
}

}  // namespace

std::optional<DoubledEdges> find_doubled_edges(const cv::Mat& grey, const std::vector<SeenTag>& tags) {
  constexpr double within_a_cell = 0.9, least_reach_px = 1.8;
  if (tags.empty()) return std::nullopt;
  const double reach_px = within_a_cell * shortest_side_px(tags) / cells_a_side;
  if (!(reach_px >= least_reach_px)) return std::nullopt;
  std::array<std::optional<TwoHumps>, 4> humps;
  for (std::size_t side = 0; side < humps.size(); ++side) {
    EdgeSpread spread(static_cast<std::size_t>(2 * reach_px / bin_px));
    for (const SeenTag& tag : tags) add_side(grey, tag, side, reach_px, spread);
    if (const auto line = line_spread(spread)) humps[side] = two_humps(*line);
  }
  std::optional<DoubledEdges> found;
  for (std::size_t side = 0; side < 2; ++side) {
    if (!humps[side] || !humps[side + 2]) continue;
    const auto doubled = doubled_alike(*humps[side], *humps[side + 2]);
    if (doubled && (!found || doubled->apart_px > found->apart_px)) found = doubled;
  }
  return found;
}

}  // namespace ripplegauge
