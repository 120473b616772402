#include "label_layout.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

namespace ripplegauge::picture_detail {
namespace {

cv::Rect2d bounds(const std::vector<cv::Point2d>& points) {
  cv::Point2d low = points.front(), high = points.front();
  for (const cv::Point2d& p : points) {
    low = {std::min(low.x, p.x), std::min(low.y, p.y)};
    high = {std::max(high.x, p.x), std::max(high.y, p.y)};
  }
  return {low, high};
}

cv::Point2d middle(const cv::Rect2d& box) { return {box.x + 0.5 * box.width, box.y + 0.5 * box.height}; }

cv::Rect2d padded(const cv::Rect2d& box, double by) {
  return {box.x - by, box.y - by, box.width + 2 * by, box.height + 2 * by};
}

bool overlap(const cv::Rect2d& a, const cv::Rect2d& b) {
  return a.x < b.x + b.width && b.x < a.x + a.width && a.y < b.y + b.height && b.y < a.y + a.height;
}

bool contains(const cv::Rect2d& outer, const cv::Rect2d& inner) {
  return inner.x >= outer.x && inner.y >= outer.y && inner.x + inner.width <= outer.x + outer.width &&
         inner.y + inner.height <= outer.y + outer.height;
}

/// Which side of the line a-b the point is on.
double side(const cv::Point2d& a, const cv::Point2d& b, const cv::Point2d& p) { return (b - a).cross(p - a); }

bool segments_cross(const cv::Point2d& a, const cv::Point2d& b, const cv::Point2d& c, const cv::Point2d& d) {
  return side(a, b, c) * side(a, b, d) < 0 && side(c, d, a) * side(c, d, b) < 0;
}

bool segment_meets(const cv::Point2d& a, const cv::Point2d& b, const cv::Rect2d& box) {
  if (box.contains(a) || box.contains(b)) return true;
  const cv::Point2d corners[] = {box.tl(), {box.x + box.width, box.y}, box.br(), {box.x, box.y + box.height}};
  for (int i = 0; i < 4; ++i)
    if (segments_cross(a, b, corners[i], corners[(i + 1) % 4])) return true;
  return false;
}

cv::Point2d nearest_in(const cv::Rect2d& box, const cv::Point2d& p) {
  return {std::clamp(p.x, box.x, box.x + box.width), std::clamp(p.y, box.y, box.y + box.height)};
}

PlacedLabel connected(const cv::Rect2d& box, const std::vector<cv::Point2d>& outline) {
  PlacedLabel label{box, {}, {}};
  double best = std::numeric_limits<double>::infinity();
  for (const cv::Point2d& p : outline) {
    const cv::Point2d q = nearest_in(box, p);
    if (const double distance = std::hypot(p.x - q.x, p.y - q.y); distance < best) {
      best = distance;
      label.line_from = q;
      label.line_to = p;
    }
  }
  return label;
}

class Placer {
 public:
  Placer(const std::vector<LabelWish>& wishes, const cv::Rect2d& area, const std::vector<cv::Rect2d>& taken,
         double unit)
      : wishes_(wishes), area_(area), taken_(taken), unit_(unit) {
    for (const LabelWish& wish : wishes) outlines_.push_back(bounds(wish.outline));
  }

  std::vector<std::optional<PlacedLabel>> place_all() {
    std::vector<std::optional<PlacedLabel>> labels(wishes_.size());
    for (const std::size_t index : most_crowded_first()) {
      labels[index] = place(index);
      if (labels[index]) placed_.push_back(*labels[index]);
    }
    return labels;
  }

 private:
  /// Those without neighbours find room anyway.
  std::vector<std::size_t> most_crowded_first() const {
    std::vector<std::pair<double, std::size_t>> order;
    for (std::size_t i = 0; i < wishes_.size(); ++i) {
      double crowding = 0;
      for (std::size_t j = 0; j < wishes_.size(); ++j)
        if (j != i) {
          const cv::Point2d apart = middle(outlines_[i]) - middle(outlines_[j]);
          crowding += unit_ / (unit_ + std::hypot(apart.x, apart.y));
        }
      order.push_back({-crowding, i});
    }
    std::sort(order.begin(), order.end());
    std::vector<std::size_t> indices;
    for (const auto& [crowding, index] : order) indices.push_back(index);
    return indices;
  }

  std::optional<PlacedLabel> place(std::size_t index) const {
    for (const bool may_cover_outlines : {false, true})
      if (auto label = nearest_on_rings(index, may_cover_outlines)) return label;
    return anywhere(index);
  }

  std::optional<PlacedLabel> nearest_on_rings(std::size_t index, bool may_cover_outlines) const {
    constexpr int directions = 24;
    const cv::Point2d centre = middle(outlines_[index]);
    const cv::Size2d half_spot = outlines_[index].size() * 0.5, half_label = wishes_[index].size * 0.5;
    for (const double gap : {1.0, 1.8, 3.0, 4.5, 6.5, 9.0, 12.0, 16.0, 20.0}) {
      for (int i = 0; i < directions; ++i) {
        // To the right first, then alternating upwards and downwards from there.
        const double turn = (i % 2 == 0 ? 1 : -1) * ((i + 1) / 2) * 2 * std::numbers::pi / directions;
        const double x = std::cos(turn), y = std::sin(turn);
        const double reach = std::hypot(half_spot.width * x, half_spot.height * y) +
                             std::abs(half_label.width * x) + std::abs(half_label.height * y) + gap * unit_;
        const cv::Rect2d box(
            {centre.x + reach * x - half_label.width, centre.y + reach * y - half_label.height},
            wishes_[index].size);
        if (const PlacedLabel label = connected(box, wishes_[index].outline);
            fits(label, index, may_cover_outlines))
          return label;
      }
    }
    return std::nullopt;
  }

  std::optional<PlacedLabel> anywhere(std::size_t index) const {
    std::optional<PlacedLabel> best;
    double best_distance = std::numeric_limits<double>::infinity();
    const cv::Size2d size = wishes_[index].size;
    for (double y = area_.y; y + size.height <= area_.y + area_.height; y += 0.5 * unit_)
      for (double x = area_.x; x + size.width <= area_.x + area_.width; x += 0.5 * unit_) {
        const cv::Rect2d box({x, y}, size);
        if (is_taken(box)) continue;
        const PlacedLabel label = connected(box, wishes_[index].outline);
        const cv::Point2d line = label.line_to - label.line_from;
        if (const double distance = std::hypot(line.x, line.y); distance < best_distance) {
          best_distance = distance;
          best = label;
        }
      }
    return best;
  }

  bool is_taken(const cv::Rect2d& box) const {
    const cv::Rect2d with_gap = padded(box, 0.3 * unit_);
    return std::any_of(taken_.begin(), taken_.end(),
                       [&](const cv::Rect2d& t) { return overlap(with_gap, t); }) ||
           std::any_of(placed_.begin(), placed_.end(),
                       [&](const PlacedLabel& p) { return overlap(with_gap, p.box); });
  }

  bool fits(const PlacedLabel& label, std::size_t index, bool may_cover_outlines) const {
    if (!contains(area_, label.box) || is_taken(label.box)) return false;
    const cv::Rect2d with_gap = padded(label.box, 0.3 * unit_);
    for (const PlacedLabel& other : placed_)
      if (segment_meets(label.line_from, label.line_to, padded(other.box, 0.2 * unit_)) ||
          segment_meets(other.line_from, other.line_to, with_gap) ||
          segments_cross(label.line_from, label.line_to, other.line_from, other.line_to))
        return false;
    if (may_cover_outlines) return true;
    for (std::size_t i = 0; i < outlines_.size(); ++i) {
      if (overlap(with_gap, outlines_[i])) return false;
      // The line may leave an outer spot, whose outline encloses this one, but not run across a neighbour.
      if (i != index && !contains(outlines_[i], outlines_[index]) &&
          segment_meets(label.line_from, label.line_to, outlines_[i]))
        return false;
    }
    return true;
  }

  const std::vector<LabelWish>& wishes_;
  cv::Rect2d area_;
  const std::vector<cv::Rect2d>& taken_;
  double unit_;
  std::vector<cv::Rect2d> outlines_;
  std::vector<PlacedLabel> placed_;
};

}  // namespace

std::vector<std::optional<PlacedLabel>> place_labels(const std::vector<LabelWish>& wishes,
                                                     const cv::Rect2d& area,
                                                     const std::vector<cv::Rect2d>& taken, double unit) {
  return Placer(wishes, area, taken, unit).place_all();
}

}  // namespace ripplegauge::picture_detail
