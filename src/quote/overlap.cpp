#include "ripplegauge/quote/overlap.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>
#include <tuple>

namespace ripplegauge {

namespace {

using Sightings = std::vector<const JobSpot*>;

double distance_mm(const PointMm& a, const PointMm& b) {
  return std::hypot(a.x_mm - b.x_mm, a.y_mm - b.y_mm);
}

double reach_mm(const JobSpot& spot, const OverlapOptions& options) {
  const double from_origin_mm = std::hypot(spot.position_mm->x_mm, spot.position_mm->y_mm);
  return std::hypot(options.corner_mm, options.share_of_diameter * spot.diameter_mm.value,
                    options.share_of_distance * from_origin_mm);
}

bool may_be_the_same(const JobSpot& a, const JobSpot& b, const OverlapOptions& options) {
  if (a.kind != b.kind) return false;
  const double reach = std::max(reach_mm(a, options), reach_mm(b, options));
  if (!(distance_mm(*a.position_mm, *b.position_mm) <= reach)) return false;
  const auto half_mm = [&](const JobSpot& spot) {
    return std::max(spot.diameter_mm.half_width(), options.least_size_share * spot.diameter_mm.value);
  };
  const double allowed_mm = options.size_agreement * std::hypot(half_mm(a), half_mm(b));
  return std::abs(a.diameter_mm.value - b.diameter_mm.value) <= allowed_mm;
}

struct Pair {
  int first, second;  // ids, first < second
  double apart_mm;
};

bool nearer(const Pair& a, const Pair& b) {
  return std::tie(a.apart_mm, a.first, a.second) < std::tie(b.apart_mm, b.first, b.second);
}

/// Nearest pairs first, each sighting in one pair at most; equal distances in the order of ids, so that the
/// order of the photos does not matter.
std::vector<Pair> pairs_between(const Sightings& a, const Sightings& b, const OverlapOptions& options) {
  std::vector<Pair> candidates;
  for (const JobSpot* left : a)
    for (const JobSpot* right : b)
      if (may_be_the_same(*left, *right, options))
        candidates.push_back({std::min(left->id, right->id), std::max(left->id, right->id),
                              distance_mm(*left->position_mm, *right->position_mm)});
  std::sort(candidates.begin(), candidates.end(), nearer);
  std::vector<Pair> chosen;
  for (const Pair& pair : candidates) {
    const bool taken = std::any_of(chosen.begin(), chosen.end(), [&](const Pair& other) {
      return other.first == pair.first || other.second == pair.second || other.first == pair.second ||
             other.second == pair.first;
    });
    if (!taken) chosen.push_back(pair);
  }
  return chosen;
}

struct Box {
  double x_low = INFINITY, x_high = -INFINITY, y_low = INFINITY, y_high = -INFINITY;

  explicit Box(const Sightings& sightings) {
    for (const JobSpot* spot : sightings) {
      x_low = std::min(x_low, spot->position_mm->x_mm);
      x_high = std::max(x_high, spot->position_mm->x_mm);
      y_low = std::min(y_low, spot->position_mm->y_mm);
      y_high = std::max(y_high, spot->position_mm->y_mm);
    }
  }
  bool holds(const PointMm& point) const {
    return point.x_mm >= x_low && point.x_mm <= x_high && point.y_mm >= y_low && point.y_mm <= y_high;
  }
};

/// With the card in one place, spots inside the ground that both photos cover show in both. The boxes round
/// each photo's spots understate that ground, so that a border spot missed by one photo does not count
/// against it.
bool card_stayed(const Sightings& a, const Sightings& b, const std::vector<Pair>& pairs) {
  const Box box_a(a), box_b(b);
  const auto in_common = [](const Sightings& sightings, const Box& other) {
    return static_cast<std::size_t>(
        std::count_if(sightings.begin(), sightings.end(),
                      [&](const JobSpot* spot) { return other.holds(*spot->position_mm); }));
  };
  const std::size_t expected = std::max(in_common(a, box_b), in_common(b, box_a));
  return 2 * pairs.size() >= expected;
}

/// Sightings of one spot in three photos are one spot; two spots of one photo never are.
class Groups {
 public:
  explicit Groups(const Job& job) {
    for (const JobSpot& spot : job.spots) {
      root_[spot.id] = spot.id;
      if (spot.photo) photos_[spot.id].insert(*spot.photo);
    }
  }
  int root(int id) const { return root_.at(id); }
  void join(int a, int b) {
    const int keep = std::min(root(a), root(b)), gone = std::max(root(a), root(b));
    std::set<int> shared = photos_[keep];
    shared.insert(photos_[gone].begin(), photos_[gone].end());
    if (keep == gone || shared.size() < photos_[keep].size() + photos_[gone].size()) return;
    photos_[keep] = std::move(shared);
    for (auto& [id, root] : root_)
      if (root == gone) root = keep;
  }

 private:
  std::map<int, int> root_;
  std::map<int, std::set<int>> photos_;
};

bool better(const JobSpot& a, const JobSpot& b) {
  const double width_a = a.diameter_mm.half_width(), width_b = b.diameter_mm.half_width();
  return width_a != width_b ? width_a < width_b : a.id < b.id;
}

}  // namespace

std::vector<CountedSpot> merge_overlapping(const Job& job, const OverlapOptions& options) {
  std::map<std::string, std::map<int, Sightings>> by_panel_and_photo;
  for (const JobSpot& spot : job.spots)
    if (!spot.voided && !spot.by_hand() && !spot.counts_alone && spot.position_mm)
      by_panel_and_photo[spot.panel][*spot.photo].push_back(&spot);

  std::vector<Pair> pairs;
  for (const auto& [panel, photos] : by_panel_and_photo)
    for (auto a = photos.begin(); a != photos.end(); ++a)
      for (auto b = std::next(a); b != photos.end(); ++b) {
        const std::vector<Pair> found = pairs_between(a->second, b->second, options);
        if (card_stayed(a->second, b->second, found)) pairs.insert(pairs.end(), found.begin(), found.end());
      }
  std::sort(pairs.begin(), pairs.end(), nearer);
  Groups groups(job);
  for (const Pair& pair : pairs) groups.join(pair.first, pair.second);

  std::map<int, Sightings> by_root;
  for (const JobSpot& spot : job.spots)
    if (!spot.voided) by_root[groups.root(spot.id)].push_back(&spot);

  std::vector<CountedSpot> counted;
  for (const auto& [root, sightings] : by_root) {
    const JobSpot* best = *std::min_element(sightings.begin(), sightings.end(),
                                            [](auto* a, auto* b) { return better(*a, *b); });
    CountedSpot spot{best->id, {}};
    for (const JobSpot* other : sightings)
      if (other != best) spot.also_seen.push_back(other->id);
    std::sort(spot.also_seen.begin(), spot.also_seen.end());
    counted.push_back(std::move(spot));
  }
  std::sort(counted.begin(), counted.end(), [](const auto& a, const auto& b) { return a.id < b.id; });
  return counted;
}

}  // namespace ripplegauge
