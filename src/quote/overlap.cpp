// Sightings of one spot in several photos are joined: by place where the card lay still, else by the motion
// of the card under which most spots of two photos fall on one another.
#include "quote/overlap.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>
#include <string>
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

bool within(const Quantity& a, const Quantity& b, double times, double least_share) {
  const double half_a = std::max(a.half_width(), least_share * a.value),
               half_b = std::max(b.half_width(), least_share * b.value);
  return std::abs(a.value - b.value) <= times * std::hypot(half_a, half_b);
}

/// So alike that one spot needs no other to bear it out.
bool alike(const JobSpot& a, const JobSpot& b, const OverlapOptions& options) {
  if (a.kind != b.kind) return false;
  if (!within(a.diameter_mm, b.diameter_mm, options.size_agreement, options.least_lone_size_share))
    return false;
  return !a.depth_mm || !b.depth_mm ||
         within(*a.depth_mm, *b.depth_mm, options.size_agreement, options.least_lone_depth_share);
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

/// How the card of one photo lies in the frame of another: turned, then shifted.
struct Motion {
  double cosine = 1, sine = 0, dx_mm = 0, dy_mm = 0;

  PointMm operator()(const PointMm& p) const {
    return {cosine * p.x_mm - sine * p.y_mm + dx_mm, sine * p.x_mm + cosine * p.y_mm + dy_mm};
  }
  bool is_near(const Motion& other) const {
    constexpr double same_shift_mm = 6, same_turn = 0.15;  // of the turn's sine and cosine
    const PointMm middle{60, 45};                          // where spots usually lie
    return distance_mm((*this)(middle), other(middle)) < same_shift_mm &&
           std::hypot(cosine - other.cosine, sine - other.sine) < same_turn;
  }
};

/// The motion that lays a1 onto b1 and a2 into the direction of b2.
Motion motion_between(const PointMm& a1, const PointMm& a2, const PointMm& b1, const PointMm& b2) {
  const double turn =
      std::atan2(b2.y_mm - b1.y_mm, b2.x_mm - b1.x_mm) - std::atan2(a2.y_mm - a1.y_mm, a2.x_mm - a1.x_mm);
  Motion motion{std::cos(turn), std::sin(turn), 0, 0};
  const PointMm turned = motion(a1);
  motion.dx_mm = b1.x_mm - turned.x_mm;
  motion.dy_mm = b1.y_mm - turned.y_mm;
  return motion;
}

std::vector<Pair> pairs_under(const Motion& motion, const Sightings& a, const Sightings& b,
                              const OverlapOptions& options) {
  std::vector<Pair> pairs;
  std::set<int> taken;
  for (const JobSpot* left : a) {
    const PointMm place = motion(*left->position_mm);
    const JobSpot* best = nullptr;
    double nearest_mm = std::max(reach_mm(*left, options), options.corner_mm);
    for (const JobSpot* right : b) {
      const double apart_mm = distance_mm(place, *right->position_mm);
      if (apart_mm > nearest_mm || taken.contains(right->id) || !alike(*left, *right, options)) continue;
      best = right;
      nearest_mm = apart_mm;
    }
    if (best == nullptr) continue;
    taken.insert(best->id);
    pairs.push_back({std::min(left->id, best->id), std::max(left->id, best->id), nearest_mm});
  }
  return pairs;
}

struct Pattern {
  std::vector<Pair> pairs;
  bool unique = true;  ///< no other motion joins nearly as many
};

/// The motion of the card under which most spots of two photos fall on one another.
Pattern best_pattern(const Sightings& a, const Sightings& b, const OverlapOptions& options) {
  constexpr std::size_t most_tried = 25;    // 360 000 motions at most
  constexpr double least_baseline_mm = 15;  // shorter ones say too little of the turn
  constexpr double nearly_as_many = 0.7;
  const std::size_t count_a = std::min(a.size(), most_tried), count_b = std::min(b.size(), most_tried);
  Pattern best;
  Motion best_motion;
  std::vector<std::pair<Motion, std::size_t>> tried;
  for (std::size_t i = 0; i < count_a; ++i)
    for (std::size_t j = 0; j < count_a; ++j) {
      const double length_a = distance_mm(*a[i]->position_mm, *a[j]->position_mm);
      if (i == j || length_a < least_baseline_mm) continue;
      for (std::size_t k = 0; k < count_b; ++k) {
        if (!alike(*a[i], *b[k], options)) continue;
        for (std::size_t l = 0; l < count_b; ++l) {
          const double length_b = distance_mm(*b[k]->position_mm, *b[l]->position_mm);
          if (k == l || std::abs(length_a - length_b) > options.corner_mm || !alike(*a[j], *b[l], options))
            continue;
          const Motion motion =
              motion_between(*a[i]->position_mm, *a[j]->position_mm, *b[k]->position_mm, *b[l]->position_mm);
          std::vector<Pair> pairs = pairs_under(motion, a, b, options);
          if (pairs.size() > 2) tried.emplace_back(motion, pairs.size());
          if (pairs.size() <= best.pairs.size()) continue;
          best.pairs = std::move(pairs);
          best_motion = motion;
        }
      }
    }
  for (const auto& [motion, count] : tried)
    if (!motion.is_near(best_motion) &&
        static_cast<double>(count) > nearly_as_many * static_cast<double>(best.pairs.size()))
      best.unique = false;
  return best;
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

namespace {

std::string pair_text(const Wording& words, const std::string& first, const std::string& second) {
  return words("quote.question.pair", {{"first", first}, {"second", second}});
}

/// `key` says what is asked.
std::string question(const Wording& words, const char* key, const Job& job, int photo_a, int photo_b,
                     const std::vector<Pair>& pairs) {
  const auto name = [&](int id) {
    const JobPhoto* photo = photo_with_id(job, id);
    return photo == nullptr ? words("photo.numbered", {{"id", id}}) : photo->name;
  };
  std::string spots;
  for (const Pair& pair : pairs)
    spots += (spots.empty() ? "" : ", ") +
             pair_text(words, std::to_string(pair.first), std::to_string(pair.second));
  return words(key, {{"spots", spots}, {"photos", pair_text(words, name(photo_a), name(photo_b))}});
}

/// What two photos of one panel have in common. Adds to pairs what is one spot, to questions what may be.
void look_at_two(const Job& job, int photo_a, const Sightings& a, int photo_b, const Sightings& b,
                 const OverlapOptions& options, const Wording& words, std::vector<Pair>& pairs,
                 std::vector<std::string>& questions) {
  const std::vector<Pair> found = pairs_between(a, b, options);
  if (found.size() > 1 && card_stayed(a, b, found)) {
    pairs.insert(pairs.end(), found.begin(), found.end());
    return;
  }
  if (found.size() == 1 && card_stayed(a, b, found)) {
    const auto spot = [&](int id) {
      return *std::find_if(job.spots.begin(), job.spots.end(),
                           [&](const JobSpot& one) { return one.id == id; });
    };
    if (alike(spot(found.front().first), spot(found.front().second), options))
      pairs.push_back(found.front());
    else
      questions.push_back(question(words, "quote.question.place", job, photo_a, photo_b, found));
    return;
  }
  const Pattern pattern = best_pattern(a, b, options);
  // Among many spots some always fall on others by chance, so a share of all must.
  const std::size_t matched = pattern.pairs.size(), fewer = std::min(a.size(), b.size());
  if (pattern.unique && ((matched >= 4 && 3 * matched >= fewer) || (matched == 3 && fewer == 3)))
    pairs.insert(pairs.end(), pattern.pairs.begin(), pattern.pairs.end());
  else if (matched >= 2 && 2 * matched >= fewer)
    questions.push_back(question(words, "quote.question.pattern", job, photo_a, photo_b, pattern.pairs));
}

}  // namespace

CountedOnce count_once(const Job& job, const OverlapOptions& options, const Wording& words) {
  std::map<std::string, std::map<int, Sightings>> by_panel_and_photo;
  for (const JobSpot& spot : job.spots)
    if (!spot.voided && !spot.by_hand() && !spot.counts_alone && !spot.same_as && spot.position_mm)
      by_panel_and_photo[spot.panel][*spot.photo].push_back(&spot);

  CountedOnce result;
  std::vector<Pair> pairs;
  for (const auto& [panel, photos] : by_panel_and_photo)
    for (auto a = photos.begin(); a != photos.end(); ++a)
      for (auto b = std::next(a); b != photos.end(); ++b)
        look_at_two(job, a->first, a->second, b->first, b->second, options, words, pairs, result.questions);
  std::sort(pairs.begin(), pairs.end(), nearer);
  Groups groups(job);
  for (const JobSpot& spot : job.spots)
    if (spot.same_as) groups.join(*spot.same_as, spot.id);
  for (const Pair& pair : pairs) groups.join(pair.first, pair.second);

  std::map<int, Sightings> by_root;
  for (const JobSpot& spot : job.spots)
    if (!spot.voided) by_root[groups.root(spot.id)].push_back(&spot);

  std::vector<CountedSpot>& counted = result.spots;
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
  return result;
}

std::vector<CountedSpot> merge_overlapping(const Job& job, const OverlapOptions& options) {
  return count_once(job, options).spots;
}

}  // namespace ripplegauge
