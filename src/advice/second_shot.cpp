// Every term of the first photo's budget is either its own, and then a second photo halves its variance or
// does better, or common to all photos of the place. Candidates are weighed by what is left.
#include "advice/second_shot.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

namespace ripplegauge {
namespace {

/// Less is not worth a photo, or one more thing to change.
constexpr double worth_it = 0.9;

struct Candidate {
  double turn_deg = 0;
  double pitch_factor = 1;
  double distance_factor = 1;
};

struct Weakest {
  std::size_t spot = 0;
  bool depth = true;
  double percent = 0;  ///< standard uncertainty
};

double of(const BudgetTerm& term, bool depth) { return depth ? term.depth_percent : term.diameter_percent; }

double total(const std::vector<BudgetTerm>& budget, bool depth) {
  double sum = 0;
  for (const BudgetTerm& term : budget) sum += of(term, depth) * of(term, depth);
  return std::sqrt(sum);
}

std::optional<Weakest> weakest_of(const Reading& reading) {
  std::optional<Weakest> weakest;
  for (std::size_t i = 0; i < std::min(reading.dents.size(), reading.budgets.size()); ++i)
    for (const bool depth : {true, false}) {
      const double percent = total(reading.budgets[i], depth);
      if (percent > 0 && std::isfinite(percent) && (!weakest || percent > weakest->percent))
        weakest = Weakest{i, depth, percent};
    }
  return weakest;
}

/// Two independent values, each weighted as it deserves.
double both(double a, double b) { return a > 0 && b > 0 ? a * b / std::hypot(a, b) : std::min(a, b); }

double left_of(const BudgetTerm& term, bool depth, const Candidate& c) {
  const double a = of(term, depth);
  const std::string& name = term.name;
  // The peel is the panel's own. Stripes see its slope across them, and of two such slopes an angle apart on
  // an even peel the correlation is the angle's cosine: the same stripes again see the same peel.
  if (name == "orange peel")
    return a * std::sqrt(0.5 * (1 + std::abs(std::cos(c.turn_deg * std::numbers::pi / 180))));
  // What moves a stripe by so much of its period: finer stripes and a longer way to the board both show the
  // same slope by more of a period.
  if (name == "stripe phase noise" || name == "odd shapes" || name == "unexplained stripes")
    return both(a, a * c.pitch_factor / c.distance_factor);
  // The board's place is found anew in each photo, to about the same millimetres: further away is a smaller
  // share. Stripes along another direction tell it from other errors of the panel's crown.
  if (name == "board distance" || name == "board tilt and rest of geometry")
    return both(a, a / c.distance_factor);
  if (name == "camera, crown, corners") return both(a, a);
  // Half of what no formula knows of is each photo's own (measure_together).
  if (name == "model") return a * std::sqrt(0.75);
  return a;  // the print, and whatever is not known to be a photo's own
}

double left_of(const std::vector<BudgetTerm>& budget, bool depth, const Candidate& c) {
  double sum = 0;
  for (const BudgetTerm& term : budget) sum += std::pow(left_of(term, depth, c), 2);
  return std::sqrt(sum);
}

const BudgetTerm& largest_term(const std::vector<BudgetTerm>& budget, bool depth) {
  return *std::max_element(budget.begin(), budget.end(),
                           [&](auto& a, auto& b) { return of(a, depth) < of(b, depth); });
}

/// An angle between lines, -90 to 90.
double line_angle(double degrees) {
  const double angle = std::remainder(degrees, 180);
  return angle <= -90 ? angle + 180 : angle;
}

bool is_long(const Dent& dent) { return dent.length_mm.value > 1.5 * dent.width_mm.value; }

/// The turn that lays the stripes along a long spot; nothing where it is round, they lie so, or nobody knows.
std::optional<double> turn_along_deg(const Dent& dent, const FirstStripes& stripes) {
  constexpr double along = 20;
  if (!is_long(dent) || !stripes.direction_on_panel_deg) return std::nullopt;
  const double off = std::abs(line_angle(dent.angle_deg - *stripes.direction_on_panel_deg));
  return off > along ? std::optional(off) : std::nullopt;
}

/// By how much to turn. A long dent slopes nearly all across its length, which stripes along it see; stripes
/// across it see hardly anything, so that a quarter turn away from good stripes would waste the photo.
double best_turn_deg(const Dent& dent, const FirstStripes& stripes) {
  constexpr double quarter = 90, aslant = 60;
  return turn_along_deg(dent, stripes).value_or(is_long(dent) ? aslant : quarter);
}

/// Finer stripes until three lie across the dent, each still wide enough to be followed where a dent crowds
/// them threefold; 1 where they are that fine already.
double finer_factor(const Dent& dent, const Setup& setup, const FirstStripes& stripes) {
  constexpr double pairs_across = 3, least_px = 10, crowding = 3, least_change = 0.75;
  if (!setup.stripe_period_mm || !stripes.period_px) return 1;
  const double wanted = dent.width_mm.value / pairs_across / *setup.stripe_period_mm;
  const double factor = std::max(wanted, least_px * crowding / *stripes.period_px);
  return factor < least_change ? factor : 1;
}

double further_factor(const Setup& setup) {
  constexpr double furthest_mm = 400, least_change = 1.25;
  if (!setup.board_distance_mm) return 1;
  const double factor = furthest_mm / setup.board_distance_mm->value;
  return factor > least_change ? factor : 1;
}

/// The best of the photos that change one thing, then two: each further change must be worth its trouble.
std::optional<Candidate> best_candidate(const std::vector<BudgetTerm>& budget, bool depth, double turn_deg,
                                        double finer, double further) {
  std::optional<Candidate> best;
  double least = worth_it * total(budget, depth);
  for (const int changes : {1, 2, 3})
    for (const bool turned : {true, false})
      for (const bool fine : {false, true})
        for (const bool far : {false, true}) {
          const Candidate c{turned ? turn_deg : 0, fine ? finer : 1, far ? further : 1};
          if (turned + (fine && finer < 1) + (far && further > 1) != changes) continue;
          const double left = left_of(budget, depth, c);
          // The first change only has to beat no change: the same shot again is a photo, too.
          if (left >= (best ? worth_it * least : least)) continue;
          best = c;
          least = left;
        }
  return best;
}

/// From the panel to the photo beside a spot: the linear map that takes its outline there.
struct LocalMap {
  double ux = 0, uy = 0, vx = 0, vy = 0;
};

std::optional<LocalMap> local_map(const Dent& dent,
                                  const std::vector<std::pair<double, double>>& outline_px) {
  const std::size_t n = std::min(dent.outline.size(), outline_px.size());
  if (n < 3) return std::nullopt;
  PointMm middle;
  double mu = 0, mv = 0;
  const double share = 1 / static_cast<double>(n);
  for (std::size_t i = 0; i < n; ++i) {
    middle.x_mm += share * dent.outline[i].x_mm;
    middle.y_mm += share * dent.outline[i].y_mm;
    mu += share * outline_px[i].first;
    mv += share * outline_px[i].second;
  }
  double xx = 0, xy = 0, yy = 0, xu = 0, yu = 0, xv = 0, yv = 0;
  for (std::size_t i = 0; i < n; ++i) {
    const double x = dent.outline[i].x_mm - middle.x_mm, y = dent.outline[i].y_mm - middle.y_mm,
                 u = outline_px[i].first - mu, v = outline_px[i].second - mv;
    xx += x * x;
    xy += x * y;
    yy += y * y;
    xu += x * u;
    yu += y * u;
    xv += x * v;
    yv += y * v;
  }
  const double determinant = xx * yy - xy * xy;
  if (!(determinant > 1e-9 * xx * yy)) return std::nullopt;
  return LocalMap{(xu * yy - yu * xy) / determinant, (yu * xx - xu * xy) / determinant,
                  (xv * yy - yv * xy) / determinant, (yv * xx - xv * xy) / determinant};
}

/// The side of the spot, as seen in the photo, where nothing was judged; empty where stripes surround it.
std::string side_without_stripes(const Reading& reading, std::size_t spot) {
  constexpr double enough = 0.85, around = 2;
  const Dent& dent = reading.dents[spot];
  const auto& judged = reading.setup.judged;
  if (!judged || judged->cell_mm <= 0 || spot >= reading.outlines_px.size()) return "";
  const double wide_mm = around * dent.diameter_mm.value;
  if (judged->covered_share(dent.x_mm, dent.y_mm, wide_mm) >= enough) return "";
  double dx = 0, dy = 0;
  for (double y = -0.5 * wide_mm; y <= 0.5 * wide_mm; y += judged->cell_mm)
    for (double x = -0.5 * wide_mm; x <= 0.5 * wide_mm; x += judged->cell_mm) {
      if (std::hypot(x, y) > 0.5 * wide_mm || judged->covers(dent.x_mm + x, dent.y_mm + y)) continue;
      dx += x;
      dy += y;
    }
  const auto map = local_map(dent, reading.outlines_px[spot]);
  if (!map) return "";
  const double u = map->ux * dx + map->uy * dy, v = map->vx * dx + map->vy * dy;
  if (std::abs(u) >= std::abs(v)) return u > 0 ? "right" : "left";
  return v > 0 ? "below" : "above";
}

double whole_pitch_mm(double pitch_mm) { return pitch_mm < 1.5 ? 1 : std::round(pitch_mm); }

std::string turn_words(const SecondShot& shot, bool lies_across) {
  const std::string text =
      fmt::format("Turn the board by {:.0f} degrees about its middle", *shot.turn_board_deg);
  if (lies_across)
    return text + ", so that its stripes run along the spot: across it they see hardly a slope.";
  if (shot.limited_by == "orange peel")
    return text + ": along another direction the orange peel is another one.";
  if (shot.limited_by == "board distance" || shot.limited_by == "board tilt and rest of geometry")
    return text + ": its place is then told anew, with errors of its own.";
  return text + ": stripes see the slope across them alone, and the other slope is new.";
}

void put_into_words(SecondShot& shot, const Reading& first, const FirstStripes& stripes) {
  const Dent& dent = first.dents[static_cast<std::size_t>(shot.spot)];
  if (shot.turn_board_deg) shot.words.push_back(turn_words(shot, turn_along_deg(dent, stripes).has_value()));
  if (shot.pitch_mm)
    shot.words.push_back(fmt::format(
        "Use stripes of {:.0f} mm: only {:.1f} pairs of the {:.0f} mm ones lie across "
        "the spot.",
        *shot.pitch_mm, dent.width_mm.value / *first.setup.stripe_period_mm, first.setup.board_pitch_mm));
  if (shot.board_further_mm)
    shot.words.push_back(
        fmt::format("Put the board {:.0f} cm further away: the same millimetres of doubt are a "
                    "smaller share of the way.",
                    0.1 * *shot.board_further_mm));
  if (!shot.stripes_missing.empty()) {
    const bool level = shot.stripes_missing == "right" || shot.stripes_missing == "left";
    shot.words.push_back("Move board and phone until stripes lie " +
                         (level ? "to the " + shot.stripes_missing + " of the spot, too"
                                : shot.stripes_missing + " the spot, too") +
                         ": hardly any reach its edge there.");
  }
  if (shot.limited_by == "print scale")
    shot.words.push_back("Measure the card's bar with a steel rule first: every size is as good as that.");
  if (shot.limited_by == "board distance" && !first.setup.board_distance_given_mm)
    shot.words.push_back(
        "Or tape the way from the spot to the stripes seen in it: the board's distance is what its depth is "
        "known "
        "least by.");
}

}  // namespace

std::optional<SecondShot> second_shot(const Reading& first, const FirstStripes& stripes) {
  const auto weakest = weakest_of(first);
  if (!weakest) return std::nullopt;
  const std::vector<BudgetTerm>& budget = first.budgets[weakest->spot];
  const Dent& dent = first.dents[weakest->spot];
  const double finer = finer_factor(dent, first.setup, stripes), further = further_factor(first.setup);
  const auto best = best_candidate(budget, weakest->depth, best_turn_deg(dent, stripes), finer, further);
  if (!best) return std::nullopt;
  SecondShot shot;
  shot.spot = static_cast<int>(weakest->spot);
  shot.quantity = weakest->depth ? (dent.kind == Kind::low ? "depth" : "height") : "diameter";
  shot.limited_by = largest_term(budget, weakest->depth).name;
  shot.now_percent = coverage_factor_95 * weakest->percent;
  shot.expected_percent = coverage_factor_95 * left_of(budget, weakest->depth, *best);
  if (best->turn_deg > 0) shot.turn_board_deg = best->turn_deg;
  if (best->pitch_factor < 1) shot.pitch_mm = whole_pitch_mm(first.setup.board_pitch_mm * best->pitch_factor);
  if (best->distance_factor > 1)
    shot.board_further_mm = first.setup.board_distance_mm->value * (best->distance_factor - 1);
  shot.stripes_missing = side_without_stripes(first, weakest->spot);
  put_into_words(shot, first, stripes);
  return shot;
}

}  // namespace ripplegauge
