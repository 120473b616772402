#include "ripplegauge/panel/bundle.hpp"

#include <algorithm>
#include <complex>
#include <map>
#include <numbers>
#include <opencv2/calib3d.hpp>
#include <opencv2/core/utility.hpp>
#include <span>

#include "pixel_phase.hpp"
#include "ripplegauge/core/least_squares.hpp"
#include "ripplegauge/core/quantile.hpp"

namespace ripplegauge {

double phase_error(const PanelModel<double>& model, const PhaseSample& sample) {
  const auto point = model.panel_from_pixel(sample.u_px, sample.v_px);
  return model.phase(point.x_mm, point.y_mm, 0, 0) - sample.phase_cycles;
}

namespace {

const CardTag* find_card_tag(const CardDefinition& card, int id) {
  for (const CardTag& tag : card.tags)
    if (tag.id == id) return &tag;
  return nullptr;
}

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

/// Calls accept(corner, predicted minus true position on the board, mm) for both coordinates of every board
/// corner.
template <class C, class T, class Accept>
void for_each_board_error(const BundleProblem& problem, const PanelModel<C>& camera,
                          const PanelModel<T>& board, const Accept& accept) {
  for (const BoardCorner& corner : problem.board_corners) {
    const auto point = camera.panel_from_pixel(corner.u_px, corner.v_px);
    const auto seen = board.board_frame_from_panel(point.x_mm, point.y_mm);
    accept(corner, seen.x_mm - corner.x_mm);
    accept(corner, seen.y_mm - corner.y_mm);
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

void add_fold_prior(const PanelPriors& priors, const PanelVector& p, NormalEquations& out) {
  out.add_prior(p_fold, p[p_fold], 0, priors.fold_turn);
  out.add_prior(p_fold + 1, p[p_fold + 1], 0, priors.fold_place_mm);
  out.add_prior(p_fold + 3, p[p_fold + 3], std::log(priors.fold_width_mm), priors.fold_log_width);
  out.add_prior(p_fold + 4, p[p_fold + 4], 0, priors.fold_bend_per_mm);
}

void add_priors(const BundleProblem& problem, const PanelVector& p, NormalEquations& out) {
  const PanelPriors& priors = problem.priors;
  if (problem.constants.folded) add_fold_prior(priors, p, out);
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
      if (problem.constants.folded || i < p_fold || i >= p_ink) free.push_back(i);
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

}  // namespace

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
  constants.folded = true;
  const PanelModel<double> without(problem.constants, flat), with(constants, folded);
  const PixelPhase<panel_parameters> phase(PanelModel<PanelDual>(problem.constants, flat), without);
  const double importance = phase_importance(problem, noise), turn = folded[p_fold];
  FoldTerms terms;
  using ByQuantity = PixelPhase<panel_parameters>::ByQuantity;
  ByQuantity by;
  Eigen::Matrix<double, ByQuantity::RowsAtCompileTime, 2> sum = decltype(sum)::Zero();
  for (const PhaseSample& s : problem.samples) {
    const double cycles = phase.at(s.u_px, s.v_px, by);
    const auto point = with.panel_from_pixel(s.u_px, s.v_px);
    const double by_turn = (with.phase(point.x_mm, point.y_mm, 0, 0) - cycles) / turn;
    const Eigen::Vector2d by_fold(by_turn, with.surface().across_mm(point.x_mm, point.y_mm) > 0 ? 1 : 0);
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

std::optional<BundleResult> start_bundle(BundleProblem& problem, const BundleNoise& noise) {
  std::vector<cv::Point3d> object;
  std::vector<cv::Point2d> image;
  for (const SeenTag& seen : problem.tags) {
    const CardTag* tag = find_card_tag(problem.card, seen.id);
    if (tag == nullptr) continue;
    const auto corners = tag_corners_mm(*tag, problem.card.tag_side_mm, problem.card_scale, 0.0);
    for (std::size_t k = 0; k < 4; ++k) {
      object.emplace_back(corners[k][0], corners[k][1], 0.0);
      image.push_back(seen.corners_px[k]);
    }
  }
  if (object.size() < 4) return std::nullopt;
  const PanelConstants& c = problem.constants;
  const cv::Matx33d k(c.nominal_focal_px, 0, c.centre_u_px, 0, c.nominal_focal_px, c.centre_v_px, 0, 0, 1);
  std::vector<cv::Mat> rotations, translations;
  cv::solvePnPGeneric(object, image, k, cv::noArray(), rotations, translations, false, cv::SOLVEPNP_IPPE);

  std::optional<BundleResult> best;
  Eigen::Matrix3d best_rotation = Eigen::Matrix3d::Identity();
  for (std::size_t i = 0; i < rotations.size(); ++i) {
    cv::Mat r;
    cv::Rodrigues(rotations[i], r);
    PanelVector start = PanelVector::Zero();
    start[p_k1] = problem.priors.expected_k1, start[p_k2] = problem.priors.expected_k2;
    for (int row = 0; row < 3; ++row) {
      for (int column = 0; column < 3; ++column)
        problem.constants.base_rotation(row, column) = r.at<double>(row, column);
      start[p_translation + row] = translations[i].at<double>(row);
    }
    // The camera looks at the printed side: its centre has z > 0 in the card frame.
    const Eigen::Vector3d t(start[3], start[4], start[5]);
    if ((-(problem.constants.base_rotation.transpose() * t)).z() <= 0) continue;
    const PanelVector flat = settle_bundle(problem, start, BundleFreedom::everything, noise);
    const BundleResult result = describe(problem, noise, with_card_ends_free(problem, flat, noise));
    if (!best || result.cost < best->cost) {
      best = result;
      best_rotation = problem.constants.base_rotation;
    }
  }
  if (best) problem.constants.base_rotation = best_rotation;
  return best;
}

namespace {

/// How the panel shows the corners with the board at the nominal distance, square to the reflected ray and
/// unturned, against where they are on the board: x + i y = factor (along + i across) + shift, by least
/// squares.
struct BoardSimilarity {
  std::complex<double> factor, shift;
};

BoardSimilarity similarity(const BundleProblem& problem, const PanelVector& parameters,
                           const std::vector<BoardCorner>& corners) {
  using Complex = std::complex<double>;
  const PanelModel<double> model(problem.constants, parameters);
  std::vector<Complex> from, to;
  Complex from_mean = 0, to_mean = 0;
  for (const BoardCorner& corner : corners) {
    const auto p = model.panel_from_pixel(corner.u_px, corner.v_px);
    const auto q = model.board_from_panel(p.x_mm, p.y_mm, 0.0, 0.0);
    from.emplace_back(q.along_mm, q.across_mm), to.emplace_back(corner.x_mm, corner.y_mm);
    from_mean += from.back(), to_mean += to.back();
  }
  from_mean /= static_cast<double>(from.size()), to_mean /= static_cast<double>(to.size());
  Complex product = 0;
  double norm = 0;
  for (std::size_t i = 0; i < from.size(); ++i) {
    product += std::conj(from[i] - from_mean) * (to[i] - to_mean);
    norm += std::norm(from[i] - from_mean);
  }
  const Complex factor = product / std::max(norm, 1e-12);
  return {factor, to_mean - factor * from_mean};
}

/// Drops tags that do not agree with the pose. Returns how many tags are left.
int drop_strays(BundleProblem& problem, const PanelVector& p) {
  const PanelModel<double> model(problem.constants, p);
  std::map<int, double> worst;  // by tag, mm, against its own size
  for_each_board_error(problem, model, model, [&](const BoardCorner& corner, double error) {
    double& w = worst[corner.tag_id];
    w = std::max(w, std::abs(error));
  });
  int left = 0;
  for (const auto& [id, error_mm] : worst) {
    const auto tag = std::find_if(problem.board_tags.begin(), problem.board_tags.end(),
                                  [&, id = id](const BoardTag& t) { return t.id == id; });
    // A chance decoding lands anywhere: whole tags away. Peel and a panel that is not quite quadratic do not.
    if (error_mm < 0.5 * tag->side_mm)
      ++left;
    else
      std::erase_if(problem.board_corners, [id = id](const BoardCorner& c) { return c.tag_id == id; });
  }
  return left;
}

}  // namespace

std::optional<PanelVector> start_board(BundleProblem& problem, const std::vector<BoardCorner>& seen,
                                       const PanelVector& start) {
  constexpr int least_tags = 2;
  if (seen.size() < 4 * least_tags) return std::nullopt;
  PanelVector p = start;
  const double nominal_mm = problem.constants.nominal_distance_mm;
  // The picture of the tags on a plane grows with its distance: bisect for the one that has their size.
  double near_mm = 20, far_mm = 5000;
  for (int i = 0; i < 30; ++i) {
    problem.constants.nominal_distance_mm = std::sqrt(near_mm * far_mm);
    (std::abs(similarity(problem, p, seen).factor) > 1 ? near_mm : far_mm) =
        problem.constants.nominal_distance_mm;
  }
  const BoardSimilarity turn = similarity(problem, p, seen);
  p[p_board_spin] = std::arg(turn.factor);
  p[p_board_shift] = turn.shift.real(), p[p_board_shift + 1] = turn.shift.imag();
  problem.board_corners = seen;
  for (const double factor : {30.0, 5.0, 1.0}) {
    p = settle_bundle(problem, p, BundleFreedom::board_only, {.board_corner_factor = factor});
    if (drop_strays(problem, p) < least_tags) {
      problem.board_corners.clear();
      problem.constants.nominal_distance_mm = nominal_mm;
      return std::nullopt;
    }
  }
  problem.constants.nominal_distance_mm += p[p_board_distance];
  p[p_board_distance] = 0;
  return settle_bundle(problem, p, BundleFreedom::everything);
}

}  // namespace ripplegauge
