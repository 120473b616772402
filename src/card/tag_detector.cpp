// Tags in two steps: OpenCV decodes them on a reduced picture, then each side of a square is fitted as a line
// to sub-pixel edge crossings at full size, in linear light. Corners are where the sides meet.
#include "card/tag_detector.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <opencv2/core/utility.hpp>
#include <opencv2/imgproc.hpp>
#include <optional>

#include "aruco_compat.hpp"
#include "core/linear_light.hpp"
#include "core/quantile.hpp"

namespace ripplegauge {

TagCells tag_cells(int id) {
  const cv::Mat picture = aruco::draw_36h11(id);
  TagCells cells{};
  for (int row = 0; row < 8; ++row)
    for (int column = 0; column < 8; ++column)
      cells[static_cast<std::size_t>(row)][static_cast<std::size_t>(column)] =
          picture.at<uchar>(row, column) < 128;
  return cells;
}

std::vector<SeenTag> decode_tags(const cv::Mat& grey, bool mirrored) {
  cv::Mat picture;  // its own pixels: flipping in place would turn the caller's photo
  if (mirrored)
    cv::flip(grey, picture, 1);
  else
    picture = grey;
  const aruco::Decoded decoded = aruco::decode_36h11(picture);
  std::vector<SeenTag> tags(decoded.ids.size());
  for (std::size_t i = 0; i < tags.size(); ++i) {
    tags[i].id = decoded.ids[i];
    for (std::size_t k = 0; k < 4; ++k) {
      const cv::Point2f p = decoded.corners_px[i][k];
      tags[i].corners_px[k] = {mirrored ? grey.cols - 1.0 - p.x : p.x, p.y};
    }
  }
  return tags;
}

namespace {

/// Bilinear sample in linear light; clamps at the photo's border.
double sample_linear(const cv::Mat& grey, double u, double v) {
  const auto& linear = linear_from_srgb8();
  u = std::clamp(u, 0.0, grey.cols - 1.001);
  v = std::clamp(v, 0.0, grey.rows - 1.001);
  const int x = static_cast<int>(u), y = static_cast<int>(v);
  const double fx = u - x, fy = v - y;
  const uchar* row0 = grey.ptr<uchar>(y) + x;
  const uchar* row1 = grey.ptr<uchar>(y + 1) + x;
  return (linear[row0[0]] * (1 - fx) + linear[row0[1]] * fx) * (1 - fy) +
         (linear[row1[0]] * (1 - fx) + linear[row1[1]] * fx) * fy;
}

struct Line {
  Eigen::Vector2d point, direction;
};

/// The area under a step from 0 to 1 across an edge, in samples, with the sure 0 and 1 further than `reach`
/// from the edge: there is nothing but noise.
double area_near_edge(const std::vector<double>& step, double edge, double reach) {
  constexpr double least_reach = 5;
  const double near = std::max(reach, least_reach), last = static_cast<double>(step.size()) - 1;
  const auto from = static_cast<std::size_t>(std::clamp(std::round(edge - near), 0.0, last)),
             to = static_cast<std::size_t>(std::clamp(std::round(edge + near), 0.0, last));
  double area = last - static_cast<double>(to);
  for (std::size_t j = from; j <= to; ++j) area += step[j];
  return area;
}

struct Side {
  Line line;
  double rms_px = 0, width_px = 0, variance_px2 = 0;
};

/// Linear interpolation between pixels blurs by x (1 - x) px^2: on average by this.
constexpr double interpolation_px2 = 1.0 / 6;

/// 10 to 90 % width of an edge in the photo, from that of the edge as interpolation shows it.
double width_before_interpolation(double width_px) {
  const double variance_px2 = std::pow(width_px / edge_width_per_sigma, 2) - interpolation_px2;
  return edge_width_per_sigma * std::sqrt(std::max(variance_px2, pixel_square_px2));
}

/// Fits one side of a black square as a line to sub-pixel edge crossings. The crossing of each profile across
/// the side comes from its area (integral of the normalised step), which a symmetric blur does not move;
/// profiles far from the robust line are dropped.
std::optional<Side> fit_side(const cv::Mat& grey, const Eigen::Vector2d& a, const Eigen::Vector2d& b,
                             const Eigen::Vector2d& centre, double reach_px) {
  const double length = (b - a).norm();
  const Eigen::Vector2d along = (b - a) / length;
  Eigen::Vector2d outward(along.y(), -along.x());
  if (outward.dot(0.5 * (a + b) - centre) < 0) outward = -outward;

  constexpr double step_px = 0.25;
  constexpr double min_contrast = 0.02;  // linear light: paper against ink is 0.1 or more in any usable photo
  // Paper that is burnt out cuts off its half of the edge. The dark half, from 10 to 50 % of what shows,
  // is 1.28 standard deviations wide where the white is just not cut off and 0.97 where it is twice as bright
  // as it can show.
  constexpr double burnt_out = 0.97, dark_half_per_sigma = 1.12;
  const int profiles = std::clamp(static_cast<int>(length / 2), 16, 120);
  const int half_samples = static_cast<int>(reach_px / step_px);
  std::vector<double> s, position, width, variance;
  std::vector<double> profile(static_cast<std::size_t>(2 * half_samples + 1));
  for (int i = 0; i < profiles; ++i) {
    // Corners are rounded by blur and by ink: stay on the middle 84 % of the side.
    const double at = (0.08 + 0.84 * i / (profiles - 1)) * length;
    for (int j = -half_samples; j <= half_samples; ++j) {
      const Eigen::Vector2d p = a + at * along + j * step_px * outward;
      const int sample = j + half_samples;
      profile[static_cast<std::size_t>(sample)] = sample_linear(grey, p.x(), p.y());
    }
    const double dark = 0.25 * (profile[0] + profile[1] + profile[2] + profile[3]);
    const std::size_t n = profile.size();
    const double light = 0.25 * (profile[n - 1] + profile[n - 2] + profile[n - 3] + profile[n - 4]);
    if (light - dark < min_contrast) continue;
    double area = 0, middle = 0, dark_half = 0,
           moment = 0;  // the moment of what is missing to a step in the middle
    for (std::size_t j = 0; j < n; ++j) {
      const double f = profile[j] = std::clamp((profile[j] - dark) / (light - dark), -0.2, 1.2);
      const double t = static_cast<double>(j) - half_samples;
      area += f;
      moment += 2 * t * ((t > 0 ? 1 : 0) - f);
      if (f > 0.1 && f < 0.9) middle += 1;
      if (f > 0.1 && f < 0.5) dark_half += 1;
    }
    area = area_near_edge(profile, n - 0.5 - area, 1.1 * middle);
    s.push_back(at - 0.5 * length);
    position.push_back((half_samples + 0.5 - area) * step_px);
    if (light > burnt_out) {
      const double sigma_px = dark_half * step_px / dark_half_per_sigma;
      variance.push_back(sigma_px * sigma_px);
      width.push_back(edge_width_per_sigma * sigma_px);
    } else {
      variance.push_back(moment * step_px * step_px - position.back() * position.back());
      width.push_back(middle * step_px);
    }
  }
  if (s.size() < 8) return std::nullopt;

  std::vector<char> keep(s.size(), 1);
  double offset = 0, slope = 0, rms = 0;
  for (int round = 0; round < 4; ++round) {
    double n = 0, ss = 0, sp = 0, s1 = 0, p1 = 0;
    for (std::size_t i = 0; i < s.size(); ++i) {
      if (!keep[i]) continue;
      n += 1, s1 += s[i], p1 += position[i], ss += s[i] * s[i], sp += s[i] * position[i];
    }
    if (n < 6) return std::nullopt;
    const double determinant = n * ss - s1 * s1;
    slope = (n * sp - s1 * p1) / determinant;
    offset = (p1 - slope * s1) / n;
    std::vector<double> deviation;
    for (std::size_t i = 0; i < s.size(); ++i)
      if (keep[i]) deviation.push_back(std::abs(position[i] - offset - slope * s[i]));
    rms = 1.4826 * median_of(deviation);
    for (std::size_t i = 0; i < s.size(); ++i)
      keep[i] = std::abs(position[i] - offset - slope * s[i]) < 3 * rms + 0.01;
  }
  Side side;
  side.line.point = 0.5 * (a + b) + offset * outward;
  side.line.direction = (along + slope * outward).normalized();
  side.rms_px = rms;
  double widths = 0, variances = 0, kept = 0;  // means: each width is a whole number of steps
  for (std::size_t i = 0; i < s.size(); ++i)
    if (keep[i]) widths += width[i], variances += variance[i], ++kept;
  side.width_px = width_before_interpolation(widths / std::max(kept, 1.0));
  side.variance_px2 = variances / std::max(kept, 1.0) - interpolation_px2;
  return side;
}

Eigen::Vector2d intersect(const Line& a, const Line& b) {
  Eigen::Matrix2d m;
  m << a.direction, -b.direction;
  const Eigen::Vector2d t = m.fullPivLu().solve(b.point - a.point);
  return a.point + t.x() * a.direction;
}

/// How far to either side edges are looked at. The black border is one cell, an eighth of the side, wide: the
/// profile must end inside it.
double reach_of_profile_px(double shortest_side_px, double wanted_px) {
  const double widest_px = 0.9 * shortest_side_px / 8;
  return std::max(1.5, std::min(wanted_px, widest_px));
}
double settled_reach_px(double shortest_side_px) {
  return reach_of_profile_px(shortest_side_px, std::clamp(0.055 * shortest_side_px, 3.0, 8.0));
}

/// Moves the corners of a decoded tag to the intersections of its fitted sides.
std::optional<SeenTag> refine(const cv::Mat& grey, SeenTag tag, double corner_error_px) {
  for (int round = 0; round < 2; ++round) {
    std::array<Eigen::Vector2d, 4> q;
    Eigen::Vector2d centre = Eigen::Vector2d::Zero();
    double shortest = 1e9;
    for (std::size_t k = 0; k < 4; ++k) q[k] = {tag.corners_px[k].x, tag.corners_px[k].y};
    for (std::size_t k = 0; k < 4; ++k) {
      centre += 0.25 * q[k];
      shortest = std::min(shortest, (q[(k + 1) % 4] - q[k]).norm());
    }
    const double reach = round == 0 ? reach_of_profile_px(shortest, std::max(3.0, 1.5 * corner_error_px))
                                    : settled_reach_px(shortest);
    std::array<Line, 4> lines;
    double rms = 0, width = 0, variance = 0;
    for (std::size_t k = 0; k < 4; ++k) {
      const auto side = fit_side(grey, q[k], q[(k + 1) % 4], centre, reach);
      if (!side) return std::nullopt;
      lines[k] = side->line;
      rms += 0.25 * side->rms_px;
      width += 0.25 * side->width_px;
      variance += 0.25 * side->variance_px2;
    }
    for (std::size_t k = 0; k < 4; ++k) {
      const Eigen::Vector2d p = intersect(lines[(k + 3) % 4], lines[k]);
      if (!p.allFinite() || (p - q[k]).norm() > 0.25 * shortest) return std::nullopt;
      tag.corners_px[k] = {p.x(), p.y()};
    }
    tag.edge_rms_px = rms;
    tag.edge_width_px = width;
    tag.edge_variance_px2 = variance;
  }
  return tag;
}

/// decode_tags part by part, since the decoder takes eight times the memory of what it looks at. Parts
/// overlap by more than any tag that it takes a large picture to see.
std::vector<SeenTag> decode_in_parts(const cv::Mat& grey, bool mirrored) {
  constexpr int largest_part_px = 2100, overlap_px = 500;
  const int columns = (grey.cols - 1) / largest_part_px + 1, rows = (grey.rows - 1) / largest_part_px + 1;
  std::vector<SeenTag> tags;
  for (int r = 0; r < rows; ++r)
    for (int c = 0; c < columns; ++c) {
      const cv::Point from(c * grey.cols / columns, r * grey.rows / rows),
          to((c + 1) * grey.cols / columns, (r + 1) * grey.rows / rows);
      const cv::Rect part =
          cv::Rect(from, to + cv::Point(overlap_px, overlap_px)) & cv::Rect({}, grey.size());
      for (SeenTag tag : decode_tags(grey(part), mirrored)) {
        for (cv::Point2d& corner : tag.corners_px) corner += cv::Point2d(part.tl());
        const auto is_it = [&](const SeenTag& other) {
          return other.id == tag.id && cv::norm(centre_px(other) - centre_px(tag)) <
                                           cv::norm(tag.corners_px[0] - tag.corners_px[1]);
        };
        if (std::none_of(tags.begin(), tags.end(), is_it)) tags.push_back(tag);
      }
    }
  return tags;
}

}  // namespace

double widest_told_edge_px(double shortest_side_px) {
  // Of a Gaussian edge that ends two standard deviations out, the mean of the last pixel, taken for its end,
  // is 3 % off: from 10 to 90 % of what is left it is a tenth too narrow.
  constexpr double sigmas = 2, told_share = 0.9;
  return told_share * edge_width_per_sigma * settled_reach_px(shortest_side_px) / sigmas;
}

std::vector<SeenTag> find_tags(const cv::Mat& grey, bool mirrored) {
  // Decoding cost goes with the pixels, and a tag of 30 px decodes well: begin on a small picture.
  const int longer = std::max(grey.cols, grey.rows);
  std::vector<int> factors;
  for (const int target_px : {1600, 3200}) {
    const int factor = std::max(1, static_cast<int>(std::lround(static_cast<double>(longer) / target_px)));
    if (factors.empty() || factor < factors.back()) factors.push_back(factor);
  }
  for (const int factor : factors) {
    cv::Mat reduced = grey;
    if (factor > 1)
      cv::resize(grey(cv::Rect(0, 0, grey.cols / factor * factor, grey.rows / factor * factor)), reduced,
                 cv::Size(grey.cols / factor, grey.rows / factor), 0, 0, cv::INTER_AREA);
    const std::vector<SeenTag> decoded = decode_in_parts(reduced, mirrored);
    std::vector<std::optional<SeenTag>> better(decoded.size());
    cv::parallel_for_(cv::Range(0, static_cast<int>(decoded.size())), [&](const cv::Range& tags) {
      for (auto i = static_cast<std::size_t>(tags.start); i < static_cast<std::size_t>(tags.end); ++i) {
        SeenTag tag = decoded[i];
        for (auto& corner : tag.corners_px) corner = corner * factor + cv::Point2d(0.5, 0.5) * (factor - 1);
        better[i] = refine(grey, tag, factor);
      }
    });
    std::vector<SeenTag> refined;
    for (const auto& tag : better)
      if (tag) refined.push_back(*tag);
    if (refined.size() >= 3 || factor == factors.back()) return refined;
  }
  return {};
}

}  // namespace ripplegauge
