// How a fold is found. Where it breaks the stripes: 1. the largest patch of stripes beyond those followed is
// unwrapped for itself; 2. a straight line between the two patches is the fold's place; 3. of all turns that
// put the second patch's phase onto the model's, give or take whole cycles, those are refined that leave its
// slope least unexplained. Where stripes were followed across it: 4. of many lines, those whose turn would
// take most off the bundle's cost, by one Gauss-Newton step, are refined, with every count of cycles that
// explains the stripes. Which of these is right is seen near the line, by whoever asks (stripe_field.cpp).
#include "body_line.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <utility>

#include "core/quantile.hpp"

namespace ripplegauge {
namespace {

struct Node {
  double x_mm, y_mm, cycles;  ///< cycles: unwrapped, measured minus model
};

/// The nodes that were unwrapped and where light swings as stripes do; wide windows see those beyond the
/// board's end, too.
std::vector<Node> nodes_of(const cv::Mat& unwrapped, const cv::Mat& amplitude, const PanelGrid& nodes) {
  std::vector<float> amplitudes;
  for (int r = 0; r < unwrapped.rows; ++r)
    for (int c = 0; c < unwrapped.cols; ++c)
      if (!std::isnan(unwrapped.at<float>(r, c))) amplitudes.push_back(amplitude.at<float>(r, c));
  std::vector<Node> found;
  if (amplitudes.empty()) return found;
  constexpr float surely_there = 0.5F;
  const float least = surely_there * static_cast<float>(median_of(amplitudes));
  for (int r = 0; r < unwrapped.rows; ++r)
    for (int c = 0; c < unwrapped.cols; ++c)
      if (!std::isnan(unwrapped.at<float>(r, c)) && amplitude.at<float>(r, c) > least)
        found.push_back({nodes.x_mm(c), nodes.y_mm(r), unwrapped.at<float>(r, c) / (2 * std::numbers::pi)});
  return found;
}

/// The nodes of the largest flood that is not the one followed.
std::vector<Node> beyond(const Followed& f) {
  Demodulated rest = f.demodulated;
  const cv::Mat not_followed = (f.unwrapped == f.unwrapped) == 0;  // NaN equals nothing
  rest.usable = cv::Mat(f.demodulated.usable & not_followed);      // a new matrix: the other one is shared
  constexpr double all = 1;
  return nodes_of(largest_flood(unwrap_in_floods(rest, {f.nodes.columns / 2, f.nodes.rows / 2}, all)),
                  rest.amplitude, f.nodes);
}

/// Whether samples lie on enough stripes to be panel beyond a line. What windows see beyond a board's end, of
/// its last edge, spreads over one or two periods and is in phase with anything.
bool on_several_stripes(const std::vector<PhaseSample>& samples) {
  constexpr double outliers = 0.05, least_periods = 3;
  std::vector<double> cycles;
  cycles.reserve(samples.size());
  for (const PhaseSample& s : samples) cycles.push_back(s.phase_cycles);
  return !cycles.empty() && quantile_of(cycles, 1 - outliers) - quantile_of(cycles, outliers) > least_periods;
}

/// Every n-th, so that at most so many are left.
template <class T>
std::vector<T> some_of(const std::vector<T>& all, std::size_t most) {
  std::vector<T> some;
  for (std::size_t i = 0; i < all.size(); i += all.size() / most + 1) some.push_back(all[i]);
  return some;
}

/// At most so many of the nodes as samples, counted in cycles of the model.
std::vector<PhaseSample> samples_of(const std::vector<Node>& nodes, const PanelModel<double>& model,
                                    std::size_t most) {
  std::vector<PhaseSample> samples;
  const std::size_t skip = nodes.size() / most + 1;
  for (std::size_t i = 0; i < nodes.size(); i += skip) {
    const Node& n = nodes[i];
    const auto pixel = model.pixel_from_panel(n.x_mm, n.y_mm);
    samples.push_back({pixel.u_px, pixel.v_px, model.phase(n.x_mm, n.y_mm, 0, 0) + n.cycles});
  }
  return samples;
}

struct Line {
  double direction_rad = 0, place_mm = 0;
  double misplaced = 1;  ///< share of either side's nodes on the wrong side, the larger

  double beyond_mm(double x_mm, double y_mm) const {
    return x_mm * std::cos(direction_rad) + y_mm * std::sin(direction_rad) - place_mm;
  }
};

/// The parameters with a turn at a line that the panel does not have yet, rounded off as usual.
PanelVector with_fold(const BundleProblem& problem, PanelVector p, const Line& line, double turn) {
  p.segment<fold_parameters>(fold_at(problem.constants.folds)) << turn, line.place_mm, line.direction_rad,
      std::log(problem.priors.fold_width_mm), 0;
  return p;
}

/// The straight line that parts two sets of places best. A place costs how far it lies on the wrong side, or
/// less than a margin on the right one; stray patches cost no more the further away they lie.
Line line_between(const std::vector<Node>& all_near, const std::vector<Node>& all_far) {
  // Both thinned alike: the smaller one must not count for more where they meet.
  constexpr std::size_t enough = 1000;
  const std::size_t all = all_near.size() + all_far.size();
  const std::vector<Node> near = some_of(all_near, enough * all_near.size() / all + 1),
                          far = some_of(all_far, enough * all_far.size() / all + 1);
  constexpr double margin_mm = 4, furthest_mm = 15;
  const auto cost = [&](double angle, double place_mm) {
    const double c = std::cos(angle), s = std::sin(angle);
    const auto wrong = [&](double beyond_mm) { return std::clamp(beyond_mm + margin_mm, 0.0, furthest_mm); };
    double sum = 0;
    for (const Node& n : near) sum += wrong(n.x_mm * c + n.y_mm * s - place_mm);
    for (const Node& n : far) sum += wrong(place_mm - n.x_mm * c - n.y_mm * s);
    return sum;
  };
  double x_mm = 0, y_mm = 0, reach_mm = 0;
  const auto both = static_cast<double>(near.size() + far.size());
  for (const auto& nodes : {near, far})
    for (const Node& n : nodes) x_mm += n.x_mm / both, y_mm += n.y_mm / both;
  for (const auto& nodes : {near, far})
    for (const Node& n : nodes) reach_mm = std::max(reach_mm, std::hypot(n.x_mm - x_mm, n.y_mm - y_mm));
  Line best;
  double least = 1e300;
  const auto look = [&](double angle, double from_mm, double to_mm, double step_mm) {
    for (double place = from_mm; place <= to_mm; place += step_mm)
      if (const double here = cost(angle, place); here < least)
        least = here, best.direction_rad = angle, best.place_mm = place;
  };
  constexpr int directions = 60;
  for (int i = 0; i < directions; ++i) {
    const double angle = 2 * std::numbers::pi * i / directions,
                 middle = x_mm * std::cos(angle) + y_mm * std::sin(angle);
    look(angle, middle - reach_mm, middle + reach_mm, 5);
  }
  // Finer, the line turned about the middle of the nodes.
  const Line coarse = best;
  constexpr double fine_rad = 0.01;
  for (int i = -12; i <= 12; ++i) {
    const double angle = coarse.direction_rad + i * fine_rad;
    const double shift = x_mm * (std::cos(angle) - std::cos(coarse.direction_rad)) +
                         y_mm * (std::sin(angle) - std::sin(coarse.direction_rad));
    look(angle, coarse.place_mm + shift - 6, coarse.place_mm + shift + 6, 0.5);
  }
  const auto share = [&](const std::vector<Node>& nodes, double sign) {
    return static_cast<double>(
               std::count_if(nodes.begin(), nodes.end(),
                             [&](const Node& n) { return sign * best.beyond_mm(n.x_mm, n.y_mm) > 0; })) /
           static_cast<double>(nodes.size());
  };
  best.misplaced = std::max(share(near, 1), share(far, -1));
  return best;
}

PanelConstants with_one_more(PanelConstants constants) {
  ++constants.folds;
  return constants;
}

/// By how much the panel turns for one more cycle beyond a fold.
double turn_a_cycle(const PanelModel<double>& model, const PanelConstants& constants) {
  return constants.pitch_mm /
         (2 * model.board_view(constants.anchor_x_mm, constants.anchor_y_mm).distance_mm);
}

/// What the far side shows, less what a model says: the whole cycles that it is off, and the median of what
/// is left.
struct Misfit {
  double whole_cycles = 0, left_cycles = 0;
};
Misfit misfit_of(const PanelModel<double>& model, const std::vector<PhaseSample>& samples) {
  std::vector<double> errors;
  for (const PhaseSample& s : samples) errors.push_back(phase_error(model, s));
  const double whole = std::round(median_of(errors));
  for (double& e : errors) e = std::abs(e - whole);
  return {whole, median_of(errors)};
}

/// The turn that leaves least as it is, and those that count some cycles more or less beyond the line.
std::vector<PanelVector> turns_to_try(const BundleProblem& problem, const PanelVector& parameters,
                                      const Line& line, const std::vector<PhaseSample>& far) {
  const double cycle = turn_a_cycle(PanelModel<double>(problem.constants, parameters), problem.constants);
  const PanelConstants constants = with_one_more(problem.constants);
  PanelVector p = with_fold(problem, parameters, line, 0);
  double& turn = p[fold_at(problem.constants.folds)];
  constexpr double steepest = 0.4;
  constexpr int steps_a_cycle = 4, cycles = 3;
  double least = 1e300, best = 0;
  const int steps = static_cast<int>(steepest * steps_a_cycle / cycle);
  for (int i = -steps; i <= steps; ++i) {
    turn = i * cycle / steps_a_cycle;
    const double left = misfit_of(PanelModel<double>(constants, p), far).left_cycles;
    if (left < least) least = left, best = turn;
  }
  std::vector<PanelVector> turns;
  for (int k = -cycles; k <= cycles; ++k) {
    turn = best + k * cycle;
    turns.push_back(p);
  }
  return turns;
}

const BundleNoise rough{.phase_cycles = 0.3}, fine{.phase_cycles = 0.05}, sharp{.phase_cycles = 0.01};

/// The problem with the samples of both sides, those of the far one counted in whole cycles as the model
/// does.
BundleProblem counted_as_one(BundleProblem problem, const PanelVector& p,
                             const std::vector<PhaseSample>& near, const std::vector<PhaseSample>& far) {
  const double whole_cycles = misfit_of(PanelModel<double>(problem.constants, p), far).whole_cycles;
  problem.samples = near;
  for (PhaseSample s : far) {
    s.phase_cycles += whole_cycles;
    problem.samples.push_back(s);
  }
  return problem;
}

/// The same of a panel with one fold more.
BundleProblem of_both_sides(BundleProblem problem, const PanelVector& p, const std::vector<PhaseSample>& near,
                            const std::vector<PhaseSample>& far) {
  problem.constants = with_one_more(problem.constants);
  return counted_as_one(std::move(problem), p, near, far);
}

/// Turns that explain both sides, whole cycles between them left open; the cheapest one first.
std::vector<PanelVector> turns_at(const BundleProblem& problem, const PanelVector& start, const Line& line,
                                  const std::vector<PhaseSample>& all_near,
                                  const std::vector<PhaseSample>& all_far) {
  constexpr std::size_t enough = 250;
  const std::vector<PhaseSample> near = some_of(all_near, enough), far = some_of(all_far, enough);
  constexpr double unexplained_cycles = 0.08;
  const PanelConstants folded = with_one_more(problem.constants);
  std::vector<BundleResult> turns;
  for (PanelVector p : turns_to_try(problem, start, line, far)) {
    for (const BundleNoise& noise : {rough, fine, fine, sharp})
      p = settle_bundle(of_both_sides(problem, p, near, far), p, BundleFreedom::everything, noise, 10);
    const BundleResult result =
        fit_bundle(of_both_sides(problem, p, near, far), p, BundleFreedom::everything, sharp);
    if (misfit_of(PanelModel<double>(folded, result.parameters), far).left_cycles < unexplained_cycles)
      turns.push_back(result);
  }
  std::sort(turns.begin(), turns.end(),
            [](const BundleResult& a, const BundleResult& b) { return a.cost < b.cost; });
  std::vector<PanelVector> parameters;
  for (const BundleResult& turn : turns) parameters.push_back(turn.parameters);
  return parameters;
}

/// Whether the card lies beyond a line.
bool card_beyond(const BundleProblem& problem, const Line& line) {
  double sum = 0;
  for (const CardTag& tag : problem.card.tags) sum += line.beyond_mm(tag.x_mm, tag.y_mm);
  return sum > 0;
}

/// The same line told from its other side.
Line reversed(const Line& line) {
  return {line.direction_rad + std::numbers::pi, -line.place_mm, line.misplaced};
}

/// Whether both sides need a fold: without one, cycles between them counted anew, they cost surely more.
bool needs_fold(const BundleProblem& problem, const PanelVector& flat_start, const PanelVector& folded,
                const std::vector<PhaseSample>& near, const std::vector<PhaseSample>& far) {
  constexpr double decisive = 20;  // costs are half a chi square: odds of e^20
  if (std::abs(folded[fold_at(problem.constants.folds)]) < least_fold_turn) return false;
  const BundleNoise noise{.phase_cycles = 0.03};
  const BundleProblem unfolded = counted_as_one(problem, flat_start, near, far);
  PanelVector p = settle_bundle(unfolded, flat_start, BundleFreedom::everything, rough);
  const double without = fit_bundle(unfolded, p, BundleFreedom::everything, noise).cost;
  p = settle_bundle(of_both_sides(problem, folded, near, far), folded, BundleFreedom::everything, noise);
  const double with =
      fit_bundle(of_both_sides(problem, p, near, far), p, BundleFreedom::everything, noise).cost;
  return without - with > decisive;
}

/// A line turned about the place on it that lies nearest to (x, y).
Line turned_about(const Line& line, double x_mm, double y_mm, double by_rad) {
  const double beyond_mm = line.beyond_mm(x_mm, y_mm);
  x_mm -= beyond_mm * std::cos(line.direction_rad), y_mm -= beyond_mm * std::sin(line.direction_rad);
  Line turned = line;
  turned.direction_rad += by_rad;
  turned.place_mm = x_mm * std::cos(turned.direction_rad) + y_mm * std::sin(turned.direction_rad);
  return turned;
}

}  // namespace

std::optional<PanelVector> fold_that_breaks(const Followed& f) {
  const std::vector<Node> near = nodes_of(f.unwrapped, f.demodulated.amplitude, f.nodes), far = beyond(f);
  constexpr std::size_t least_nodes = 60;
  constexpr double least_share = 0.03;
  if (far.size() < least_nodes ||
      static_cast<double>(far.size()) < least_share * static_cast<double>(near.size()))
    return std::nullopt;
  Line line = line_between(near, far);
  constexpr double most_misplaced = 0.2;  // a dent on the line takes a bite out of either side
  if (line.misplaced > most_misplaced) return std::nullopt;
  BundleProblem problem = *f.problem;
  const PanelModel<double> flat(problem.constants, f.parameters);
  constexpr std::size_t enough = 300;
  std::vector<PhaseSample> near_samples = problem.samples, far_samples = samples_of(far, flat, enough);
  if (!on_several_stripes(far_samples)) return std::nullopt;
  PanelVector start = f.parameters;
  if (card_beyond(problem, line)) {
    // The card's pose is that of its own side, so the other one turns away.
    std::swap(near_samples, far_samples);
    line = reversed(line);
    problem.samples = near_samples;
    start = settle_bundle(problem, start, BundleFreedom::board_only, rough);
    start = settle_bundle(problem, start, BundleFreedom::everything, fine);
  }
  const std::vector<PanelVector> turns = turns_at(problem, start, line, near_samples, far_samples);
  if (turns.empty() || !needs_fold(problem, start, turns[0], near_samples, far_samples)) return std::nullopt;
  return turns[0];
}

namespace {

/// What one Gauss-Newton step of the whole bundle would gain by a turn at a line and another count of cycles
/// beyond it.
struct Kink {
  Line line;
  double gain = 0;
};

/// The lines that would gain most, the best one first, no two alike.
std::vector<Kink> best_kinks(const BundleProblem& problem, const PanelVector& parameters,
                             const std::vector<Node>& nodes, const std::vector<PhaseSample>& samples,
                             const BundleNoise& noise) {
  BundleProblem some = problem;
  some.samples = samples;
  const NormalEquations flat = bundle_equations(some, parameters, noise);
  const auto solver = flat.hessian.ldlt();
  std::vector<Kink> kinks;
  constexpr int directions = 18, places = 12;
  for (int i = 0; i < directions; ++i) {
    const double angle = std::numbers::pi * i / directions, c = std::cos(angle), s = std::sin(angle);
    double low = 1e9, high = -1e9;
    for (const Node& n : nodes)
      low = std::min(low, n.x_mm * c + n.y_mm * s), high = std::max(high, n.x_mm * c + n.y_mm * s);
    for (int k = 1; k < places; ++k) {
      Line line{angle, low + (high - low) * k / places, 0};
      if (card_beyond(problem, line)) line = reversed(line);
      constexpr double small_turn = 1e-4;
      const PanelVector p = with_fold(problem, parameters, line, small_turn);
      const FoldTerms terms = fold_terms(some, parameters, p, noise);
      const Eigen::MatrixXd shared = solver.solve(terms.with_others);
      const Eigen::Matrix2d information = terms.information - terms.with_others.transpose() * shared;
      const Eigen::Vector2d gradient = terms.gradient - shared.transpose() * flat.gradient;
      if (!(information(0, 0) > 0 && information(1, 1) > 0 && information.determinant() > 0)) continue;
      const double gain = 0.5 * gradient.dot(information.inverse() * gradient);
      kinks.push_back({line, gain});
    }
  }
  std::sort(kinks.begin(), kinks.end(), [](const Kink& a, const Kink& b) { return a.gain > b.gain; });
  const auto alike = [](const Line& a, const Line& b) {
    constexpr double turned_rad = 0.4, moved_mm = 25;
    const double turn = std::remainder(a.direction_rad - b.direction_rad, 2 * std::numbers::pi);
    return std::abs(turn) < turned_rad && std::abs(a.place_mm - b.place_mm) < moved_mm;
  };
  std::vector<Kink> best;
  constexpr std::size_t most = 4;
  for (const Kink& k : kinks)
    if (best.size() < most &&
        std::none_of(best.begin(), best.end(), [&](const Kink& b) { return alike(k.line, b.line); }))
      best.push_back(k);
  return best;
}

/// The folds at a line within what was followed, one for each count of cycles beyond it that explains the
/// stripes: only those near the line tell which one is right.
std::vector<PanelVector> folds_along(const Line& line, const Followed& f) {
  const BundleProblem& problem = *f.problem;
  const PanelModel<double> flat(problem.constants, f.parameters);
  // Nodes are a quarter of a period apart; what windows over the stripes see there is of both sides.
  const double too_near_mm = 5 + 3 * f.nodes.step_mm;
  std::vector<PhaseSample> near, far;
  for (const PhaseSample& s : problem.samples) {
    const auto point = flat.panel_from_pixel(s.u_px, s.v_px);
    const double beyond_mm = line.beyond_mm(point.x_mm, point.y_mm);
    if (std::abs(beyond_mm) > too_near_mm) (beyond_mm > 0 ? far : near).push_back(s);
  }
  constexpr std::size_t least_samples = 40;
  if (near.size() < least_samples || far.size() < least_samples) return {};
  if (!on_several_stripes(near) || !on_several_stripes(far)) return {};
  std::vector<PanelVector> folds = turns_at(problem, f.parameters, line, near, far);
  const int turn = fold_at(problem.constants.folds);
  std::erase_if(folds, [&](const PanelVector& p) { return std::abs(p[turn]) < least_fold_turn; });
  return folds;
}

}  // namespace

std::vector<std::vector<PanelVector>> folds_that_kink(const Followed& f) {
  const BundleProblem& problem = *f.problem;
  const PanelModel<double> flat(problem.constants, f.parameters);
  constexpr std::size_t every = 3;  // of some 700
  std::vector<PhaseSample> few_samples;
  std::vector<double> errors;
  for (std::size_t i = 0; i < problem.samples.size(); i += every) few_samples.push_back(problem.samples[i]);
  for (const PhaseSample& s : few_samples) errors.push_back(std::abs(phase_error(flat, s)));
  // As wide as most of the misfit, so that the robust cost does not let go of a whole side.
  constexpr double most = 0.8;
  const BundleNoise noise{.phase_cycles = std::clamp(quantile_of(errors, most), 0.008, 0.5)};
  // What leaves less unexplained than the least turn would has none.
  constexpr double promising = 5, uneven_cycles = 0.02;
  std::vector<std::vector<PanelVector>> found;
  if (noise.phase_cycles < uneven_cycles) return found;
  for (const Kink& kink :
       best_kinks(problem, f.parameters, nodes_of(f.unwrapped, f.demodulated.amplitude, f.nodes), few_samples,
                  noise)) {
    if (kink.gain < promising) break;
    if (auto folds = folds_along(kink.line, f); !folds.empty()) found.push_back(std::move(folds));
  }
  return found;
}

void turn_line(PanelVector& parameters, int fold, double by_mm, double by_rad, double x_mm, double y_mm) {
  double &place_mm = parameters[fold_at(fold) + 1], &direction_rad = parameters[fold_at(fold) + 2];
  const Line line = turned_about({direction_rad, place_mm + by_mm, 0}, x_mm, y_mm, by_rad);
  place_mm = line.place_mm, direction_rad = line.direction_rad;
}

std::optional<PanelVector> other_count_of_cycles(const BundleProblem& folded, const PanelVector& parameters) {
  const PanelModel<double> model(folded.constants, parameters);
  PanelVector best = parameters;
  double least = fit_bundle(folded, parameters, BundleFreedom::everything, sharp).cost;
  bool better = false;
  for (int fold = 0; fold < folded.constants.folds; ++fold) {
    const PlacedFold<double>& line = model.surface().folds()[static_cast<std::size_t>(fold)];
    std::vector<PhaseSample> near, far;
    for (const PhaseSample& s : folded.samples) {
      const auto point = model.panel_from_pixel(s.u_px, s.v_px);
      (line.across_mm(point.x_mm, point.y_mm) > 0 ? far : near).push_back(s);
    }
    if (far.empty()) continue;
    for (const int cycles : {-1, 1}) {
      PanelVector p = parameters;
      p[fold_at(fold)] += cycles * turn_a_cycle(model, folded.constants);
      for (const BundleNoise& noise : {rough, fine, sharp})
        p = settle_bundle(counted_as_one(folded, p, near, far), p, BundleFreedom::everything, noise, 10);
      const double cost =
          fit_bundle(counted_as_one(folded, p, near, far), p, BundleFreedom::everything, sharp).cost;
      if (cost < least) least = cost, best = p, better = true;
    }
  }
  return better ? std::optional(best) : std::nullopt;
}

}  // namespace ripplegauge
