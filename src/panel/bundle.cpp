// The bundle's cost: tag corners, mirrored board tags, phases of the undisturbed stripes, and what is known
// before the photo speaks; and its minimisation. Where it starts from is told in bundle_start.cpp.
#include "panel/bundle.hpp"

#include <algorithm>
#include <numbers>
#include <opencv2/core/utility.hpp>
#include <span>

#include "bundle_parts.hpp"
#include "core/least_squares.hpp"
#include "core/quantile.hpp"
#include "pixel_phase.hpp"

namespace ripplegauge {

double phase_error(const PanelModel<double>& model, const PhaseSample& sample) {
  const auto point = model.panel_from_pixel(sample.u_px, sample.v_px);
  return model.phase(point.x_mm, point.y_mm, 0, 0) - sample.phase_cycles;
}

namespace {

/// Where the card's paper ends, along x and along y.
std::array<double, 2> card_ends_mm(const CardDefinition& card, double scale) {
  std::array<double, 2> ends_mm{1, 1};
  for (const RectangleMm& sheet : card.paper)
    ends_mm = {std::max(ends_mm[0], sheet.x1_mm * scale), std::max(ends_mm[1], sheet.y1_mm * scale)};
  return ends_mm;
}

/// Cost and derivatives of whitened residuals, by the parameters that their duals know.
template <int N>
struct ResidualSums {
  double cost = 0;
  Eigen::Matrix<double, N, 1> gradient = Eigen::Matrix<double, N, 1>::Zero();
  Eigen::Matrix<double, N, N> hessian = Eigen::Matrix<double, N, N>::Zero();

  void add(const Dual<N>& error, double sigma) {
    const double r = error.value / sigma, w = cauchy_weight(r) / sigma;
    cost += cauchy_cost(r);
    gradient += (w * r) * error.gradient;
    hessian.noalias() += error.gradient * ((w / sigma) * error.gradient).transpose();
  }
  void operator+=(const ResidualSums& more) {
    cost += more.cost, gradient += more.gradient, hessian += more.hessian;
  }
  /// The parameters stand from `first` on.
  void add_to(NormalEquations& out, int first) const {
    out.cost += cost;
    out.gradient.segment<N>(first) += gradient;
    out.hessian.block<N, N>(first, first) += hessian;
  }
};

/// Calls accept(predicted minus seen, px) for both coordinates of every corner; T is double or PanelDual.
template <class T, class Accept>
void for_each_corner_error(const BundleProblem& problem, const PanelModel<T>& model, const Accept& accept) {
  const auto ends_mm = card_ends_mm(problem.card, problem.card_scale);
  for (const SeenTag& seen : problem.tags) {
    const CardTag* tag = find_card_tag(problem.card, seen.id);
    if (tag == nullptr) continue;
    const auto corners = tag_corners_mm(*tag, problem.card.tag_side_mm, problem.card_scale, model.ink());
    for (std::size_t k = 0; k < 4; ++k) {
      const auto pixel = model.pixel_from_card(corners[k][0], corners[k][1], ends_mm);
      accept(pixel.u_px - seen.corners_px[k].x);
      accept(pixel.v_px - seen.corners_px[k].y);
    }
  }
}

constexpr std::size_t samples_a_piece = 64;  ///< for one thread at a time

/// What one phase sample counts: neighbours share blur.
double phase_importance(const BundleProblem& problem, const BundleNoise& noise) {
  return std::min(1.0, noise.effective_phase_samples /
                           std::max<double>(1.0, static_cast<double>(problem.samples.size())));
}

/// Boards stand about square to what they mirror, but people also stand them upright: cost ln(1 + r^2) with
/// r = tilt / scale, a bell about square whose tails hardly pull. Its derivatives as reweighted squares.
void add_tilt_prior(const PanelPriors& priors, const PanelVector& p, NormalEquations& out) {
  const double scale2 = 2 * priors.board_tilt * priors.board_tilt;
  const double tilt2 = p[p_board_tilt] * p[p_board_tilt] + p[p_board_tilt + 1] * p[p_board_tilt + 1];
  const double weight = 2 / (scale2 + tilt2);
  out.cost += std::log1p(tilt2 / scale2);
  for (int i = p_board_tilt; i <= p_board_tilt + 1; ++i) {
    out.gradient[i] += weight * p[i];
    out.hessian(i, i) += weight;
  }
}

/// What is mostly nothing and now and then much: Cauchy's cost, ln(1 + r^2).
void add_rare(int index, double value, double scale, NormalEquations& out) {
  const double r = value / scale, weight = 2 / (1 + r * r) / (scale * scale);
  out.cost += std::log1p(r * r);
  out.gradient[index] += weight * value;
  out.hessian(index, index) += weight;
}

/// A card's end lies on the panel or curls up; it cannot lie below the panel.
void add_lift_prior(const PanelPriors& priors, const PanelVector& p, NormalEquations& out) {
  for (int i = p_lift; i < p_lift + 2; ++i)
    if (p[i] < 0)
      out.add_prior(i, p[i], 0, priors.lift_below_mm);
    else
      add_rare(i, p[i], priors.lift_mm, out);
}

/// What is said of a focal length is mostly right within its rounding, and now and then far off: Student's t
/// with 3 degrees of freedom, scaled to be as wide as the Gaussian in its core; cost 2 ln(1 + r^2 / 4).
void add_focal_prior(const PanelPriors& priors, const PanelVector& p, NormalEquations& out) {
  const double r = p[p_log_focal] / priors.log_focal;
  const double weight = 4 / (4 + r * r) / (priors.log_focal * priors.log_focal);
  out.cost += 2 * std::log1p(r * r / 4);
  out.gradient[p_log_focal] += weight * p[p_log_focal];
  out.hessian(p_log_focal, p_log_focal) += weight;
}

void add_fold_prior(const PanelPriors& priors, const PanelVector& p, int at, NormalEquations& out) {
  out.add_prior(at, p[at], 0, priors.fold_turn);
  out.add_prior(at + 1, p[at + 1], 0, priors.fold_place_mm);
  out.add_prior(at + 3, p[at + 3], std::log(priors.fold_width_mm), priors.fold_log_width);
  out.add_prior(at + 4, p[at + 4], 0, priors.fold_bend_per_mm);
}

void add_priors(const BundleProblem& problem, const PanelVector& p, NormalEquations& out) {
  const PanelPriors& priors = problem.priors;
  for (int line = 0; line < problem.constants.folds; ++line) add_fold_prior(priors, p, fold_at(line), out);
  const auto add = [&](int index, double sigma, double expected = 0) {
    out.add_prior(index, p[index], expected, sigma);
  };
  add(p_k1, priors.k1, priors.expected_k1);
  add(p_k2, priors.k2, priors.expected_k2);
  add_focal_prior(priors, p, out);
  add(p_centre, priors.centre_px);
  add(p_centre + 1, priors.centre_px);
  add(p_crown, priors.crown_per_mm);
  add(p_crown + 1, priors.crown_per_mm);
  add(p_crown + 2, priors.crown_xy_per_mm);
  add(p_ink, priors.ink_mm);
  add_lift_prior(priors, p, out);
  add(p_lift_from, priors.lift_from);
  add(p_lift_from + 1, priors.lift_from);
  add_tilt_prior(priors, p, out);
  for (int i = p_board_bow; i < p_board_bow + 3; ++i) add_rare(i, p[i], priors.board_bow_per_mm, out);
  add(p_board_distance, priors.board_distance_mm);
}

/// Calls sum(samples, of_piece[i]) for pieces of the samples, on several threads: what is added up of the
/// pieces in their order is the same on any number.
template <class Sums, class Sum>
std::vector<Sums> in_pieces(const std::vector<PhaseSample>& samples, const Sum& sum) {
  std::vector<Sums> of_piece((samples.size() + samples_a_piece - 1) / samples_a_piece);
  cv::parallel_for_(cv::Range(0, static_cast<int>(of_piece.size())), [&](const cv::Range& pieces) {
    for (auto i = static_cast<std::size_t>(pieces.start); i < static_cast<std::size_t>(pieces.end); ++i) {
      const auto rest = std::span(samples).subspan(i * samples_a_piece);
      sum(rest.first(std::min(samples_a_piece, rest.size())), of_piece[i]);
    }
  });
  return of_piece;
}

/// What the stripes say. Summed by the quantities of PixelPhase, whose derivatives by the parameters all
/// samples share.
template <int N>
ResidualSums<N> phase_errors(const BundleProblem& problem, const BundleNoise& noise,
                             const PixelPhase<N>& phase) {
  constexpr int quantities = PixelPhase<N>::quantities;
  struct Sums {
    double cost = 0;
    Eigen::Matrix<double, quantities, 1> gradient = Eigen::Matrix<double, quantities, 1>::Zero();
    Eigen::Matrix<double, quantities, quantities> information =
        Eigen::Matrix<double, quantities, quantities>::Zero();
  };
  const double importance = phase_importance(problem, noise);
  Sums all;
  for (const Sums& some :
       in_pieces<Sums>(problem.samples, [&](std::span<const PhaseSample> samples, Sums&sums) {
         Eigen::Matrix<double, quantities, Eigen::Dynamic, 0, quantities, samples_a_piece> by(quantities,
                                                                                              samples.size());
         typename PixelPhase<N>::ByQuantity by_quantity;
         for (std::size_t i = 0; i < samples.size(); ++i) {
           const double phase_cycles = phase.at(samples[i].u_px, samples[i].v_px, by_quantity);
           const double r = (phase_cycles - samples[i].phase_cycles) / noise.phase_cycles;
           const double root = std::sqrt(importance * cauchy_weight(r)) / noise.phase_cycles;
           by.col(static_cast<Eigen::Index>(i)) = root * by_quantity;
           sums.gradient += (root * root * noise.phase_cycles * r) * by_quantity;
           sums.cost += importance * cauchy_cost(r);
         }
         sums.information.template selfadjointView<Eigen::Lower>().rankUpdate(by);
       }))
    all.cost += some.cost, all.gradient += some.gradient, all.information += some.information;
  ResidualSums<N> sums;
  sums.cost = all.cost;
  sums.gradient = phase.by_parameter() * all.gradient;
  const Eigen::Matrix<double, N, quantities> half =
      phase.by_parameter() * all.information.template selfadjointView<Eigen::Lower>();
  sums.hessian.noalias() = half * phase.by_parameter().transpose();
  return sums;
}

/// Adds what the stripes and the board's corners say. `plain` is the same model in numbers; `camera` says
/// which point a pixel shows, `board` what is mirrored there: the camera's numbers may be plain ones where
/// only the board moves.
template <class C, int N>
void add_board_errors(const BundleProblem& problem, const BundleNoise& noise, const PanelModel<double>& plain,
                      const PanelModel<C>& camera, const PanelModel<Dual<N>>& board, ResidualSums<N>& sums) {
  sums += phase_errors(problem, noise, PixelPhase<N>(board, plain));
  for_each_board_error(problem, camera, board, [&](const BoardCorner& corner, const Dual<N>& error) {
    sums.add(error, noise.board_corner_factor * corner.uncertainty_mm);
  });
}

/// Cost and derivatives of everything, by all parameters.
void full_equations(const BundleProblem& problem, const BundleNoise& noise, const PanelVector& p,
                    NormalEquations& out) {
  const PanelModel<PanelDual> model(problem.constants, p);
  ResidualSums<panel_parameters> sums;
  for_each_corner_error(problem, model, [&](const PanelDual& error) { sums.add(error, noise.corner_px); });
  add_board_errors(problem, noise, PanelModel<double>(problem.constants, p), model, model, sums);
  sums.add_to(out, 0);
  add_priors(problem, p, out);
}

/// The same with derivatives by the board's parameters alone: what pixels show of the panel stays as it is.
void board_equations(const BundleProblem& problem, const BundleNoise& noise, const PanelVector& p,
                     NormalEquations& out) {
  const PanelModel<double> camera(problem.constants, p);
  for_each_corner_error(problem, camera,
                        [&](double error) { out.cost += cauchy_cost(error / noise.corner_px); });
  ResidualSums<board_parameters> sums;
  add_board_errors(problem, noise, camera, camera, PanelModel<BoardDual>(problem.constants, p), sums);
  sums.add_to(out, p_board_tilt);
  add_priors(problem, p, out);
}

/// The cost alone, in half the time.
double full_cost(const BundleProblem& problem, const BundleNoise& noise, const PanelVector& p) {
  const PanelModel<double> model(problem.constants, p);
  NormalEquations priors(panel_parameters);
  add_priors(problem, p, priors);
  double cost = priors.cost;
  for_each_corner_error(problem, model, [&](double error) { cost += cauchy_cost(error / noise.corner_px); });
  const double importance = phase_importance(problem, noise);
  for (const double some :
       in_pieces<double>(problem.samples, [&](std::span<const PhaseSample> samples, double&sum) {
         for (const PhaseSample& sample : samples)
           sum += cauchy_cost(phase_error(model, sample) / noise.phase_cycles);
       }))
    cost += importance * some;
  for_each_board_error(problem, model, model, [&](const BoardCorner& corner, double error) {
    cost += cauchy_cost(error / (noise.board_corner_factor * corner.uncertainty_mm));
  });
  return cost;
}

std::vector<int> free_parameters(const BundleProblem& problem, BundleFreedom freedom) {
  std::vector<int> free;
  if (freedom == BundleFreedom::everything)
    for (int i = 0; i < p_board_tilt; ++i)
      if (i < fold_at(problem.constants.folds) || i >= p_ink) free.push_back(i);
  const bool tags_seen = !problem.board_corners.empty();
  if (tags_seen || !problem.samples.empty())
    for (int i = p_board_tilt; i <= p_board_distance; ++i)
      if (i != p_board_phase || !problem.samples.empty()) free.push_back(i);
  if (freedom == BundleFreedom::everything && !free.empty() && free.back() >= p_board_tilt)
    for (int i = p_board_bow; i < p_board_bow + 3; ++i) free.push_back(i);
  if (tags_seen)
    for (int i = p_board_shift; i < panel_parameters; ++i) free.push_back(i);
  return free;
}

/// Root mean square of the corners' distance from where they are seen: two coordinates a corner.
double corner_rms_px(const BundleProblem& problem, const PanelVector& p) {
  double sum = 0;
  int count = 0;
  for_each_corner_error(problem, PanelModel<double>(problem.constants, p), [&](double error) {
    sum += error * error;
    ++count;
  });
  return count > 0 ? std::sqrt(2 * sum / count) : 0;
}

}  // namespace

BundleResult describe(const BundleProblem& problem, const BundleNoise& noise, const PanelVector& p) {
  BundleResult result;
  result.parameters = p;
  result.tag_rms_px = corner_rms_px(problem, p);
  double sum = 0;
  int count = 0;
  const PanelModel<double> model(problem.constants, p);
  for_each_board_error(problem, model, model, [&](const BoardCorner& corner, double error) {
    sum += std::pow(error / corner.uncertainty_mm, 2);
    ++count;
  });
  result.board_rms = count > 0 ? std::sqrt(sum / count) : 0;
  if (!problem.samples.empty()) {
    std::vector<double> errors;
    for (const PhaseSample& sample : problem.samples) errors.push_back(std::abs(phase_error(model, sample)));
    result.phase_mad_cycles = 1.4826 * median_of(errors);
  }
  // Parameters that nothing speaks of (the board's, before there are stripes or tags) get no variance.
  const NormalEquations at = bundle_equations(problem, p, noise);
  result.cost = at.cost;
  result.covariance = at.hessian.ldlt().solve(Eigen::MatrixXd::Identity(panel_parameters, panel_parameters));
  return result;
}

PanelVector settle_bundle(const BundleProblem& problem, const PanelVector& start, BundleFreedom freedom,
                          const BundleNoise& noise, int most_iterations) {
  const std::vector<int> free = free_parameters(problem, freedom);
  const int n = static_cast<int>(free.size());
  Eigen::VectorXd x(n);
  for (int i = 0; i < n; ++i) x[i] = start[free[static_cast<std::size_t>(i)]];
  const auto expand = [&](const Eigen::VectorXd& v) {
    PanelVector p = start;
    for (int i = 0; i < n; ++i) p[free[static_cast<std::size_t>(i)]] = v[i];
    return p;
  };
  NormalEquations all(panel_parameters);
  const auto equations = [&](const Eigen::VectorXd& v, bool with_derivatives, NormalEquations& out) {
    if (!with_derivatives) {
      out.cost = full_cost(problem, noise, expand(v));
      return;
    }
    all.reset(panel_parameters);
    (freedom == BundleFreedom::everything ? full_equations : board_equations)(problem, noise, expand(v), all);
    out.cost = all.cost;
    for (int i = 0; i < n; ++i) {
      out.gradient[i] = all.gradient[free[static_cast<std::size_t>(i)]];
      for (int j = 0; j < n; ++j)
        out.hessian(i, j) = all.hessian(free[static_cast<std::size_t>(i)], free[static_cast<std::size_t>(j)]);
    }
  };
  minimise(equations, x, {.max_iterations = most_iterations, .relative_cost_tolerance = 1e-5});
  return expand(x);
}

NormalEquations bundle_equations(const BundleProblem& problem, const PanelVector& parameters,
                                 const BundleNoise& noise) {
  NormalEquations at(panel_parameters);
  full_equations(problem, noise, parameters, at);
  for (int i = 0; i < panel_parameters; ++i)
    if (at.hessian(i, i) == 0) at.hessian(i, i) = 1e30;  // not free
  return at;
}

FoldTerms fold_terms(const BundleProblem& problem, const PanelVector& flat, const PanelVector& folded,
                     const BundleNoise& noise) {
  PanelConstants constants = problem.constants;
  const int line = constants.folds++;
  const PanelModel<double> without(problem.constants, flat), with(constants, folded);
  const PixelPhase<panel_parameters> phase(PanelModel<PanelDual>(problem.constants, flat), without);
  const double importance = phase_importance(problem, noise), turn = folded[fold_at(line)];
  const PlacedFold<double>& fold = with.surface().folds().back();
  FoldTerms terms;
  using ByQuantity = PixelPhase<panel_parameters>::ByQuantity;
  ByQuantity by;
  Eigen::Matrix<double, ByQuantity::RowsAtCompileTime, 2> sum = decltype(sum)::Zero();
  for (const PhaseSample& s : problem.samples) {
    const double cycles = phase.at(s.u_px, s.v_px, by);
    const auto point = with.panel_from_pixel(s.u_px, s.v_px);
    const double by_turn = (with.phase(point.x_mm, point.y_mm, 0, 0) - cycles) / turn;
    const Eigen::Vector2d by_fold(by_turn, fold.across_mm(point.x_mm, point.y_mm) > 0 ? 1 : 0);
    const double r = (cycles - s.phase_cycles) / noise.phase_cycles;
    const double weight = importance * cauchy_weight(r) / (noise.phase_cycles * noise.phase_cycles);
    terms.gradient += (weight * (cycles - s.phase_cycles)) * by_fold;
    terms.information += weight * by_fold * by_fold.transpose();
    sum += by * (weight * by_fold).transpose();
  }
  terms.with_others = phase.by_parameter() * sum;
  return terms;
}

PanelVector with_card_ends_free(const BundleProblem& problem, const PanelVector& flat, BundleNoise noise) {
  // Corners of flat cards scatter by less: what is said of them elsewhere allows for paper that is not quite
  // flat, which is what is looked at here.
  noise.corner_px = 0.08;
  if (corner_rms_px(problem, flat) < std::numbers::sqrt2 * noise.corner_px) return flat;
  PanelVector best = settle_bundle(problem, flat, BundleFreedom::everything, noise);
  double best_cost = full_cost(problem, noise, best);
  constexpr bool lifted[][2] = {{true, false}, {false, true}, {true, true}};
  for (const auto& ends : lifted) {
    PanelVector p = flat;
    constexpr double usual_mm = 1;
    for (int arm = 0; arm < 2; ++arm)
      if (ends[arm]) p[p_lift + arm] = usual_mm, p[p_crown + arm] = 0;
    p = settle_bundle(problem, p, BundleFreedom::everything, noise);
    const double cost = full_cost(problem, noise, p);
    if (cost < best_cost) best = p, best_cost = cost;
  }
  return best;
}

BundleResult fit_bundle(const BundleProblem& problem, const PanelVector& start, BundleFreedom freedom,
                        const BundleNoise& noise) {
  return describe(problem, noise, settle_bundle(problem, start, freedom, noise));
}

}  // namespace ripplegauge
