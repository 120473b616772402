// The free surface's fit: Gauss-Newton over control heights and drifts, the light eliminated pixel by pixel,
// the weight of the bending energy from the evidence.
#include "relief/surface_fit.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <map>
#include <numeric>

#include "core/gram.hpp"
#include "core/least_squares.hpp"
#include "core/parallel_for.hpp"
#include "core/quantile.hpp"
#include "spline_basis.hpp"
#include "spline_kernel.hpp"

namespace ripplegauge {
namespace {

constexpr double robust_scale = 3;
constexpr double drift_sigma_cycles = 0.02;
constexpr int drift_terms = 3;

/// Weight of the scaled bending energy that leaves room for odd shapes: a rim of a seventh of the depth or a
/// kidney's bend has an energy of some 20, so it costs no more than the evidence that a handful of stripe
/// edges give. Ten times this weight holds shapes under coarse stripes to the family, a third of it lets
/// noise draw the contour.
constexpr double prior_with_room = 10, strongest_prior = 1e8;

/// Everything of the fit that depends on the current departure.
struct SurfaceState {
  ReliefAtPixels relief;
  LightFit light;
  double cost = 0;
};

/// Pixels in the order of the surface's cells, since those of a cell share their control points.
class SurfaceProblem {
 public:
  SurfaceProblem(const Patch& patch, const SurfaceRequest& request, const SplineSurface& surface)
      : surface_(surface),
        options_{request.highlight,
                 std::max(0.6 * std::abs(request.height_mm) / request.mean_radius_mm, 1e-4), robust_scale} {
    std::vector<SplineSurface::Place> places;
    for (std::size_t i = 0; i < patch.size(); ++i) {
      const double z = patch.base_z[i];
      places.push_back(surface.place(patch.pixel[i].shifted_x(z), patch.pixel[i].shifted_y(z)));
    }
    order_ = all_pixels(patch);
    const auto cell_of = [&](int i) { return places[static_cast<std::size_t>(i)].cell; };
    std::stable_sort(order_.begin(), order_.end(), [&](int a, int b) { return cell_of(a) < cell_of(b); });
    pixels_ = gather(patch, order_);
    set_basis(places);
    for (std::size_t from = 0; from < order_.size();) {
      std::size_t to = from;
      while (to < order_.size() && cell_of(order_[to]) == cell_of(order_[from])) ++to;
      cells_.push_back({cell_of(order_[from]), from, to - from, surface.controls(cell_of(order_[from]))});
      if (cell_of(order_[from]) == SplineSurface::nowhere) cells_.back().control.fill(SplineSurface::nowhere);
      from = to;
    }
    const double energy_scale = request.mean_radius_mm / request.height_mm;
    prior_ = surface.bending(cost_of_bend(request)) * (energy_scale * energy_scale);
  }

  const PixelArrays& pixels() const { return pixels_; }
  const Eigen::MatrixXd& prior() const { return prior_; }

  SurfaceState state(const Eigen::VectorXd& c, const Eigen::Vector3d& drift) const {
    SurfaceState s;
    s.relief = pixels_.base;
    for (const Cell& cell : cells_) {
      float controls[16];
      for (std::size_t k = 0; k < 16; ++k)
        controls[k] = cell.control[k] >= 0 ? static_cast<float>(c[cell.control[k]]) : 0.0F;
      ReliefAtPixels& r = s.relief;
      const std::size_t at = cell.from;
      kernel::add_surface(places(cell), controls,
                          {&r.z[at], &r.slope_x[at], &r.slope_y[at], &r.xx[at], &r.xy[at], &r.yy[at]});
    }
    predict_phase(pixels_, s.relief, drift, s.light);
    solve_light(pixels_, s.relief, options_, s.light);
    return s;
  }

  /// Normal equations by departure and drift, light eliminated. Rows m ... m+2 are the drift.
  void equations(const SurfaceState& s, double variance, Eigen::MatrixXd& h, Eigen::VectorXd& g) const {
    const int m = surface_.size(), outer = m + drift_terms, terms = light_terms(options_),
              residual = outer + terms;
    const Columns columns(*this, s, variance);
    // All unknowns, the light's too, and the residual as one more: scattered from each cell's own products.
    Eigen::MatrixXd all = Eigen::MatrixXd::Zero(residual + 1, residual + 1);
    constexpr int most = controls_a_cell + drift_terms + LightModel::max_terms + 1;
    std::array<double, most * most> gram;
    for (const Cell& cell : cells_) {
      std::array<const float*, most> column;
      std::array<int, most> index;
      int count = 0;
      const auto add = [&](const float* values, int at) {
        column[static_cast<std::size_t>(count)] = values + cell.from;
        index[static_cast<std::size_t>(count++)] = at;
      };
      for (std::size_t k = 0; k < controls_a_cell; ++k)
        if (cell.control[k] >= 0) add(columns.control[k].data(), cell.control[k]);
      add(columns.rows.by_phase.data(), m), add(columns.drift_x.data(), m + 1),
          add(columns.drift_y.data(), m + 2);
      for (int t = 0; t < terms; ++t) add(columns.light[static_cast<std::size_t>(t)], outer + t);
      add(columns.rows.residual.data(), residual);
      gram_of_columns(column.data(), count, 0, columns.rows.weight.data() + cell.from, cell.count,
                      gram.data());
      for (int a = 0; a < count; ++a)
        for (int b = 0; b <= a; ++b) {
          const auto [low, high] =
              std::minmax(index[static_cast<std::size_t>(a)], index[static_cast<std::size_t>(b)]);
          all(high, low) += gram[static_cast<std::size_t>(a) * count + b];
        }
    }
    for (int t = 0; t < terms; ++t)
      all(outer + t, outer + t) += std::max(light_ridge(t), 1e-9) * columns.rows.weight_sum;
    const Eigen::MatrixXd light = all.block(outer, outer, terms, terms).selfadjointView<Eigen::Lower>();
    const Eigen::MatrixXd cross = all.block(outer, 0, terms, outer);
    h = all.topLeftCorner(outer, outer).selfadjointView<Eigen::Lower>();
    h -= cross.transpose() * light.ldlt().solve(cross);
    g = -all.row(residual).head(outer);
  }

  /// Whitened residuals in the order of the patch.
  std::vector<float> residuals(const SurfaceState& s) const {
    std::vector<float> out(order_.size());
    for (std::size_t k = 0; k < order_.size(); ++k)
      out[static_cast<std::size_t>(order_[k])] = s.light.residual[k];
    return out;
  }

 private:
  static constexpr std::size_t controls_a_cell = 16;

  /// What a departure's bending costs in each cell: more where a spot of the family is hardly bent. Its foot
  /// would else be as free as its middle, and the contour with it.
  std::function<double(int)> cost_of_bend(const SurfaceRequest& request) const {
    if (request.odd_shape) return [](int) { return 1.0; };
    static constexpr double least = 0.05;  // of the spot's own mean square bend
    std::map<int, double> square;
    double sum = 0, inside = 0;
    for (const Cell& cell : cells_) {
      double of_cell = 0;
      for (std::size_t i = cell.from; i < cell.from + cell.count; ++i) {
        const ReliefAtPixels& b = pixels_.base;
        const double bend = b.xx[i] * b.xx[i] + 2 * b.xy[i] * b.xy[i] + b.yy[i] * b.yy[i];
        of_cell += bend;
        const double x = pixels_.geometry->x_mm[i] - request.extent.x_mm,
                     y = pixels_.geometry->y_mm[i] - request.extent.y_mm;
        if (x * x + y * y < request.mean_radius_mm * request.mean_radius_mm) sum += bend, ++inside;
      }
      square[cell.index] = of_cell / static_cast<double>(cell.count);
    }
    return [square = std::move(square), mean = sum / std::max(inside, 1.0)](int cell) {
      const auto at = square.find(cell);
      return 1 / std::clamp(at == square.end() ? 0 : at->second / mean, least, 1.0);
    };
  }

  struct Cell {
    int index;
    std::size_t from, count;
    std::array<int, controls_a_cell> control;
  };

  /// Columns of the Jacobian, for all pixels.
  struct Columns {
    LightRows rows;
    std::array<std::vector<float>, controls_a_cell> control;
    std::vector<float> drift_x, drift_y;
    std::array<const float*, LightModel::max_terms> light;

    Columns(const SurfaceProblem& problem, const SurfaceState& s, double variance)
        : light(light_columns(problem.pixels_, s.light)) {
      const PixelArrays& pixels = problem.pixels_;
      light_rows(pixels, s.light, robust_scale, 1 / variance, rows);
      float* of_control[controls_a_cell];
      for (std::size_t k = 0; k < controls_a_cell; ++k)
        control[k].resize(pixels.size()), of_control[k] = control[k].data();
      kernel::surface_rows(problem.places({0, 0, pixels.size(), {}}), rows.by_slope_x.data(),
                           rows.by_slope_y.data(), of_control);
      drift_x.resize(pixels.size()), drift_y.resize(pixels.size());
      for (std::size_t i = 0; i < pixels.size(); ++i)
        drift_x[i] = rows.by_phase[i] * pixels.geometry->level[1][i],
        drift_y[i] = rows.by_phase[i] * pixels.geometry->level[2][i];
    }
  };

  void set_basis(const std::vector<SplineSurface::Place>& places) {
    for (auto* direction : {&along_x_, &along_y_})
      for (auto& derivative : *direction)
        for (auto& function : derivative) function.resize(order_.size());
    const double inverse = 1 / surface_.spacing_mm();
    for (std::size_t i = 0; i < order_.size(); ++i) {
      const SplineSurface::Place& p = places[static_cast<std::size_t>(order_[i])];
      const auto set = [&](auto& direction, double t) {
        const std::array<Four, 3> at{basis(t), basis_first(t), basis_second(t)};
        const std::array<double, 3> scale{1, inverse, inverse * inverse};
        for (std::size_t d = 0; d < 3; ++d)
          for (std::size_t k = 0; k < 4; ++k) direction[d][k][i] = static_cast<float>(scale[d] * at[d][k]);
      };
      set(along_x_, p.u);
      set(along_y_, p.v);
    }
  }

  kernel::SplinePlaces places(const Cell& cell) const {
    kernel::SplinePlaces out{cell.count, {}, {}};
    for (std::size_t d = 0; d < 3; ++d)
      for (std::size_t k = 0; k < 4; ++k) {
        out.x[d][k] = along_x_[d][k].data() + cell.from;
        out.y[d][k] = along_y_[d][k].data() + cell.from;
      }
    return out;
  }

  const SplineSurface& surface_;
  LightFitOptions options_;
  std::vector<int> order_;  ///< pixels of the patch, cell after cell
  PixelArrays pixels_;      ///< in that order
  std::vector<Cell> cells_;
  std::array<std::array<std::vector<float>, 4>, 3> along_x_,
      along_y_;  ///< basis functions: by derivative, function, pixel
  Eigen::MatrixXd prior_;
};

}  // namespace

double score_inflation(const PixelArrays& pixels, const LightFit& light, double block_mm, double x_mm,
                       double y_mm, double from_mm, double to_mm) {
  struct Sum {
    double score = 0, information = 0;
  };
  const PixelGeometry& g = *pixels.geometry;
  const auto block_of = [block_mm](float mm) { return static_cast<int>(std::floor(mm / block_mm)); };
  const auto [left, right] = std::minmax_element(g.x_mm.begin(), g.x_mm.end());
  const auto [bottom, top] = std::minmax_element(g.y_mm.begin(), g.y_mm.end());
  const int first_column = block_of(*left), first_row = block_of(*bottom),
            rows = block_of(*top) - first_row + 1;
  std::vector<Sum> blocks(static_cast<std::size_t>(block_of(*right) - first_column + 1) *
                          static_cast<std::size_t>(rows));
  for (std::size_t i = 0; i < pixels.size(); ++i) {
    const double dx = g.x_mm[i] - x_mm, dy = g.y_mm[i] - y_mm, square = dx * dx + dy * dy;
    if (square < from_mm * from_mm || square > to_mm * to_mm) continue;
    const double j =
        light.coefficients[6] * light.profile_slope[i] * pixels.whitening[i] / pixels.patch->contrast;
    const double r = light.residual[i];
    Sum& sum = blocks[static_cast<std::size_t>((block_of(g.x_mm[i]) - first_column) * rows +
                                               block_of(g.y_mm[i]) - first_row)];
    sum.score += j * r * pseudo_huber_weight(r, robust_scale);
    sum.information += j * j;
  }
  std::vector<double> information, ratio;
  for (const Sum& sum : blocks)
    if (sum.information > 0) information.push_back(sum.information);
  if (information.size() < 8) return 1;
  const double typical = median_of(information);
  for (const Sum& sum : blocks)
    if (sum.information > 0.2 * typical) ratio.push_back(sum.score * sum.score / sum.information);
  if (ratio.size() < 6) return 1;
  constexpr double chi_square_1_median = 0.455;
  return std::max(1.0, median_of(ratio) / chi_square_1_median);
}

namespace {

/// trace(A^-1 P) where A = L L', by columns of A^-1 from the diagonal down: those need no more of L than its
/// lower right corner.
double trace_of_inverse_times(const Eigen::MatrixXd& l, const Eigen::MatrixXd& p, int threads) {
  constexpr Eigen::Index width = 32;
  const Eigen::Index n = l.rows(), m = p.rows();
  std::vector<double> part(static_cast<std::size_t>((m + width - 1) / width));
  parallel_for(part.size(), threads, [&](std::size_t block) {
    const Eigen::Index from = static_cast<Eigen::Index>(block) * width, columns = std::min(width, m - from),
                       rows = n - from;
    const auto corner = l.bottomRightCorner(rows, rows);
    Eigen::MatrixXd inverse = Eigen::MatrixXd::Identity(rows, columns);
    corner.triangularView<Eigen::Lower>().solveInPlace(inverse);
    corner.transpose().triangularView<Eigen::Upper>().solveInPlace(inverse);
    const Eigen::MatrixXd products =
        inverse.topRows(m - from).cwiseProduct(p.block(from, from, m - from, columns));
    part[block] = products.topRows(columns).sum() + 2 * products.bottomRows(m - from - columns).sum();
  });
  return std::accumulate(part.begin(), part.end(), 0.0);
}

}  // namespace

Eigen::VectorXd SurfaceFit::draw(const Eigen::VectorXd& normal) const {
  return departure +
         precision_root.transpose().triangularView<Eigen::Upper>().solve(normal).head(departure.size());
}

namespace {

/// A patch's part in the fit.
struct SurfacePart {
  SurfaceProblem problem;
  SurfaceState state;
  double block_mm, quiet_inflation, inflation;
};

/// One surface and the drifts of all patches: control heights, then three terms a patch.
class JointSurface {
 public:
  JointSurface(std::span<const Patch> patches, const SurfaceRequest& request, const SplineSurface& surface)
      : request_(request), m_(surface.size()) {
    parts_.reserve(patches.size());
    for (const Patch& patch : patches) {
      SurfaceProblem problem(patch, request, surface);
      SurfaceState state = problem.state(Eigen::VectorXd::Zero(m_), Eigen::Vector3d::Zero());
      const double block_mm = std::max({0.8, 0.25 * request.mean_radius_mm, patch.peel_cell_mm});
      parts_.push_back({std::move(problem), std::move(state), block_mm, 1, 1});
      // At first all misfit inside is taken for shape, what is left of it later for noise. Pixels are never
      // better than what blur and JPEG make of them, nor than they are around the spot.
      SurfacePart& part = parts_.back();
      part.quiet_inflation =
          std::max(inflation_of(part, far_out, everywhere), 1 / patch.effective_pixel_share);
      part.inflation = part.quiet_inflation;
    }
    unknowns_ = Eigen::VectorXd::Zero(m_ + drift_terms * static_cast<Eigen::Index>(parts_.size()));
  }

  const Eigen::MatrixXd& prior() const { return parts_.front().problem.prior(); }
  Eigen::VectorXd departure() const { return unknowns_.head(m_); }
  const Eigen::VectorXd& unknowns() const { return unknowns_; }

  void tell_noise_inside() {
    for (SurfacePart& part : parts_)
      part.inflation = std::max(part.quiet_inflation, inflation_of(part, 0, far_out));
  }

  double cost(double lambda) const { return cost_of(states(), unknowns_, lambda); }

  /// Takes the step if it gains, and says how much.
  double try_step(const Eigen::VectorXd& step, double lambda) {
    const Eigen::VectorXd next = unknowns_ + step;
    std::vector<SurfaceState> there;
    for (std::size_t i = 0; i < parts_.size(); ++i)
      there.push_back(parts_[i].problem.state(next.head(m_), drift_in(next, i)));
    std::vector<const SurfaceState*> pointers;
    for (const SurfaceState& s : there) pointers.push_back(&s);
    const double gain = cost(lambda) - cost_of(pointers, next, lambda);
    if (!(gain > 0)) return 0;
    unknowns_ = next;
    for (std::size_t i = 0; i < parts_.size(); ++i) parts_[i].state = std::move(there[i]);
    return gain;
  }

  /// Of the pixels alone.
  void equations(Eigen::MatrixXd& h, Eigen::VectorXd& g) const {
    h = Eigen::MatrixXd::Zero(unknowns_.size(), unknowns_.size());
    g = Eigen::VectorXd::Zero(unknowns_.size());
    for (std::size_t i = 0; i < parts_.size(); ++i) {
      Eigen::MatrixXd own_h;
      Eigen::VectorXd own_g;
      parts_[i].problem.equations(parts_[i].state, variance(parts_[i]), own_h, own_g);
      const Eigen::Index at = m_ + drift_terms * static_cast<Eigen::Index>(i);
      h.topLeftCorner(m_, m_) += own_h.topLeftCorner(m_, m_);
      h.block(at, 0, drift_terms, m_) = own_h.bottomLeftCorner(drift_terms, m_);
      h.block(0, at, m_, drift_terms) = own_h.topRightCorner(m_, drift_terms);
      h.block(at, at, drift_terms, drift_terms) = own_h.bottomRightCorner(drift_terms, drift_terms);
      g.head(m_) += own_g.head(m_);
      g.segment(at, drift_terms) = own_g.tail(drift_terms);
    }
  }

  /// With what is known of bends and drifts.
  Eigen::MatrixXd full_matrix(const Eigen::MatrixXd& h, double lambda) const {
    Eigen::MatrixXd a = h;
    a.topLeftCorner(m_, m_) += lambda * prior();
    for (Eigen::Index k = m_; k < a.rows(); ++k) a(k, k) += drift_weight;
    return a;
  }
  Eigen::VectorXd full_gradient(const Eigen::VectorXd& g, double lambda) const {
    Eigen::VectorXd full = g;
    full.head(m_) += lambda * prior() * unknowns_.head(m_);
    full.tail(full.size() - m_) += drift_weight * unknowns_.tail(full.size() - m_);
    return full;
  }

  std::vector<std::vector<float>> residuals() const {
    std::vector<std::vector<float>> all;
    for (const SurfacePart& part : parts_) all.push_back(part.problem.residuals(part.state));
    return all;
  }

 private:
  static constexpr double far_out = 1.7, everywhere = 1e3;
  static constexpr double drift_weight = 1 / (drift_sigma_cycles * drift_sigma_cycles);

  double inflation_of(const SurfacePart& part, double from, double to) const {
    return score_inflation(part.problem.pixels(), part.state.light, part.block_mm, request_.extent.x_mm,
                           request_.extent.y_mm, from * request_.mean_radius_mm,
                           to * request_.mean_radius_mm);
  }
  double variance(const SurfacePart& part) const { return request_.counted_twice * part.inflation; }
  Eigen::Vector3d drift_in(const Eigen::VectorXd& x, std::size_t part) const {
    return x.segment<drift_terms>(m_ + drift_terms * static_cast<Eigen::Index>(part));
  }
  std::vector<const SurfaceState*> states() const {
    std::vector<const SurfaceState*> all;
    for (const SurfacePart& part : parts_) all.push_back(&part.state);
    return all;
  }
  double cost_of(const std::vector<const SurfaceState*>& states, const Eigen::VectorXd& x,
                 double lambda) const {
    double cost = 0.5 * lambda * x.head(m_).dot(prior() * x.head(m_)) +
                  0.5 * drift_weight * x.tail(x.size() - m_).squaredNorm();
    for (std::size_t i = 0; i < parts_.size(); ++i) cost += states[i]->light.cost / variance(parts_[i]);
    return cost;
  }

  const SurfaceRequest& request_;
  const Eigen::Index m_;
  std::vector<SurfacePart> parts_;
  Eigen::VectorXd unknowns_;
};

}  // namespace

SurfaceFit fit_surface(std::span<const Patch> patches, const SurfaceRequest& request) {
  SurfaceFit fit{SplineSurface(request.extent, request.spacing_mm), {}, {}, 0, {}, false};
  const int m = fit.surface.size();
  constexpr std::size_t fewest_pixels = 400;
  if (m < 9 || patches.empty() || patches.front().size() < fewest_pixels) return fit;
  JointSurface joint(patches, request, fit.surface);
  double lambda = 1e4, damping = 0;
  Eigen::MatrixXd h;
  Eigen::VectorXd g;
  if (!request.departs) {
    joint.tell_noise_inside();
    joint.equations(h, g);
  }
  for (int iteration = 0; request.departs && iteration < request.iterations; ++iteration) {
    joint.equations(h, g);
    const Eigen::VectorXd gradient = joint.full_gradient(g, lambda);
    Eigen::MatrixXd a = joint.full_matrix(h, lambda);
    a.diagonal().array() += 1e-10 * a.diagonal().maxCoeff();
    const Eigen::LLT<Eigen::MatrixXd> factor(a);
    double gained = 0;
    for (int attempt = 0; attempt < 5; ++attempt) {
      Eigen::VectorXd step;
      if (damping == 0) {
        step = -factor.solve(gradient);
      } else {
        Eigen::MatrixXd damped = a;
        damped.diagonal() += damping * h.diagonal();
        step = -damped.llt().solve(gradient);
      }
      gained = joint.try_step(step, lambda);
      if (gained > 0) {
        damping = damping > 0.01 ? damping / 5 : 0;
        break;
      }
      damping = std::max(8 * damping, 0.05);
    }
    // Evidence: how many of the control heights do the data determine?
    fit.effective_parameters =
        m - lambda * trace_of_inverse_times(factor.matrixLLT(), joint.prior(), request.threads);
    const Eigen::VectorXd c = joint.departure();
    const double energy = c.dot(joint.prior() * c);
    double next_lambda = std::clamp(std::max(fit.effective_parameters, 0.5) / std::max(energy, 1e-6), 1e-2,
                                    request.odd_shape ? prior_with_room : strongest_prior);
    next_lambda = lambda * std::clamp(next_lambda / lambda, 0.125, 8.0);
    const bool settled = std::abs(std::log(next_lambda / lambda)) < 0.1 && gained < 0.5;
    if (iteration > 1) lambda = next_lambda;
    constexpr int first_guess_iterations = 3;
    if (iteration >= first_guess_iterations) joint.tell_noise_inside();
    if (settled && iteration > 2) break;
  }
  const Eigen::LLT<Eigen::MatrixXd> with_room(joint.full_matrix(h, std::min(lambda, prior_with_room)));
  fit.precision_root = with_room.matrixL();
  fit.departure = joint.departure();
  fit.residuals = joint.residuals();
  fit.solved =
      fit.departure.allFinite() && with_room.info() == Eigen::Success && fit.precision_root.allFinite();
  return fit;
}

}  // namespace ripplegauge
