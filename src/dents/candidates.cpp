// Candidates are loud regions of the whitened residual. A dent disturbs stripes in bands, dents run together,
// and one loud dent spoils the light around: so fragments are joined, regions are parted, and the outline is
// sharpened once pixels are at hand.
#include "dents/candidates.hpp"

#include <algorithm>
#include <cmath>
#include <opencv2/core.hpp>
#include <opencv2/core/optim.hpp>
#include <opencv2/imgproc.hpp>

#include "core/quantile.hpp"
#include "relief/light_fit.hpp"
#include "spot_kernel.hpp"
#include "spot_problem.hpp"
#include "stripes/block_means.hpp"

namespace ripplegauge {
namespace {

/// Ellipse with the second moments of the marked pixels; the hull bridges quiet lines inside. `mask` lies at
/// `corner` of the grid.
Outline outline_of(const cv::Mat& mask, cv::Point corner, const PanelGrid& grid, double least_radius_mm) {
  std::vector<cv::Point> points, hull;
  cv::findNonZero(mask, points);
  cv::convexHull(points, hull);
  cv::Mat filled = cv::Mat::zeros(mask.size(), CV_8UC1);
  cv::fillConvexPoly(filled, hull, 1);
  const cv::Moments m = cv::moments(filled, true);
  Outline outline;
  if (m.m00 < 1) return outline;
  const double cx = m.m10 / m.m00, cy = m.m01 / m.m00;
  const double xx = m.mu20 / m.m00 + 1.0 / 12, yy = m.mu02 / m.m00 + 1.0 / 12, xy = m.mu11 / m.m00;
  const double half = 0.5 * (xx + yy), root = std::hypot(0.5 * (xx - yy), xy);
  const double longer = 2 * std::sqrt(half + root), shorter = 2 * std::sqrt(std::max(half - root, 1e-6));
  outline.x_mm = grid.x_mm(corner.x + cx), outline.y_mm = grid.y_mm(corner.y + cy);
  outline.radius_mm = std::max(least_radius_mm, std::sqrt(longer * shorter) * grid.step_mm);
  outline.elongation = longer / shorter;
  outline.angle_rad = 0.5 * std::atan2(2 * xy, xx - yy);
  return outline;
}

/// 255 within so many cells of what is marked (255, else 0): every cell of its outline becomes a disc.
cv::Mat within(const cv::Mat& marked, int reach) {
  std::vector<int> half_width(static_cast<std::size_t>(reach) + 1);
  for (int dy = 0; dy <= reach; ++dy)
    half_width[static_cast<std::size_t>(dy)] =
        static_cast<int>(std::sqrt((reach + 0.5) * (reach + 0.5) - dy * dy));
  cv::Mat near = marked.clone();
  const auto is_inner = [&](int r, int c) {
    return r > 0 && c > 0 && r + 1 < marked.rows && c + 1 < marked.cols && marked.at<uchar>(r, c - 1) != 0 &&
           marked.at<uchar>(r, c + 1) != 0 && marked.at<uchar>(r - 1, c) != 0 &&
           marked.at<uchar>(r + 1, c) != 0;
  };
  for (int r = 0; r < marked.rows; ++r)
    for (int c = 0; c < marked.cols; ++c) {
      if (marked.at<uchar>(r, c) == 0 || is_inner(r, c)) continue;
      for (int row = std::max(r - reach, 0); row <= std::min(r + reach, marked.rows - 1); ++row) {
        const int half = half_width[static_cast<std::size_t>(std::abs(row - r))],
                  first = std::max(c - half, 0);
        std::fill_n(near.ptr<uchar>(row) + first, std::min(c + half, marked.cols - 1) - first + 1,
                    uchar{255});
      }
    }
  return near;
}

/// The round parts of a region, widest first: discs that fit into it, no two of which see each other without
/// a narrowing in between. `mask` lies at `corner` of the grid; quiet lines narrower than `gap_mm` count as
/// loud.
std::vector<Outline> lobes_of(const cv::Mat& mask, cv::Point corner, const PanelGrid& grid, double gap_mm,
                              const CandidateOptions& options) {
  const int gap = static_cast<int>(0.5 * gap_mm / grid.step_mm), margin = gap + 1;
  cv::Mat padded, depth;
  cv::copyMakeBorder(mask, padded, margin, margin, margin, margin, cv::BORDER_CONSTANT, cv::Scalar(0));
  cv::distanceTransform(within(padded, gap), depth, cv::DIST_L2, cv::DIST_MASK_PRECISE);
  const auto least_between = [&](cv::Point from, cv::Point to) {
    cv::LineIterator line(depth, from, to);
    float lowest = depth.at<float>(from);
    for (int i = 0; i < line.count; ++i, ++line) lowest = std::min(lowest, depth.at<float>(line.pos()));
    return lowest;
  };
  std::vector<cv::Point> middles;
  cv::Mat left = depth.clone();
  while (middles.size() < options.max_lobes) {
    cv::Point at;
    cv::minMaxLoc(left, nullptr, nullptr, nullptr, &at);
    const float radius = left.at<float>(at),
                widest = middles.empty() ? radius : depth.at<float>(middles.front());
    if (radius < static_cast<float>(margin) || radius < options.min_lobe_share * widest) break;
    const auto apart = [&](cv::Point m) { return least_between(m, at) < options.narrowing * radius; };
    if (std::all_of(middles.begin(), middles.end(), apart)) middles.push_back(at);
    cv::circle(left, at, static_cast<int>(radius), cv::Scalar(0), cv::FILLED);
  }
  std::vector<Outline> lobes;
  for (const cv::Point& m : middles) {
    const double radius_mm = (static_cast<double>(depth.at<float>(m)) - gap) * grid.step_mm;
    lobes.push_back({grid.x_mm(corner.x - margin + m.x), grid.y_mm(corner.y - margin + m.y),
                     std::max(options.min_radius_mm, radius_mm), 1, 0});
  }
  return lobes;
}

/// Candidate::partings of a region with this peak of energy.
std::vector<std::vector<Outline>> partings_of(const cv::Mat& mask, const cv::Mat& energy, float peak,
                                              cv::Point corner, const PanelGrid& grid, double gap_mm,
                                              const DentOptions& options) {
  const CandidateOptions& o = options.candidates;
  if (peak < options.acceptance.peel_excess) return {};  // no dent so quiet runs into another
  const std::vector<Outline> at_top =
      lobes_of(mask & (energy > o.loudest_share * peak), corner, grid, gap_mm, o);
  std::vector<Outline> all = lobes_of(mask, corner, grid, gap_mm, o);
  const auto is_covered = [at_foot = all](const Outline& lobe) {
    return std::any_of(at_foot.begin(), at_foot.end(), [&](const Outline& foot) {
      return std::hypot(lobe.x_mm - foot.x_mm, lobe.y_mm - foot.y_mm) < foot.radius_mm;
    });
  };
  std::remove_copy_if(at_top.begin(), at_top.end(), std::back_inserter(all), is_covered);
  std::vector<std::vector<Outline>> partings{std::move(all), at_top};
  std::erase_if(partings, [](const std::vector<Outline>& lobes) { return lobes.size() < 2; });
  return partings;
}

/// Where a map that is only ever lowered is highest: maxima of rows are kept.
class Peaks {
 public:
  explicit Peaks(const cv::Mat& map) : map_(map), row_top_(static_cast<std::size_t>(map.rows)) {
    lowered(cv::Rect({}, map.size()));
  }
  void lowered(const cv::Rect& box) {
    for (int r = box.y; r < box.y + box.height; ++r) row_top_[static_cast<std::size_t>(r)] = *highest_in(r);
  }
  cv::Point highest() const {
    const int row = static_cast<int>(std::max_element(row_top_.begin(), row_top_.end()) - row_top_.begin());
    return {static_cast<int>(highest_in(row) - map_.ptr<float>(row)), row};
  }

 private:
  const float* highest_in(int row) const {
    return std::max_element(map_.ptr<float>(row), map_.ptr<float>(row) + map_.cols);
  }

  const cv::Mat& map_;
  std::vector<float> row_top_;
};

cv::Rect grown(const cv::Rect& box, int margin, const cv::Mat& within) {
  return cv::Rect(box.x - margin, box.y - margin, box.width + 2 * margin, box.height + 2 * margin) &
         cv::Rect({}, within.size());
}

/// Loud cells that hang together about a peak, and other such groups near it: one region after the other.
class LoudRegion {
 public:
  LoudRegion(const DisturbanceMap& map, const cv::Mat& score, float least_score)
      : energy_(map.energy),
        score_(score),
        least_score_(least_score),
        seen_(cv::Mat::zeros(score.size(), CV_8UC1)),
        taken_(seen_.clone()) {}

  /// Begins anew about a peak.
  void begin(cv::Point peak, float least_energy) {
    for (const cv::Mat& marks : {seen_, taken_}) cv::Mat(marks, box_).setTo(0);
    box_ = {};
    least_energy_ = least_energy;
    take(group_at(peak));
  }

  /// Takes in the groups within `reach` cells of what is taken whose own score reaches `least`.
  void take_near(int reach, double least) {
    const cv::Rect box = grown(box_, reach, taken_);
    const cv::Mat near = within(taken_(box), reach);
    for (int r = 0; r < box.height; ++r)
      for (int c = 0; c < box.width; ++c) {
        const cv::Point at(box.x + c, box.y + r);
        if (near.at<uchar>(r, c) == 0 || !is_new(at)) continue;
        const std::vector<cv::Point> group = group_at(at);
        float top = 0;
        for (const cv::Point& p : group) top = std::max(top, score_.at<float>(p));
        if (top > least)
          take(group);
        else
          passed_over_.insert(passed_over_.end(), group.begin(), group.end());
      }
    for (const cv::Point& p : passed_over_) seen_.at<uchar>(p) = 0;  // a wider look may take them
    passed_over_.clear();
  }

  const cv::Rect& box() const { return box_; }  ///< round what is taken
  cv::Mat taken(const cv::Rect& box) const { return taken_(box); }

 private:
  bool is_new(cv::Point p) const {
    return seen_.at<uchar>(p) == 0 && score_.at<float>(p) > least_score_ &&
           energy_.at<float>(p) > least_energy_;
  }
  std::vector<cv::Point> group_at(cv::Point seed) {
    std::vector<cv::Point> group{seed};
    seen_.at<uchar>(seed) = 1;
    const cv::Rect all({}, seen_.size());
    for (std::size_t i = 0; i < group.size(); ++i)
      for (int dy = -1; dy <= 1; ++dy)
        for (int dx = -1; dx <= 1; ++dx) {
          const cv::Point p = group[i] + cv::Point(dx, dy);
          if (!all.contains(p) || !is_new(p)) continue;
          seen_.at<uchar>(p) = 1;
          group.push_back(p);
        }
    return group;
  }
  void take(const std::vector<cv::Point>& group) {
    for (const cv::Point& p : group) taken_.at<uchar>(p) = 255;
    box_ |= cv::boundingRect(group);
  }

  const cv::Mat &energy_, &score_;
  float least_score_, least_energy_ = 0;
  cv::Mat seen_, taken_;
  std::vector<cv::Point> passed_over_;
  cv::Rect box_;
};

/// Squares of the residual over its variance where it is valid (`weight` 1, else 0), capped.
void whitened_squares(const ResidualField& field, const cv::Mat& residual, const cv::Mat& explained,
                      const CandidateOptions& options, cv::Mat& chi, cv::Mat& weight) {
  cv::Mat expected(residual.size(), CV_32FC1), steep(residual.size(), CV_32FC1);
  for_rows(residual.rows, [&](int from, int to) {
    for (int r = from; r < to; ++r) {
      const float* phase = field.phase_cycles.ptr<float>(r);
      float *value = expected.ptr<float>(r), *slope = steep.ptr<float>(r);
      for (int c = 0; c < residual.cols; ++c) {
        const auto s = field.profile.at(phase[c]);
        value[c] = s.value, slope[c] = std::abs(s.derivative);
      }
    }
  });
  cv::dilate(steep, steep, cv::Mat());  // a wandering edge is loud beside the edge, too
  chi.create(residual.size(), CV_32FC1);
  weight.create(residual.size(), CV_32FC1);
  const auto jitter = static_cast<float>(field.edge_jitter_cycles),
             still = static_cast<float>(options.profile_error * options.profile_error +
                                        field.noise * field.noise);
  for_rows(residual.rows, [&](int from, int to) {
    for (int r = from; r < to; ++r) {
      const float *s = expected.ptr<float>(r), *left = residual.ptr<float>(r), *slope = steep.ptr<float>(r);
      const float* known = explained.empty() ? nullptr : explained.ptr<float>(r);
      const uchar* valid = field.valid.ptr<uchar>(r);
      float *out = chi.ptr<float>(r), *w = weight.ptr<float>(r);
      for (int c = 0; c < residual.cols; ++c) {
        float d = std::clamp(s[c] + left[c], -options.brightest, options.brightest) - s[c];
        if (known != nullptr) d *= 1 - options.shape_share * known[c];
        const float wander = slope[c] * jitter;
        w[c] = valid[c] != 0 ? 1.0F : 0.0F;
        out[c] = w[c] * std::min(options.max_chi_square, d * d / (still + wander * wander));
      }
    }
  });
}

std::optional<PanelEnergy> energy_of_good_panel(const ResidualField& field, const cv::Mat& energy) {
  std::vector<float> values;  // a quarter of the cells: they are smooth
  for (int r = 0; r < energy.rows; r += 2) {
    const float* row = energy.ptr<float>(r);
    const uchar* inner = field.inner.ptr<uchar>(r);
    for (int c = 0; c < energy.cols; c += 2)
      if (inner[c] != 0) values.push_back(row[c]);
  }
  constexpr std::size_t few = 25;
  if (values.size() < few) return std::nullopt;
  const float median = median_of(values);
  for (float& v : values) v = std::abs(v - median);
  return PanelEnergy{median, 1.4826F * median_of(values) + 1e-6F};
}

}  // namespace

DisturbanceMap disturbance(const ResidualField& field, const cv::Mat& explained,
                           const std::optional<PanelEnergy>& good_panel, const CandidateOptions& options) {
  DisturbanceMap map;
  cv::Mat residual, chi, weight;
  cv::medianBlur(field.residual, residual, 3);
  whitened_squares(field, residual, explained, options, chi, weight);
  const double sigma = std::max(1.0, 1.0 / field.grid.step_mm);
  smooth_each({{&chi, &map.energy, sigma}, {&weight, &weight, sigma}});
  weight += 0.05;
  map.energy /= weight;
  map.energy.setTo(0, field.inner == 0);
  map.good_panel = good_panel ? good_panel : energy_of_good_panel(field, map.energy);
  map.score = cv::Mat::zeros(residual.size(), CV_32FC1);
  if (!map.good_panel) return map;
  map.score = (map.energy - map.good_panel->median) / map.good_panel->scatter;
  map.score.setTo(0, field.inner == 0);
  return map;
}

cv::Mat loud_cells(const DisturbanceMap& map, const PanelGrid& grid, double least_mm,
                   const CandidateOptions& options) {
  cv::Mat cells = (map.score > options.loud_score) & (map.energy > options.min_energy);
  const int radius = static_cast<int>(0.5 * least_mm / grid.step_mm);
  if (radius > 0) cv::morphologyEx(cells, cells, cv::MORPH_OPEN, disc_of(radius));
  // Of what is left, only regions with a cell that good panel never shows.
  cv::Mat labels;
  const int count = cv::connectedComponents(cells, labels, 8, CV_32S);
  std::vector<float> peak(static_cast<std::size_t>(count), 0.0F);
  for (int r = 0; r < cells.rows; ++r)
    for (int c = 0; c < cells.cols; ++c) {
      float& top = peak[static_cast<std::size_t>(labels.at<int>(r, c))];
      top = std::max(top, map.score.at<float>(r, c));
    }
  for (int r = 0; r < cells.rows; ++r)
    for (int c = 0; c < cells.cols; ++c)
      if (peak[static_cast<std::size_t>(labels.at<int>(r, c))] < options.min_peak_score)
        cells.at<uchar>(r, c) = 0;
  return cells;
}

namespace {

/// One region about the loudest cell that is left, with the fragments that belong to it.
void grow(LoudRegion& region, cv::Point at, double peak, float energy, double merge_gap_cells,
          const CandidateOptions& options) {
  region.begin(at, std::max(options.min_energy, options.foot_share * energy));
  const int half_way = static_cast<int>(0.5 * merge_gap_cells),
            all_the_way = static_cast<int>(merge_gap_cells);
  if (half_way < 1) return;
  region.take_near(half_way, 0);
  region.take_near(all_the_way, options.far_fragment_share * peak);
}

}  // namespace

std::vector<Candidate> find_candidates(const ResidualField& field, const DisturbanceMap& map,
                                       const std::function<bool(const Candidate&)>& could_be_spot,
                                       const DentOptions& options) {
  const CandidateOptions& o = options.candidates;
  const double merge_gap_mm = o.merge_gap_periods * field.period_mm;
  std::vector<Candidate> candidates;
  cv::Mat score = map.score.clone();
  Peaks peaks(score);
  LoudRegion region(map, score, o.loud_score);
  std::size_t regions = 0;
  const std::size_t most_tries = 4 * o.max_regions;  // a region may turn out to be nothing
  for (std::size_t tries = 0;
       tries < most_tries && regions < o.max_regions && candidates.size() < o.max_candidates; ++tries) {
    const cv::Point at = peaks.highest();
    const double peak = score.at<float>(at);
    if (peak < o.min_peak_score) break;
    grow(region, at, peak, map.energy.at<float>(at), merge_gap_mm / field.grid.step_mm, o);
    const cv::Mat taken = region.taken(region.box());
    Candidate candidate{outline_of(taken, region.box().tl(), field.grid, o.min_radius_mm), peak};
    if (candidate.outline.radius_mm > 0) {
      ++regions;
      if (could_be_spot(candidate)) {
        candidate.partings = partings_of(taken, map.energy(region.box()), map.energy.at<float>(at),
                                         region.box().tl(), field.grid, merge_gap_mm, options);
        candidates.push_back(std::move(candidate));
      }
    }
    const int margin = std::max(1, static_cast<int>(o.margin_mm / field.grid.step_mm));
    const cv::Rect box = grown(region.box(), margin, score);
    score(box).setTo(0, within(region.taken(box), margin));
    peaks.lowered(box);
  }
  return candidates;
}

namespace {

/// Energy of splitting the patch by an ellipse: scatter of the disturbance within inside and outside.
class EllipseSplit : public cv::MinProblemSolver::Function {
 public:
  EllipseSplit(const std::vector<float>& x_mm, const std::vector<float>& y_mm,
               const std::vector<float>& disturbance)
      : x_mm_(x_mm), y_mm_(y_mm), disturbance_(disturbance) {
    for (const float t : disturbance) sum_ += t, squares_ += t * t;
  }
  int getDims() const override { return 5; }
  double calc(const double* x) const override {
    const double a = std::exp(x[2]), b = std::exp(x[3]);
    const auto f = [](double v) { return static_cast<float>(v); };
    const kernel::SplitSums s =
        kernel::split_sums({f(x[0]), f(x[1]), f(1 / a), f(1 / b), f(std::cos(x[4])), f(std::sin(x[4])),
                            f(std::min(a, b) / edge_mm)},
                           x_mm_.data(), y_mm_.data(), disturbance_.data(), disturbance_.size());
    // Levels p inside and q outside by least squares; what is outside is 1 - inside.
    const double count = static_cast<double>(disturbance_.size());
    const double hh = s.inside_squared, hg = s.inside - hh, gg = count - 2 * s.inside + hh;
    const double h1 = s.inside_value, g1 = sum_ - h1;
    const double determinant = hh * gg - hg * hg + 1e-12;
    const double p = (gg * h1 - hg * g1) / determinant, q = (hh * g1 - hg * h1) / determinant;
    return (squares_ - p * h1 - q * g1) / count;
  }

 private:
  static constexpr double edge_mm = 0.35;  // softness of the boundary
  const std::vector<float>&x_mm_, &y_mm_, &disturbance_;
  double sum_ = 0, squares_ = 0;
};

}  // namespace

Outline sharpen_outline(const Patch& patch, const Outline& start) {
  const PixelArrays pixels = some_pixels(patch);
  LightFit light;
  predict_phase(pixels, pixels.base, Eigen::Vector3d::Zero(), light);
  solve_light(pixels, pixels.base, {}, light);
  // Squared misfit in contrasts, capped, lightly smoothed over the patch's grid.
  cv::Mat sum = cv::Mat::zeros(patch.rows, patch.columns, CV_32FC1), weight = sum.clone();
  for (std::size_t i = 0; i < patch.size(); ++i) {
    const float r = light.residual[i] / patch.whitening[i];
    sum.ptr<float>()[patch.cell[i]] = std::min(r * r, 0.6F);
    weight.ptr<float>()[patch.cell[i]] = 1;
  }
  const double sigma = std::max(0.6, 0.25 / patch.step_mm);
  cv::GaussianBlur(sum, sum, cv::Size(), sigma);
  cv::GaussianBlur(weight, weight, cv::Size(), sigma);
  std::vector<float> disturbance(patch.size());
  for (std::size_t i = 0; i < patch.size(); ++i)
    disturbance[i] =
        std::min(0.35F, sum.ptr<float>()[patch.cell[i]] / (weight.ptr<float>()[patch.cell[i]] + 1e-3F));

  constexpr std::size_t enough = 1500;  // an ellipse has five parameters
  const std::vector<int> some = spread_evenly(all_pixels(patch), enough);
  std::vector<float> x_mm, y_mm, at_some;
  for (auto* v : {&x_mm, &y_mm, &at_some}) v->reserve(some.size());
  for (const int i : some) {
    const auto k = static_cast<std::size_t>(i);
    x_mm.push_back(pixels.geometry->x_mm[k]), y_mm.push_back(pixels.geometry->y_mm[k]),
        at_some.push_back(disturbance[k]);
  }
  Outline best = start;
  double best_energy = 1e300;
  for (const double scale : {1.0, 0.75}) {
    const double r = scale * start.radius_mm, e = std::sqrt(start.elongation);
    cv::Mat x =
        (cv::Mat_<double>(1, 5) << start.x_mm, start.y_mm, std::log(r * e), std::log(r / e), start.angle_rad);
    const cv::Mat step =
        (cv::Mat_<double>(1, 5) << 0.4 * start.radius_mm, 0.4 * start.radius_mm, 0.4, 0.4, 0.8);
    const auto solver = cv::DownhillSolver::create(
        cv::makePtr<EllipseSplit>(x_mm, y_mm, at_some), step,
        cv::TermCriteria(cv::TermCriteria::COUNT + cv::TermCriteria::EPS, 220, 1e-9));
    const double energy = solver->minimize(x);
    if (energy >= best_energy) continue;
    best_energy = energy;
    double la = x.at<double>(2), lb = x.at<double>(3), angle = x.at<double>(4);
    if (la < lb) std::swap(la, lb), angle += 0.5 * CV_PI;
    best = {x.at<double>(0), x.at<double>(1), std::exp(0.5 * (la + lb)), std::exp(la - lb), angle};
  }
  return best;
}

ResidualField residual_with_spots(const ResidualField& field, const BundleProblem& problem,
                                  const PanelVector& parameters, const std::vector<SpotVector>& spots,
                                  cv::Mat& explained) {
  ResidualField out = field;
  out.phase_cycles = field.phase_cycles.clone();
  explained = cv::Mat::zeros(field.residual.size(), CV_32FC1);
  const PanelModel<double> model(problem.constants, parameters);
  struct Explaining {
    SpotShape<double> shape;
    double x_mm, y_mm, reach_mm, height_mm;
  };
  std::vector<Explaining> shapes;
  shapes.reserve(spots.size());
  for (const SpotVector& spot : spots)
    shapes.push_back(
        {SpotShape<double>(spot), spot[s_x], spot[s_y], 3 * half_length_mm(spot), spot[s_height]});
  for_rows(field.grid.rows, [&](int from, int to) {
    for (int r = from; r < to; ++r) {
      const double y = field.grid.y_mm(r);
      for (int c = 0; c < field.grid.columns; ++c) {
        if (field.valid.at<uchar>(r, c) == 0) continue;
        const double x = field.grid.x_mm(c);
        double sx = 0, sy = 0, share = 0;
        for (const Explaining& spot : shapes) {
          if (std::abs(x - spot.x_mm) > spot.reach_mm || std::abs(y - spot.y_mm) > spot.reach_mm) continue;
          const auto value = spot.shape.at(x, y);
          sx += value.slope_x, sy += value.slope_y;
          share = std::max(share, std::abs(value.z / spot.height_mm));
        }
        if (share < 1e-3) continue;
        out.phase_cycles.at<float>(r, c) = static_cast<float>(model.phase(x, y, sx, sy));
        explained.at<float>(r, c) = share > 0.02 ? 1.0F : 0.0F;
      }
    }
  });
  // Around a spot the light was told by stripes that it had moved.
  explain_light(out);
  return out;
}

}  // namespace ripplegauge
