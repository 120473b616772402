// Spots of two photos are paired by place where the card lay still, else by the pattern that they make: every
// pair of spots before is laid on every pair after that is as far apart, and the motion that brings most
// spots together is kept.
#include "compare/alignment.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <numeric>
#include <optional>

namespace ripplegauge {

namespace {

constexpr double degree = std::numbers::pi / 180;
/// Patterns are tried from the largest spots only; all spots count towards the fit. Twenty give 144 400
/// motions.
constexpr std::size_t most_spots_tried = 20;
/// Two spots nearer than this say too little of the turn: 2 mm off at 10 mm is 11 degrees.
constexpr double least_baseline_mm = 10;
/// Motions that differ by less are one and the same.
constexpr double same_turn_deg = 8, same_shift_mm = 4;

PointMm centre(const Dent& dent) { return {dent.x_mm, dent.y_mm}; }
double distance(PointMm a, PointMm b) { return std::hypot(a.x_mm - b.x_mm, a.y_mm - b.y_mm); }

struct Fit {
  CardMotion motion;
  std::vector<SpotMatch> pairs;
  double rms_mm = std::numeric_limits<double>::quiet_NaN();
};

/// Pairs up spots, nearest first in units of their tolerance, each used once.
Fit fit_of(const std::vector<Dent>& before, const std::vector<Dent>& after, const CardMotion& motion,
           double share, double least_mm) {
  struct Candidate {
    double closeness = 0, distance_mm = 0;
    SpotMatch pair;
  };
  std::vector<Candidate> candidates;
  for (std::size_t j = 0; j < after.size(); ++j) {
    const PointMm moved = motion.before_from_after(centre(after[j]));
    for (std::size_t i = 0; i < before.size(); ++i) {
      const double apart = distance(centre(before[i]), moved);
      const double allowed = tolerance_mm(before[i], after[j], share, least_mm);
      if (apart <= allowed)
        candidates.push_back({apart / allowed, apart, {static_cast<int>(i), static_cast<int>(j)}});
    }
  }
  std::sort(candidates.begin(), candidates.end(),
            [](const Candidate& a, const Candidate& b) { return a.closeness < b.closeness; });
  Fit fit{motion, {}, 0};
  for (const Candidate& candidate : candidates) {
    const bool used = std::any_of(fit.pairs.begin(), fit.pairs.end(), [&](const SpotMatch& pair) {
      return pair.before == candidate.pair.before || pair.after == candidate.pair.after;
    });
    if (used) continue;
    fit.pairs.push_back(candidate.pair);
    fit.rms_mm += candidate.distance_mm * candidate.distance_mm;
  }
  fit.rms_mm = fit.pairs.empty() ? std::numeric_limits<double>::quiet_NaN()
                                 : std::sqrt(fit.rms_mm / static_cast<double>(fit.pairs.size()));
  return fit;
}

/// The rotation and shift with the least squared distances (the plane case of Kabsch, Acta Cryst. A 32 (1976)
/// 922).
CardMotion best_motion(const std::vector<Dent>& before, const std::vector<Dent>& after,
                       const std::vector<SpotMatch>& pairs) {
  PointMm mean_before, mean_after;
  const double count = static_cast<double>(pairs.size());
  for (const SpotMatch& pair : pairs) {
    const PointMm b = centre(before[static_cast<std::size_t>(pair.before)]);
    const PointMm a = centre(after[static_cast<std::size_t>(pair.after)]);
    mean_before.x_mm += b.x_mm / count;
    mean_before.y_mm += b.y_mm / count;
    mean_after.x_mm += a.x_mm / count;
    mean_after.y_mm += a.y_mm / count;
  }
  double along = 0, across = 0;
  for (const SpotMatch& pair : pairs) {
    const PointMm b = centre(before[static_cast<std::size_t>(pair.before)]);
    const PointMm a = centre(after[static_cast<std::size_t>(pair.after)]);
    const double bx = b.x_mm - mean_before.x_mm, by = b.y_mm - mean_before.y_mm;
    const double ax = a.x_mm - mean_after.x_mm, ay = a.y_mm - mean_after.y_mm;
    along += ax * bx + ay * by;
    across += ax * by - ay * bx;
  }
  CardMotion motion;
  motion.turn_deg = pairs.size() < 2 ? 0 : std::atan2(across, along) / degree;
  const PointMm turned = motion.before_from_after(mean_after);
  motion.dx_mm = mean_before.x_mm - turned.x_mm;
  motion.dy_mm = mean_before.y_mm - turned.y_mm;
  return motion;
}

std::vector<std::size_t> largest_spots(const std::vector<Dent>& dents) {
  std::vector<std::size_t> order(dents.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) {
    return dents[a].diameter_mm.value > dents[b].diameter_mm.value;
  });
  order.resize(std::min(order.size(), most_spots_tried));
  return order;
}

bool same_motion(const CardMotion& one, const CardMotion& other, PointMm where_after) {
  const double turn = std::remainder(one.turn_deg - other.turn_deg, 360.0);
  return std::abs(turn) < same_turn_deg &&
         distance(one.before_from_after(where_after), other.before_from_after(where_after)) < same_shift_mm;
}

/// More spots win; then the smaller misfit, but a card is rarely turned far, so a turn costs a little: 0.5 mm
/// for 45 degrees decides between equals and no more.
double rank(const Fit& fit) {
  return static_cast<double>(fit.pairs.size()) * 1000 - fit.rms_mm -
         0.5 * std::abs(std::remainder(fit.motion.turn_deg, 360.0)) / 45;
}

struct PatternResult {
  Fit best;
  bool ambiguous = false;
};

/// Every pair of spots before with every pair after that lies as far apart gives a motion; the one that
/// brings most spots together is kept.
PatternResult by_pattern(const std::vector<Dent>& before, const std::vector<Dent>& after,
                         const AlignmentOptions& options) {
  std::vector<Fit> fits;
  const auto tried_before = largest_spots(before), tried_after = largest_spots(after);
  const double share = options.pattern_tolerance_share, least = options.least_tolerance_mm;
  for (const std::size_t i : tried_before) {
    for (const std::size_t j : tried_before) {
      const double baseline = distance(centre(before[i]), centre(before[j]));
      if (j <= i || baseline < least_baseline_mm) continue;
      for (const std::size_t k : tried_after) {
        for (const std::size_t l : tried_after) {
          const double allowed = tolerance_mm(before[i], after[k], share, least) +
                                 tolerance_mm(before[j], after[l], share, least);
          if (k == l || std::abs(distance(centre(after[k]), centre(after[l])) - baseline) > allowed) continue;
          const std::vector<SpotMatch> seed = {{static_cast<int>(i), static_cast<int>(k)},
                                               {static_cast<int>(j), static_cast<int>(l)}};
          Fit fit = fit_of(before, after, best_motion(before, after, seed), share, least);
          if (fit.pairs.size() < 2) continue;
          fit = fit_of(before, after, best_motion(before, after, fit.pairs), share, least);
          if (fit.pairs.size() >= 2) fits.push_back(std::move(fit));
        }
      }
    }
  }
  PatternResult result;
  if (fits.empty()) return result;
  result.best = *std::max_element(fits.begin(), fits.end(),
                                  [](const Fit& a, const Fit& b) { return rank(a) < rank(b); });
  const PointMm where = centre(after[static_cast<std::size_t>(result.best.pairs.front().after)]);
  result.ambiguous = std::any_of(fits.begin(), fits.end(), [&](const Fit& fit) {
    return fit.pairs.size() >= result.best.pairs.size() &&
           fit.rms_mm < 2 * result.best.rms_mm + options.least_tolerance_mm / 2 &&
           !same_motion(fit.motion, result.best.motion, where);
  });
  return result;
}

Alignment in_one_frame(const Fit& fit, const std::vector<Dent>& before, const std::vector<Dent>& after,
                       bool told, const Wording& words) {
  Alignment alignment{AlignmentKind::same_card, {}, fit.pairs, fit.rms_mm, false, ""};
  if (!fit.pairs.empty()) {
    alignment.sureness = words("compare.sure.in_place", {{"count", fit.pairs.size()},
                                                         {"mm", words.number(std::max(fit.rms_mm, 0.1), 1)}});
  } else if (told) {
    alignment.sureness = words("compare.sure.told");
  } else if (before.empty() || after.empty()) {
    alignment.sureness = words("compare.sure.no_spot");
  }
  return alignment;
}

Alignment in_moved_frame(const PatternResult& pattern, const std::vector<Dent>& before,
                         const Wording& words) {
  const Fit& fit = pattern.best;
  Alignment alignment{AlignmentKind::by_pattern, fit.motion, fit.pairs, fit.rms_mm, pattern.ambiguous, ""};
  alignment.sureness =
      words("compare.sure.moved", {{"mm", words.number(std::hypot(fit.motion.dx_mm, fit.motion.dy_mm), 0)},
                                   {"degrees", words.number(fit.motion.turn_deg, 0)},
                                   {"found", fit.pairs.size()},
                                   {"count", before.size()},
                                   {"rms", words.number(fit.rms_mm, 1)}});
  if (fit.pairs.size() == 2) {
    alignment.ambiguous = true;
    alignment.sureness = words("compare.sure.two_spots", {{"moved", alignment.sureness}});
  } else if (alignment.ambiguous) {
    alignment.sureness = words("compare.sure.other_way", {{"moved", alignment.sureness}});
  }
  return alignment;
}

Alignment from_single_spot(const Dent& before, const Dent& after, const Wording& words) {
  Alignment alignment;
  alignment.kind = AlignmentKind::single_spot;
  alignment.motion = {0, before.x_mm - after.x_mm, before.y_mm - after.y_mm};
  alignment.pairs = {{0, 0}};
  alignment.ambiguous = true;
  alignment.sureness = words("compare.sure.single_spot");
  return alignment;
}

Alignment not_joined(const std::string& sureness) {
  Alignment alignment;
  alignment.sureness = sureness;
  return alignment;
}

Alignment align_moved(const std::vector<Dent>& before, const std::vector<Dent>& after,
                      const AlignmentOptions& options, const Wording& words) {
  if (before.size() == 1 && after.size() == 1) return from_single_spot(before[0], after[0], words);
  const PatternResult pattern = by_pattern(before, after, options);
  if (!pattern.best.pairs.empty()) return in_moved_frame(pattern, before, words);
  return not_joined(words("compare.sure.no_pattern"));
}

}  // namespace

PointMm CardMotion::before_from_after(PointMm after) const {
  const double c = std::cos(turn_deg * degree), s = std::sin(turn_deg * degree);
  return {c * after.x_mm - s * after.y_mm + dx_mm, s * after.x_mm + c * after.y_mm + dy_mm};
}

PointMm CardMotion::after_from_before(PointMm before) const {
  const double c = std::cos(turn_deg * degree), s = std::sin(turn_deg * degree);
  const double x = before.x_mm - dx_mm, y = before.y_mm - dy_mm;
  return {c * x + s * y, -s * x + c * y};
}

double tolerance_mm(const Dent& before, const Dent& after, double share, double least_mm) {
  return std::max(least_mm, share * std::max(before.diameter_mm.value, after.diameter_mm.value));
}

Alignment align(const std::vector<Dent>& before, const std::vector<Dent>& after,
                const AlignmentOptions& options, const Wording& words) {
  if (options.placement == CardPlacement::moved) {
    if (before.empty() || after.empty()) return not_joined(words("compare.sure.none_in_one"));
    return align_moved(before, after, options, words);
  }
  const Fit in_place = fit_of(before, after, {}, options.tolerance_share, options.least_tolerance_mm);
  const bool told = options.placement == CardPlacement::same;
  if (told || before.empty() || after.empty()) return in_one_frame(in_place, before, after, told, words);

  // A pattern of three or more that explains clearly more than the places do: the card was moved unnoticed.
  if (std::min(before.size(), after.size()) >= 3) {
    const PatternResult pattern = by_pattern(before, after, options);
    const std::size_t needed = std::max<std::size_t>(3, in_place.pairs.size() + 2);
    if (pattern.best.pairs.size() >= needed && !pattern.ambiguous)
      return in_moved_frame(pattern, before, words);
  }
  if (!in_place.pairs.empty()) return in_one_frame(in_place, before, after, told, words);
  return not_joined(words("compare.sure.nothing_in_place"));
}

}  // namespace ripplegauge
