// Adds up the normal equations of all photos. The spot's parameters are common; shift, drift and light are
// each photo's own.
#include "dents/joint_fit.hpp"

#include <cmath>
#include <functional>

#include "core/least_squares.hpp"
#include "core/parallel_for.hpp"
#include "spot_problem.hpp"

namespace ripplegauge {
namespace {

constexpr int drift_terms = 3, terms_a_view = frame_shifts + drift_terms;

/// Unknowns: all parameters of each spot in turn, then shift and drift of each photo.
class JointProblem {
 public:
  JointProblem(std::span<const JointView> views, std::span<const SpotVector> start,
               const JointFitRequest& request)
      : views_(views), start_(start.begin(), start.end()), request_(request), here_(views.size()) {
    for (const JointView& view : views) {
      FitRequest fit{all_parameters, true, view.highlight};
      fit.shape_priors = false;
      equations_.push_back(equations_of(*view.pixels, start, fit));
    }
  }

  Eigen::VectorXd unknowns() const {
    Eigen::VectorXd x = Eigen::VectorXd::Zero(shape_count() + terms_a_view * count(views_));
    for (std::size_t k = 0; k < start_.size(); ++k)
      x.segment<spot_parameters>(spot_parameters * static_cast<Eigen::Index>(k)) = start_[k];
    for (std::size_t v = 0; v < views_.size(); ++v) x.segment<frame_shifts>(of_view(v)) = views_[v].start;
    return x;
  }

  ParameterBounds bounds() const {
    const ParameterBounds& of_spot = spot_bounds();
    ParameterBounds all = no_bounds(shape_count() + terms_a_view * count(views_));
    for (int at = 0; at < shape_count(); at += spot_parameters) {
      all.lower.segment<spot_parameters>(at) = of_spot.lower;
      all.upper.segment<spot_parameters>(at) = of_spot.upper;
    }
    return all;
  }

  std::vector<SpotVector> spots_of(const Eigen::VectorXd& x) const {
    std::vector<SpotVector> spots;
    for (int at = 0; at < shape_count(); at += spot_parameters)
      spots.push_back(clamped(x.segment<spot_parameters>(at)));
    return spots;
  }
  FrameVector shift_of(const Eigen::VectorXd& x, std::size_t view) const {
    return x.segment<frame_shifts>(of_view(view));
  }
  Eigen::Vector3d drift_of(const Eigen::VectorXd& x, std::size_t view) const {
    return x.segment<drift_terms>(of_view(view) + frame_shifts);
  }

  void operator()(const Eigen::VectorXd& x, bool with_derivatives, NormalEquations& out) {
    const std::vector<SpotVector> spots = spots_of(x);
    parallel_for(views_.size(), request_.threads,
                 [&](std::size_t v) { equations_[v](in_view(x, spots, v), with_derivatives, here_[v]); });
    for (std::size_t v = 0; v < views_.size(); ++v) {
      const FrameVector off = shift_of(x, v) - views_[v].expected;
      const FrameVector pull = views_[v].precision * off;
      here_[v].cost += 0.5 * off.dot(pull);
      out.cost += here_[v].cost;
      out.gradient.segment<frame_shifts>(of_view(v)) += pull;
      out.hessian.block<frame_shifts, frame_shifts>(of_view(v), of_view(v)) += views_[v].precision;
      if (with_derivatives) add_view(x, v, out);
    }
    add_shape_priors(x, spots, all_parameters, out);
    if (!request_.height_fixed) return;
    for (int at = s_height; at < shape_count(); at += spot_parameters)
      out.gradient[at] = 0, out.hessian.row(at).setZero(), out.hessian.col(at).setZero();
  }

  double view_cost(std::size_t view) const { return here_[view].cost; }

 private:
  static int count(std::span<const JointView> views) { return static_cast<int>(views.size()); }
  int shape_count() const { return spot_parameters * static_cast<int>(start_.size()); }
  int of_view(std::size_t view) const { return shape_count() + terms_a_view * static_cast<int>(view); }

  /// What a photo's own equations go by: the spots as it shows them, and its drift.
  Eigen::VectorXd in_view(const Eigen::VectorXd& x, const std::vector<SpotVector>& spots,
                          std::size_t view) const {
    Eigen::VectorXd own(shape_count() + drift_terms);
    int at = 0;
    for (const SpotVector& spot : spots) {
      own.segment<spot_parameters>(at) = seen_with(shift_of(x, view), spot);
      at += spot_parameters;
    }
    own.tail<drift_terms>() = drift_of(x, view);
    return own;
  }

  /// Adds a photo's equations: its spots' parameters go by those of the dent and by its shift.
  void add_view(const Eigen::VectorXd& x, std::size_t view, NormalEquations& out) const {
    const int shapes = shape_count();
    Eigen::MatrixXd by = Eigen::MatrixXd::Zero(shapes + drift_terms, shapes + terms_a_view);
    by.topLeftCorner(shapes, shapes).setIdentity();
    by.bottomRightCorner(drift_terms, drift_terms).setIdentity();
    const double times = std::exp(shift_of(x, view)[f_log_height]);
    for (int at = 0; at < shapes; at += spot_parameters) {
      by(at + s_height, at + s_height) = times;
      by(at + s_x, shapes + f_x) = by(at + s_y, shapes + f_y) = 1;
      by(at + s_log_a, shapes + f_log_size) = by(at + s_log_b, shapes + f_log_size) = 1;
      by(at + s_height, shapes + f_log_height) = times * x[at + s_height];
    }
    const Eigen::VectorXd gradient = by.transpose() * here_[view].gradient;
    const Eigen::MatrixXd hessian = by.transpose() * here_[view].hessian * by;
    const int own = of_view(view);
    out.gradient.head(shapes) += gradient.head(shapes);
    out.gradient.segment<terms_a_view>(own) += gradient.tail<terms_a_view>();
    out.hessian.topLeftCorner(shapes, shapes) += hessian.topLeftCorner(shapes, shapes);
    out.hessian.block(0, own, shapes, terms_a_view) += hessian.topRightCorner(shapes, terms_a_view);
    out.hessian.block(own, 0, terms_a_view, shapes) += hessian.bottomLeftCorner(terms_a_view, shapes);
    out.hessian.block<terms_a_view, terms_a_view>(own, own) +=
        hessian.bottomRightCorner<terms_a_view, terms_a_view>();
  }

  std::span<const JointView> views_;
  const std::vector<SpotVector> start_;
  const JointFitRequest request_;
  std::vector<NormalEquationsFunction> equations_;
  std::vector<NormalEquations> here_;
};

}  // namespace

SpotVector seen_with(const FrameVector& shift, SpotVector spot) {
  spot[s_x] += shift[f_x], spot[s_y] += shift[f_y];
  spot[s_log_a] += shift[f_log_size], spot[s_log_b] += shift[f_log_size];
  spot[s_height] *= std::exp(shift[f_log_height]);
  return spot;
}

JointFit fit_jointly(std::span<const JointView> views, std::span<const SpotVector> start,
                     const JointFitRequest& request) {
  JointProblem problem(views, start, request);
  Eigen::VectorXd x = problem.unknowns();
  JointFit fit;
  const LeastSquaresSummary summary = minimise(std::ref(problem), x,
                                               {.max_iterations = request.iterations,
                                                .relative_cost_tolerance = request.tolerance,
                                                .initial_damping = 1e-3,
                                                .bounds = problem.bounds()},
                                               &fit.hessian);
  NormalEquations end(static_cast<int>(x.size()));
  problem(x, false, end);
  fit.spots = problem.spots_of(x);
  for (std::size_t v = 0; v < views.size(); ++v) {
    fit.shifts.push_back(problem.shift_of(x, v));
    fit.drifts.push_back(problem.drift_of(x, v));
    fit.view_costs.push_back(problem.view_cost(v));
  }
  fit.cost = summary.final_cost;
  return fit;
}

}  // namespace ripplegauge
