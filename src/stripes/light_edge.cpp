// How an edge of light is found. 1. The logarithms of the stripes' mean light and of their swing, at nodes a
// quarter of a period apart, lose what a quadratic over the whole area explains: lamps are uneven. 2. Of many
// straight lines, the one whose step explains most of what is left is the candidate. 3. Single pixels beside
// it tell its place, width, bow, factor and veil, together with light that changes slowly; burnt-out pixels
// say nothing. 4. The candidate counts if it explains what nothing slow does, all along.
#include "stripes/light_edge.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "core/least_squares.hpp"
#include "core/linear_light.hpp"
#include "core/quantile.hpp"

namespace ripplegauge {
namespace {

constexpr int quadratic_terms = 6;
using Quadratic = Eigen::Matrix<double, quadratic_terms, 1>;

Quadratic quadratic(double x, double y) {
  Quadratic q;
  q << 1, x, y, x * x, x * y, y * y;
  return q;
}

double step(double t) { return 1 / (1 + std::exp(-std::clamp(t, -30.0, 30.0))); }

// ---- The candidate, in the panel

/// Where there are stripes: place in mm, logarithms of mean light and swing as columns.
struct Nodes {
  std::vector<double> x_mm, y_mm;
  Eigen::MatrixX2d logs;
  std::size_t size() const { return x_mm.size(); }
};

/// Nodes in phase whose neighbours mostly are, too, half a period off all others: windows see stripes a third
/// of a period beyond a board's end. CV_8UC1.
cv::Mat among_stripes(const StripeLight& light) {
  constexpr double neighbours = 4;  // a period
  constexpr float mostly = 0.7F;
  constexpr int half_period = 2;
  cv::Mat seen, in_phase;
  cv::Mat(light.seen != 0).convertTo(seen, CV_32FC1, 1.0 / 255);
  cv::Mat(light.in_phase != 0).convertTo(in_phase, CV_32FC1, 1.0 / 255);
  cv::Mat among = (smooth(in_phase, neighbours) > mostly * smooth(seen, neighbours)) & (light.in_phase != 0);
  cv::erode(among, among, cv::Mat(), {-1, -1}, half_period, cv::BORDER_CONSTANT, cv::Scalar::all(255));
  return among;
}

Nodes striped_nodes(const StripeLight& light, const cv::Mat& striped) {
  std::vector<float> amplitudes;
  for (int r = 0; r < striped.rows; ++r)
    for (int c = 0; c < striped.cols; ++c)
      if (striped.at<uchar>(r, c) != 0) amplitudes.push_back(light.amplitude.at<float>(r, c));
  Nodes nodes;
  if (amplitudes.empty()) return nodes;
  // A deep shadow leaves a third of the light; what swings less than half of that is no board.
  constexpr float least_swing = 0.15F;
  constexpr double upper = 0.75;
  const float least = least_swing * static_cast<float>(quantile_of(amplitudes, upper));
  constexpr std::size_t most = 700;
  const std::size_t skip = amplitudes.size() / most + 1;
  std::vector<Eigen::Vector2d> logs;
  std::size_t seen = 0;
  for (int r = 0; r < striped.rows; ++r)
    for (int c = 0; c < striped.cols; ++c) {
      const float swing = light.amplitude.at<float>(r, c), mean = light.mean.at<float>(r, c);
      if (striped.at<uchar>(r, c) == 0 || swing < least || mean <= 0 || seen++ % skip != 0) continue;
      nodes.x_mm.push_back(light.nodes.x_mm(c)), nodes.y_mm.push_back(light.nodes.y_mm(r));
      logs.emplace_back(std::log(mean), std::log(swing));
    }
  nodes.logs.resize(static_cast<Eigen::Index>(logs.size()), 2);
  for (std::size_t i = 0; i < logs.size(); ++i)
    nodes.logs.row(static_cast<Eigen::Index>(i)) = logs[i].transpose();
  return nodes;
}

/// A straight edge in the panel: beyond place_mm along the normal.
struct PanelLine {
  double normal_rad = 0, place_mm = 0, width_mm = 1;
  double explained = 0;  ///< of the variance of either logarithm, the larger share
};

std::optional<PanelLine> best_line(const Nodes& nodes, double period_mm) {
  constexpr std::size_t enough = 150;
  if (nodes.size() < enough) return std::nullopt;
  const auto n = static_cast<Eigen::Index>(nodes.size());
  const auto [x0, x1] = std::minmax_element(nodes.x_mm.begin(), nodes.x_mm.end());
  const auto [y0, y1] = std::minmax_element(nodes.y_mm.begin(), nodes.y_mm.end());
  const double x_mid = 0.5 * (*x0 + *x1), y_mid = 0.5 * (*y0 + *y1),
               reach_mm = 0.5 * std::hypot(*x1 - *x0, *y1 - *y0) + 1e-9;
  Eigen::MatrixXd slow(n, quadratic_terms);
  for (Eigen::Index i = 0; i < n; ++i)
    slow.row(i) = quadratic((nodes.x_mm[static_cast<std::size_t>(i)] - x_mid) / reach_mm,
                            (nodes.y_mm[static_cast<std::size_t>(i)] - y_mid) / reach_mm)
                      .transpose();
  const Eigen::MatrixXd basis =
      slow.householderQr().householderQ() * Eigen::MatrixXd::Identity(n, quadratic_terms);
  const Eigen::MatrixX2d left = nodes.logs - basis * (basis.transpose() * nodes.logs);
  const Eigen::Vector2d total = left.colwise().squaredNorm().transpose().array() + 1e-12;

  PanelLine best;
  constexpr int directions = 24;
  const Eigen::Map<const Eigen::ArrayXd> x(nodes.x_mm.data(), n), y(nodes.y_mm.data(), n);
  Eigen::VectorXd edge(n);
  for (int k = 0; k < directions; ++k) {
    const double normal = std::numbers::pi * k / directions, c = std::cos(normal), s = std::sin(normal);
    const double middle_mm = x_mid * c + y_mid * s;
    const Eigen::ArrayXd across = x * c + y * s;
    for (double place = middle_mm - reach_mm; place < middle_mm + reach_mm; place += 0.5 * period_mm) {
      const double half_mm = 0.6 * period_mm;  // about what the nodes' windows make of a sharp step
      edge = ((across - place) / (2 * half_mm)).cwiseMax(-0.5).cwiseMin(0.5).matrix();
      const Eigen::Index beyond = (edge.array() > 0).count();
      constexpr Eigen::Index fewest_part = 20;  // of all nodes, on either side
      if (std::min(beyond, n - beyond) < n / fewest_part) continue;
      edge -= basis * (basis.transpose() * edge);
      const Eigen::RowVector2d along = edge.transpose() * left;
      const double square = edge.squaredNorm();
      const double explained = (along.cwiseAbs2().transpose() / square).cwiseQuotient(total).maxCoeff();
      if (explained > best.explained) best = {normal, place, half_mm, explained};
    }
  }
  constexpr double least_explained = 0.25;  // uneven lamps and dents stay below; the pixels decide
  if (best.explained < least_explained) return std::nullopt;
  return best;
}

/// Whether there are stripes on both sides: beyond a board's end what is mirrored is in phase with them by
/// chance.
bool striped_beyond(const PanelLine& line, const StripeLight& light, double period_mm) {
  // A window over the stripes sees them a period beyond their end.
  constexpr double from_periods = 1.5, to_periods = 5, mostly = 0.65;
  const double c = std::cos(line.normal_rad), s = std::sin(line.normal_rad);
  std::array<double, 2> seen{}, in_phase{};
  for (int row = 0; row < light.seen.rows; ++row)
    for (int column = 0; column < light.seen.cols; ++column) {
      if (light.seen.at<uchar>(row, column) == 0) continue;
      const double beyond_mm = light.nodes.x_mm(column) * c + light.nodes.y_mm(row) * s - line.place_mm,
                   periods = std::abs(beyond_mm) / period_mm;
      if (periods < from_periods || periods > to_periods) continue;
      const std::size_t side = beyond_mm > 0;
      ++seen[side];
      in_phase[side] += light.in_phase.at<uchar>(row, column) != 0;
    }
  return in_phase[0] > mostly * seen[0] && in_phase[1] > mostly * seen[1];
}

// ---- The pixels beside it

enum EdgeParameter : int { e_place, e_normal, e_log_width, e_bow, e_log_factor, e_veil, edge_parameters };
constexpr int all_parameters = edge_parameters + 2 * quadratic_terms;
using EdgeVector = Eigen::Matrix<double, all_parameters, 1>;

struct EdgePixel {
  double u, v;  ///< from the line's middle, in bands
  double profile, light;
};

/// The light that a pixel should show, in contrasts, and its derivatives.
struct EdgeModel {
  double value;
  EdgeVector by;
};

EdgeModel modelled(const EdgePixel& pixel, const EdgeVector& p) {
  const double c = std::cos(p[e_normal]), s = std::sin(p[e_normal]), width = std::exp(p[e_log_width]);
  const double across = c * pixel.u + s * pixel.v, along = -s * pixel.u + c * pixel.v;
  const double t = (across - p[e_place] - p[e_bow] * along * along) / width, e = step(t);
  const double factor = std::exp(p[e_log_factor]), times = 1 + (factor - 1) * e;
  const Quadratic slow = quadratic(pixel.u, pixel.v);
  const double light = slow.dot(p.segment<quadratic_terms>(edge_parameters)) +
                       slow.dot(p.tail<quadratic_terms>()) * pixel.profile;
  EdgeModel out{light * times + p[e_veil] * e, EdgeVector::Zero()};
  const double by_t = (light * (factor - 1) + p[e_veil]) * e * (1 - e);
  out.by[e_place] = -by_t / width;
  out.by[e_normal] = by_t * (along + 2 * p[e_bow] * along * across) / width;
  out.by[e_log_width] = -by_t * t;
  out.by[e_bow] = -by_t * along * along / width;
  out.by[e_log_factor] = light * factor * e;
  out.by[e_veil] = e;
  out.by.segment<quadratic_terms>(edge_parameters) = times * slow;
  out.by.tail<quadratic_terms>() = times * pixel.profile * slow;
  return out;
}

struct EdgeFit {
  EdgeVector parameters;
  double cost = 0;
};

/// `without`: no step, only the slow light.
EdgeFit fit_edge(const std::vector<EdgePixel>& pixels, const EdgeVector& start, bool without) {
  // Fractions of the contrast: stripes' edges are off by more where peel, dents or the model's phase move
  // them.
  constexpr double noise = 0.05, loss_scale = 2;
  constexpr double none = 1e-6, usual_log_factor = 1, usual_veil = 1, usual_bow = 0.1;
  const auto equations = [&](const Eigen::VectorXd& x, bool with_derivatives, NormalEquations& out) {
    const EdgeVector p = x;
    for (const EdgePixel& pixel : pixels) {
      const EdgeModel m = modelled(pixel, p);
      const double r = (m.value - pixel.light) / noise;
      out.cost += pseudo_huber_cost(r, loss_scale);
      if (!with_derivatives) continue;
      const double w = pseudo_huber_weight(r, loss_scale);
      out.gradient += w * r / noise * m.by;
      out.hessian += w / (noise * noise) * m.by * m.by.transpose();
    }
    out.add_prior(e_log_factor, p[e_log_factor], 0, without ? none : usual_log_factor);
    out.add_prior(e_veil, p[e_veil], 0, without ? none : usual_veil);
    out.add_prior(e_bow, p[e_bow], 0, without ? none : usual_bow);
    for (const int i : {e_place, e_normal, e_log_width})
      out.add_prior(i, p[i], start[i], without ? none : (i == e_log_width ? 1.0 : 0.5));
  };
  EdgeFit fit;
  Eigen::VectorXd x = start;
  fit.cost = minimise(equations, x, {.max_iterations = 40, .relative_cost_tolerance = 1e-6}).final_cost;
  fit.parameters = x;
  return fit;
}

/// The line in the photo, and how wide a band beside it is looked at.
struct Band {
  cv::Point2d middle, across, along;  ///< px; the directions are unit vectors
  double half_length_px = 0, half_width_px = 0, px_per_mm = 1;
};

Band band_of(const PanelLine& line, const Nodes& nodes, const PanelModel<double>& model, double period_mm) {
  const double c = std::cos(line.normal_rad), s = std::sin(line.normal_rad);
  double low = 1e9, high = -1e9;
  for (std::size_t i = 0; i < nodes.size(); ++i) {
    if (std::abs(nodes.x_mm[i] * c + nodes.y_mm[i] * s - line.place_mm) > 2 * period_mm) continue;
    const double along = -nodes.x_mm[i] * s + nodes.y_mm[i] * c;
    low = std::min(low, along), high = std::max(high, along);
  }
  const auto pixel = [&](double along_mm, double beyond_mm) {
    const double across_mm = line.place_mm + beyond_mm;
    const auto p = model.pixel_from_panel(across_mm * c - along_mm * s, across_mm * s + along_mm * c);
    return cv::Point2d(p.u_px, p.v_px);
  };
  const double middle_mm = 0.5 * (low + high);
  const cv::Point2d from = pixel(low, 0), to = pixel(high, 0);
  Band band;
  band.middle = pixel(middle_mm, 0);
  band.along = (to - from) / std::max(1e-9, cv::norm(to - from));
  band.across = {band.along.y, -band.along.x};
  const cv::Point2d beyond = pixel(middle_mm, 1) - band.middle;
  band.px_per_mm = std::abs(beyond.dot(band.across));
  if (beyond.dot(band.across) < 0) band.across = -band.across;
  band.half_length_px = 0.5 * cv::norm(to - from);
  constexpr double periods = 3, widths = 5;
  band.half_width_px = band.px_per_mm * (periods * period_mm + widths * line.width_mm);
  return band;
}

std::vector<EdgePixel> pixels_in(const Band& band, const cv::Mat& grey, const PanelModel<double>& model,
                                 const PanelGrid& nodes, const cv::Mat& striped,
                                 const ResidualField& residual) {
  constexpr int across_steps = 61, along_steps = 80;
  const auto& linear = linear_from_srgb8();
  std::vector<EdgePixel> pixels;
  for (int i = 0; i < along_steps; ++i)
    for (int k = 0; k < across_steps; ++k) {
      const double a = 2.0 * i / (along_steps - 1) - 1, b = 2.0 * k / (across_steps - 1) - 1;
      const cv::Point2d at =
          band.middle + a * band.half_length_px * band.along + b * band.half_width_px * band.across;
      const int u = cvRound(at.x), v = cvRound(at.y);
      if (u < 0 || v < 0 || u >= grey.cols || v >= grey.rows) continue;
      const auto place = model.panel_from_pixel(u, v);
      const int row = cvRound(nodes.row_of(place.y_mm)), column = cvRound(nodes.column_of(place.x_mm));
      if (row < 0 || column < 0 || row >= striped.rows || column >= striped.cols ||
          striped.at<uchar>(row, column) == 0)
        continue;
      const float seen = linear[grey.at<uchar>(v, u)];
      if (seen > clipped_light) continue;
      const auto phase = static_cast<float>(model.phase(place.x_mm, place.y_mm, 0, 0));
      pixels.push_back({(u - band.middle.x) / band.half_width_px, (v - band.middle.y) / band.half_width_px,
                        residual.pixel_profile.at(phase).value, seen / residual.typical_contrast});
    }
  return pixels;
}

/// Whether the step shows in each part of the line's length that has pixels on both sides.
bool all_along(const std::vector<EdgePixel>& pixels, const EdgeVector& p, const EdgeVector& none) {
  constexpr int parts = 4;
  std::array<double, parts> with{}, without{}, count{};
  const double c = std::cos(p[e_normal]), s = std::sin(p[e_normal]);
  double low = 1e9, high = -1e9;
  for (const EdgePixel& pixel : pixels) {
    const double along = -s * pixel.u + c * pixel.v;
    low = std::min(low, along), high = std::max(high, along);
  }
  for (const EdgePixel& pixel : pixels) {
    const double along = (-s * pixel.u + c * pixel.v - low) / (high - low + 1e-9);
    const auto part = static_cast<std::size_t>(parts * std::min(along, 0.999));
    constexpr double loss_scale = 0.1;
    with[part] += pseudo_huber_cost(modelled(pixel, p).value - pixel.light, loss_scale);
    without[part] += pseudo_huber_cost(modelled(pixel, none).value - pixel.light, loss_scale);
    ++count[part];
  }
  int shown = 0, told = 0;
  constexpr double enough = 60;
  for (std::size_t i = 0; i < parts; ++i) {
    if (count[i] < enough) continue;
    ++told;
    shown += with[i] < without[i];
  }
  return told > 0 && shown == told;
}

}  // namespace

std::optional<LightEdge> find_light_edge(const cv::Mat& grey, const BundleProblem& problem,
                                         const StripeField& field, double pixels_per_mm) {
  const cv::Mat striped = among_stripes(field.light);
  const Nodes nodes = striped_nodes(field.light, striped);
  const auto line = best_line(nodes, field.period_mm);
  if (!line || !striped_beyond(*line, field.light, field.period_mm)) return std::nullopt;
  const ResidualField residual = stripe_residual(grey, problem, field, pixels_per_mm);
  if (residual.residual.empty() || residual.typical_contrast < 1e-5) return std::nullopt;
  const PanelModel<double> model(problem.constants, field.bundle.parameters);
  const Band band = band_of(*line, nodes, model, field.period_mm);
  const std::vector<EdgePixel> pixels = pixels_in(band, grey, model, field.light.nodes, striped, residual);
  constexpr std::size_t enough = 400;
  if (pixels.size() < enough) return std::nullopt;

  EdgeVector start = EdgeVector::Zero();
  start[e_normal] = std::atan2(band.across.y, band.across.x);
  start[edge_parameters] = residual.typical_level / residual.typical_contrast;
  start[edge_parameters + quadratic_terms] = 1;
  start[e_log_width] = std::log(0.05);
  const EdgeFit none = fit_edge(pixels, start, true);
  EdgeFit best = none;
  for (const double width_mm : {0.03, 0.15, 0.6}) {
    EdgeVector p = none.parameters;
    p[e_log_width] = std::log(width_mm * field.period_mm * band.px_per_mm / band.half_width_px);
    const EdgeFit fit = fit_edge(pixels, p, false);
    if (fit.cost < best.cost) best = fit;
  }
  const EdgeVector& p = best.parameters;
  const double level_step = (std::exp(p[e_log_factor]) - 1) * p[edge_parameters] + p[e_veil];
  LightEdge edge;
  edge.normal = {std::cos(p[e_normal]), std::sin(p[e_normal])};
  edge.u_px = band.middle.x + p[e_place] * band.half_width_px * edge.normal.x;
  edge.v_px = band.middle.y + p[e_place] * band.half_width_px * edge.normal.y;
  edge.width_px = std::exp(p[e_log_width]) * band.half_width_px;
  edge.bow_per_px = p[e_bow] / band.half_width_px;
  edge.log_factor = p[e_log_factor];
  edge.veil = p[e_veil] * residual.typical_contrast;
  const double period_px = field.period_mm * band.px_per_mm;
  constexpr double left_of_cost = 0.8, least_step = 0.15, widest_periods = 0.7;
  const bool is_edge = best.cost < left_of_cost * none.cost && std::abs(level_step) > least_step &&
                       edge.width_px < widest_periods * period_px && all_along(pixels, p, none.parameters);
  if (!is_edge) return std::nullopt;
  return edge;
}

double LightEdge::beyond_px(double u, double v) const {
  const double du = u - u_px, dv = v - v_px, along = -normal.y * du + normal.x * dv;
  return normal.x * du + normal.y * dv - bow_per_px * along * along;
}

cv::Mat without_light_edge(const cv::Mat& grey, const LightEdge& edge) {
  cv::Mat out(grey.size(), CV_8UC1);
  const auto& linear = linear_from_srgb8();
  const auto factor = static_cast<float>(std::exp(edge.log_factor)), veil = static_cast<float>(edge.veil);
  for_rows(grey.rows, [&](int from, int to) {
    for (int v = from; v < to; ++v) {
      const uchar* seen = grey.ptr<uchar>(v);
      uchar* levelled = out.ptr<uchar>(v);
      for (int u = 0; u < grey.cols; ++u) {
        const double t = edge.beyond_px(u, v) / edge.width_px;
        constexpr double no_more = 12;
        const float e = t < -no_more ? 0.0F : static_cast<float>(step(t));
        const float light = linear[seen[u]];
        levelled[u] = e == 0.0F || light > clipped_light ? seen[u]
                                                         : cv::saturate_cast<uchar>(srgb_code_from_linear(
                                                               (light - veil * e) / (1 + (factor - 1) * e)));
      }
    }
  });
  return out;
}

}  // namespace ripplegauge
