// Labels are placed one by one, each in the nearest place that covers and crosses nothing. Whose place turned
// out worst chooses first in the next round; the best round counts.
#include "label_layout.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>
#include <random>

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

/// Whether the line meets the ellipse that fills the box.
bool segment_meets_ellipse(const cv::Point2d& a, const cv::Point2d& b, const cv::Rect2d& box) {
  const cv::Point2d centre = middle(box);
  const auto on_unit_circle = [&](const cv::Point2d& p) {
    return cv::Point2d((p.x - centre.x) / (0.5 * box.width), (p.y - centre.y) / (0.5 * box.height));
  };
  const cv::Point2d from = on_unit_circle(a), along = on_unit_circle(b) - from;
  const double length_squared = along.dot(along);
  const double t = length_squared > 0 ? std::clamp(-from.dot(along) / length_squared, 0.0, 1.0) : 0;
  return cv::norm(from + t * along) < 1;
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

struct Candidate {
  double cost = 0;
  PlacedLabel label;
};

class Placer {
 public:
  Placer(const std::vector<LabelWish>& wishes, const cv::Rect2d& area, const std::vector<cv::Rect2d>& taken,
         double unit)
      : wishes_(wishes), area_(area), taken_(taken), unit_(unit) {
    for (const LabelWish& wish : wishes) outlines_.push_back(bounds(wish.outline));
    for (std::size_t i = 0; i < wishes.size(); ++i) candidates_.push_back(candidates_for(i));
  }

  /// Labels are placed one after the other, each in the best place that is left. Whose place turned out worst
  /// chooses first in the next round; when that leads nowhere, the order is shuffled. The best round counts.
  std::vector<std::optional<PlacedLabel>> place_all() {
    constexpr int rounds = 24, patience = 8;
    const int rounds_when_crowded = wishes_.size() <= 12 ? 160 : rounds;  // more spots take longer a round
    std::vector<std::size_t> order(wishes_.size());
    std::iota(order.begin(), order.end(), 0u);
    std::mt19937 random(1);  // the same spots always get the same labels
    Round best;
    int fruitless = 0;
    for (int i = 0; i < (best.is_clear ? rounds : rounds_when_crowded) && !order.empty(); ++i) {
      Round round = play(order);
      const auto worst = std::find(order.begin(), order.end(), round.worst);
      std::rotate(order.begin(), worst, worst + 1);
      fruitless = round.total_cost < best.total_cost ? 0 : fruitless + 1;
      if (fruitless == 0) best = std::move(round);
      if (fruitless > 0 && fruitless % patience == 0) std::shuffle(order.begin(), order.end(), random);
    }
    return best.labels;
  }

 private:
  struct Round {
    std::vector<std::optional<PlacedLabel>> labels;
    double total_cost = std::numeric_limits<double>::infinity();
    std::size_t worst = 0;
    bool is_clear = false;  ///< nothing is covered or crossed
  };

  Round play(const std::vector<std::size_t>& order) {
    Round round{std::vector<std::optional<PlacedLabel>>(wishes_.size()), 0, order.front(), true};
    placed_.clear();
    double worst_cost = -1;
    for (const std::size_t index : order) {
      const std::optional<Candidate> chosen = place(index);
      const double cost = chosen ? chosen->cost : 1e4 * unit_;
      round.is_clear = round.is_clear && cost < penalty_;
      round.total_cost += cost * cost;  // one long line is worse than two of half the length
      if (cost > worst_cost) {
        worst_cost = cost;
        round.worst = index;
      }
      if (!chosen) continue;
      round.labels[index] = chosen->label;
      placed_.push_back(chosen->label);
    }
    return round;
  }

  enum class Strictness { all_clear, line_may_cross_outlines, may_cover_outlines, may_cross_lines };

  std::optional<Candidate> place(std::size_t index) const {
    double penalty = 0;
    for (const Strictness strictness : {Strictness::all_clear, Strictness::line_may_cross_outlines,
                                        Strictness::may_cover_outlines, Strictness::may_cross_lines}) {
      for (const Candidate& candidate : candidates_[index])
        if (!is_taken(candidate.label.box) && fits(candidate.label, index, strictness))
          return Candidate{candidate.cost + penalty, candidate.label};
      penalty += penalty_;
    }
    return std::nullopt;
  }

  /// Every place on a lattice through the spot's middle, best first: a short line, the label level with or
  /// straight above its spot.
  std::vector<Candidate> candidates_for(std::size_t index) const {
    constexpr double off_centre_weight = 0.15;
    const double step = 0.5 * unit_, least_line = 0.9 * unit_;
    const cv::Size2d size = wishes_[index].size;
    const cv::Point2d centre = middle(outlines_[index]);
    const cv::Point2d level(centre.x - 0.5 * size.width, centre.y - 0.5 * size.height);
    const auto first = [step](double from, double through) {
      return through + std::ceil((from - through) / step) * step;
    };
    std::vector<Candidate> candidates;
    for (double y = first(area_.y, level.y); y + size.height <= area_.y + area_.height; y += step)
      for (double x = first(area_.x, level.x); x + size.width <= area_.x + area_.width; x += step) {
        const cv::Rect2d box({x, y}, size);
        const PlacedLabel label = connected(box, wishes_[index].outline);
        const double line = cv::norm(label.line_to - label.line_from);
        if (line >= least_line)
          candidates.push_back({line + off_centre_weight * cv::norm(middle(box) - centre), label});
      }
    std::stable_sort(candidates.begin(), candidates.end(),
                     [](const Candidate& a, const Candidate& b) { return a.cost < b.cost; });
    return candidates;
  }

  bool is_taken(const cv::Rect2d& box) const {
    const cv::Rect2d with_gap = padded(box, 0.3 * unit_);
    return std::any_of(taken_.begin(), taken_.end(),
                       [&](const cv::Rect2d& t) { return overlap(with_gap, t); }) ||
           std::any_of(placed_.begin(), placed_.end(),
                       [&](const PlacedLabel& p) { return overlap(with_gap, p.box); });
  }

  bool fits(const PlacedLabel& label, std::size_t index, Strictness strictness) const {
    if (strictness == Strictness::may_cross_lines) return true;
    const cv::Rect2d with_gap = padded(label.box, 0.3 * unit_);
    for (const PlacedLabel& other : placed_)
      if (segment_meets(label.line_from, label.line_to, padded(other.box, 0.2 * unit_)) ||
          segment_meets(other.line_from, other.line_to, with_gap) ||
          segments_cross(label.line_from, label.line_to, other.line_from, other.line_to))
        return false;
    if (strictness == Strictness::may_cover_outlines) return true;
    for (std::size_t i = 0; i < outlines_.size(); ++i) {
      if (overlap(with_gap, outlines_[i])) return false;
      // The line may leave an outer spot, whose outline encloses this one, but not run across a neighbour.
      if (strictness == Strictness::all_clear && i != index && !contains(outlines_[i], outlines_[index]) &&
          segment_meets_ellipse(label.line_from, label.line_to, padded(outlines_[i], 0.1 * unit_)))
        return false;
    }
    return true;
  }

  const std::vector<LabelWish>& wishes_;
  cv::Rect2d area_;
  const std::vector<cv::Rect2d>& taken_;
  double unit_;
  double penalty_ = 100 * unit_;  ///< for covering or crossing something: more than any line is long
  std::vector<cv::Rect2d> outlines_;
  std::vector<std::vector<Candidate>> candidates_;
  std::vector<PlacedLabel> placed_;  ///< in the round under way
};

}  // namespace

std::vector<std::optional<PlacedLabel>> place_labels(const std::vector<LabelWish>& wishes,
                                                     const cv::Rect2d& area,
                                                     const std::vector<cv::Rect2d>& taken, double unit) {
  return Placer(wishes, area, taken, unit).place_all();
}

}  // namespace ripplegauge::picture_detail
