// A dent magnifies stripes: light may stay the same over two of them. It never does over six, nor at a level
// beyond bright and dark. Whatever does is not the panel's mirror.
#include "stripes/covered_panel.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <set>
#include <vector>

#include "core/quantile.hpp"

namespace ripplegauge {
namespace {

/// An undisturbed stripe and its neighbour are both met on a way of one period; a quarter is for blur.
constexpr double cycles_along_way = 1.25;
/// Light changes less than this along it, of the stripes' own swing.
constexpr double steady_share = 0.25;
/// Beyond bright or dark, or between them, by so much of the swing: no stripe's light.
constexpr double foreign_swings = 0.3;

/// Of light where the panel is hidden: no way across it is steady.
constexpr double unknown = 100;

struct Seen {
  cv::Mat light;         ///< CV_32FC1, a little smoothed; no meaning where hidden
  cv::Mat low, high;     ///< the same, but far below and above all light where hidden
  cv::Mat hidden;        ///< CV_8UC1: covered, or outside the photo
  cv::Mat phase_cycles;  ///< the model's; CV_32FC1
};

Seen see(const ReducedLight& light, const PanelModel<double>& model, const cv::Mat& covered,
         const PanelGrid& grid) {
  Seen seen;
  seen.light.create(grid.rows, grid.columns, CV_32FC1);
  seen.phase_cycles.create(grid.rows, grid.columns, CV_32FC1);
  const PanelRows rows(model, grid);
  for_rows(grid.rows, [&](int from, int to) {
    for (int r = from; r < to; ++r) {
      rows.phases(r, seen.phase_cycles.ptr<float>(r));
      rows.light(light, covered, r, seen.light.ptr<float>(r));
    }
  });
  cv::dilate(seen.light < 0, seen.hidden, cv::Mat());  // smoothing mixes in what is hidden beside a cell
  cv::GaussianBlur(seen.light, seen.light, {3, 3}, 0);
  seen.low = seen.light.clone();
  seen.low.setTo(-unknown, seen.hidden);
  seen.high = seen.light.clone();
  seen.high.setTo(unknown, seen.hidden);
  return seen;
}

/// The dark stripes' or the bright ones' light over the panel: a polynomial of second order, and how far
/// single places lie off it.
struct Level {
  using Terms = Eigen::Matrix<double, 6, 1>;
  Terms terms = Terms::Zero();
  double scatter = 0;

  static Terms basis(double x, double y) { return {1, x, y, x * x, x * y, y * y}; }
  double at(double x, double y) const { return terms.dot(basis(x, y)); }
};

struct LightAt {
  double x, y, light;  ///< place in half widths of the grid
};

/// By least squares, places that lie off counting less and less: a stain or a highlight must not count.
Level fit_level(const std::vector<LightAt>& places) {
  Level level;
  std::vector<double> weights(places.size(), 1.0);
  std::vector<float> off(places.size());
  constexpr int rounds = 6;
  for (int round = 0; round < rounds; ++round) {
    Eigen::Matrix<double, 6, 6> normal = 1e-9 * Eigen::Matrix<double, 6, 6>::Identity();
    Level::Terms right = Level::Terms::Zero();
    for (std::size_t i = 0; i < places.size(); ++i) {
      const Level::Terms terms = Level::basis(places[i].x, places[i].y);
      normal += weights[i] * terms * terms.transpose();
      right += weights[i] * places[i].light * terms;
    }
    level.terms = normal.ldlt().solve(right);
    for (std::size_t i = 0; i < places.size(); ++i)
      off[i] = static_cast<float>(std::abs(places[i].light - level.at(places[i].x, places[i].y)));
    level.scatter = 1.4826 * median_of(off) + 1e-6;
    for (std::size_t i = 0; i < places.size(); ++i) {
      const double scatters = off[i] / (2 * level.scatter);
      weights[i] = 1 / (1 + scatters * scatters);
    }
  }
  return level;
}

/// What light stripes have, by place.
struct Swing {
  double typical = 0;  ///< bright minus dark; 0 where there are no stripes
  Level dark, bright;
  cv::Mat known;  ///< CV_8UC1: inside the hull, on either side of a fold, of what it was learnt from
  double half_width_cells = 1;

  double x(int column) const { return column / half_width_cells - 1; }
  double y(int row) const { return row / half_width_cells - 1; }
  /// Half way from dark to bright.
  double middle(int row, int column) const {
    return 0.5 * (dark.at(x(column), y(row)) + bright.at(x(column), y(row)));
  }
  /// How far a light lies beyond what stripes have there, in swings; negative between dark and bright, and
  /// where nothing is known.
  double beyond(int row, int column, double light) const {
    if (known.at<uchar>(row, column) == 0) return 0;
    const double below = dark.at(x(column), y(row)) - light, above = light - bright.at(x(column), y(row));
    return std::max(below - 3 * dark.scatter, above - 3 * bright.scatter) / typical;
  }
};

/// Learnt from the middles of dark and of bright stripes that are in phase.
Swing swing_of(const Seen& seen, const cv::Mat& in_phase, const cv::Mat& known) {
  Swing swing{0, {}, {}, known, 0.5 * seen.light.cols};
  std::vector<LightAt> dark, bright;
  constexpr double near_middle_cycles = 0.12;
  for (int r = 0; r < seen.light.rows; r += 2)
    for (int c = 0; c < seen.light.cols; ++c) {
      if (seen.hidden.at<uchar>(r, c) != 0 || in_phase.at<uchar>(r, c) == 0) continue;
      const double cycles = seen.phase_cycles.at<float>(r, c),
                   from_bright = std::abs(cycles - std::nearbyint(cycles));
      const LightAt here{swing.x(c), swing.y(r), seen.light.at<float>(r, c)};
      if (from_bright < near_middle_cycles) bright.push_back(here);
      if (from_bright > 0.5 - near_middle_cycles) dark.push_back(here);
    }
  constexpr std::size_t fewest = 50;
  if (dark.size() < fewest || bright.size() < fewest) return swing;
  swing.dark = fit_level(dark);
  swing.bright = fit_level(bright);
  std::vector<float> swings;
  swings.reserve(bright.size());
  for (const LightAt& p : bright) swings.push_back(static_cast<float>(p.light - swing.dark.at(p.x, p.y)));
  swing.typical = median_of(swings);
  return swing;
}

/// A straight way through the middle of a kernel, and where it ends, cells.
struct Way {
  cv::Mat kernel;
  cv::Point end;
};

Way way_of(double angle_rad, double length_cells) {
  const cv::Point end(cvRound(0.5 * length_cells * std::cos(angle_rad)),
                      cvRound(0.5 * length_cells * std::sin(angle_rad)));
  const cv::Point middle(std::abs(end.x), std::abs(end.y));
  cv::Mat kernel = cv::Mat::zeros(2 * middle.y + 1, 2 * middle.x + 1, CV_8UC1);
  cv::line(kernel, middle - end, middle + end, 1);
  return {kernel, end};
}

/// 255 at the middles of ways along which light is steady; one that meets what is hidden never is.
cv::Mat steady_along(const Seen& seen, const Way& way, double least_change) {
  cv::Mat least, most;
  cv::erode(seen.low, least, way.kernel, {-1, -1}, 1, cv::BORDER_CONSTANT, cv::Scalar(-unknown));
  cv::dilate(seen.high, most, way.kernel, {-1, -1}, 1, cv::BORDER_CONSTANT, cv::Scalar(unknown));
  return (most - least) < least_change;
}

/// Marks the steady ways whose middles also pass a test of row and column.
template <class Test>
void mark(const cv::Mat& steady, const Way& way, cv::Mat& marked, const Test& test) {
  cv::Mat middles = cv::Mat::zeros(steady.size(), CV_8UC1), on;
  for (int r = 0; r < steady.rows; ++r)
    for (int c = 0; c < steady.cols; ++c)
      if (steady.at<uchar>(r, c) != 0 && test(r, c)) middles.at<uchar>(r, c) = 1;
  cv::dilate(middles, on, way.kernel);
  marked |= on;
}

/// Takes away the connected parts that fail a test of the part (255 or 0, in its box) and its box.
template <class Test>
void keep_parts(cv::Mat& bare, const Test& test) {
  cv::Mat labels, stats, centres;
  const int parts = cv::connectedComponentsWithStats(bare, labels, stats, centres, 8, CV_32S);
  for (int i = 1; i < parts; ++i) {
    const cv::Rect box(stats.at<int>(i, cv::CC_STAT_LEFT), stats.at<int>(i, cv::CC_STAT_TOP),
                       stats.at<int>(i, cv::CC_STAT_WIDTH), stats.at<int>(i, cv::CC_STAT_HEIGHT));
    const cv::Mat part = labels(box) == i;
    if (!test(part, box)) bare(box).setTo(0, part);
  }
}

/// A connected part of what is steady: how many cycles of the model's phase it spans, its light, how far that
/// lies beyond the stripes' own, in swings, and how long the part is.
struct Part {
  double cycles = 0, light = 0, beyond = 0, length_cells = 0;
};

Part look_at_part(const Seen& seen, const Swing& swing, const cv::Mat& part, const cv::Rect& box) {
  std::vector<float> phases, lights, beyond;
  for (int r = box.y; r < box.y + box.height; ++r)
    for (int c = box.x; c < box.x + box.width; ++c)
      if (part.at<uchar>(r - box.y, c - box.x) != 0) {
        phases.push_back(seen.phase_cycles.at<float>(r, c));
        lights.push_back(seen.light.at<float>(r, c));
        beyond.push_back(static_cast<float>(swing.beyond(r, c, seen.light.at<float>(r, c))));
      }
  return {quantile_of(phases, 0.98) - quantile_of(phases, 0.02), median_of(lights), median_of(beyond),
          std::hypot(box.width, box.height)};
}

/// The cells round a part, from where its own light is no longer smoothed into them to a third of a period
/// out; in the box returned.
cv::Mat ring_round(const cv::Mat& part, cv::Rect& box, cv::Size size, double period_cells) {
  constexpr double out_periods = 0.3;
  constexpr int smoothed = 2;  // cells
  const int out = smoothed + std::max(1, static_cast<int>(out_periods * period_cells));
  cv::Mat padded, near, far;
  cv::copyMakeBorder(part, padded, out, out, out, out, cv::BORDER_CONSTANT, 0);
  cv::dilate(padded, near, disc_of(smoothed));
  cv::dilate(padded, far, disc_of(out));
  const cv::Rect grown(box.x - out, box.y - out, box.width + 2 * out, box.height + 2 * out);
  box = grown & cv::Rect({0, 0}, size);
  return (far & ~near)(box - grown.tl());
}

/// Of a mask's cells that lie well within a bright or a dark stripe of the model: how many are as light as
/// that stripe.
struct Agreement {
  int cells = 0;  ///< of the mask
  int asked = 0, as_modelled = 0;
};

/// `clearly`: asks only those that are as light as one of the two.
Agreement agreement_in(const Seen& seen, const Swing& swing, const cv::Mat& mask, const cv::Rect& box,
                       bool clearly) {
  constexpr double near_edge_cycles = 0.12;
  Agreement found;
  for (int r = 0; r < box.height; ++r)
    for (int c = 0; c < box.width; ++c) {
      if (mask.at<uchar>(r, c) == 0) continue;
      ++found.cells;
      const cv::Point at(box.x + c, box.y + r);
      if (seen.hidden.at<uchar>(at) != 0 || swing.known.at<uchar>(at) == 0) continue;
      const double cycles = seen.phase_cycles.at<float>(at), light = seen.light.at<float>(at),
                   from_bright = std::abs(cycles - std::nearbyint(cycles));
      if (std::abs(from_bright - 0.25) < near_edge_cycles ||
          (clearly && swing.beyond(at.y, at.x, light) < -foreign_swings))
        continue;
      ++found.asked;
      found.as_modelled += (from_bright < 0.25) == (light > swing.middle(at.y, at.x));
    }
  return found;
}

constexpr double least_asked = 0.25;  // half of all cells lie near edges

/// Whether bright and dark stand where the model has them right up to a part's rim, all round it. Beside a
/// cover they do. Where a dent keeps one light over more than a stripe, phase runs on from there, and is
/// three eighths of a cycle off at one end at least.
bool ends_abruptly(const Seen& seen, const Swing& swing, const cv::Mat& part, cv::Rect box,
                   double period_cells) {
  const cv::Mat ring = ring_round(part, box, seen.light.size(), period_cells);
  const Agreement a = agreement_in(seen, swing, ring, box, false);
  constexpr double nearly_all = 0.93;
  return a.asked > least_asked * a.cells && a.as_modelled > nearly_all * a.asked;
}

/// Whether a part is dark across bright stripes, or bright across dark ones: a gap narrower than the windows
/// that see its surroundings in phase.
bool hides_stripes(const Seen& seen, const Swing& swing, const cv::Mat& part, const cv::Rect& box) {
  const Agreement a = agreement_in(seen, swing, part, box, true);
  constexpr double by_chance = 0.75;  // a gap is right about half of the stripes
  return a.asked > least_asked * a.cells && a.as_modelled < by_chance * a.asked;
}

/// The parts with what hangs together with them and has their light, up to three quarters of a period out:
/// ways across a stripe do not reach into a cover's corners.
void grow_parts(const Seen& seen, const Swing& swing, double period_cells, cv::Mat& bare) {
  constexpr double out_periods = 0.75;
  const int out = static_cast<int>(out_periods * period_cells);
  const cv::Mat disc = disc_of(out);
  const double change = steady_share * swing.typical;
  cv::Mat labels;
  const int parts = cv::connectedComponents(bare, labels, 8, CV_32S);
  for (int i = 1; i < parts; ++i) {
    const cv::Mat part = labels == i;
    std::vector<float> own;
    for (int r = 0; r < part.rows; ++r)
      for (int c = 0; c < part.cols; ++c)
        if (part.at<uchar>(r, c) != 0) own.push_back(seen.light.at<float>(r, c));
    const double median = median_of(own);
    cv::Mat alike, around, pieces;
    cv::inRange(seen.light, median - change, median + change, alike);
    cv::dilate(part, around, disc);
    cv::connectedComponents(alike & around & (seen.hidden == 0), pieces, 4, CV_32S);
    std::set<int> of_part;
    for (int r = 0; r < part.rows; ++r)
      for (int c = 0; c < part.cols; ++c)
        if (part.at<uchar>(r, c) != 0) of_part.insert(pieces.at<int>(r, c));
    of_part.erase(0);
    for (const int piece : of_part) bare.setTo(1, pieces == piece);
  }
}

/// The parts with their bays and holes filled, where that adds little: what covers a panel is mostly convex,
/// and its own mirror images and edges are not steady.
void fill_parts(cv::Mat& bare) {
  constexpr double least_filled = 0.6;
  cv::Mat labels, stats, centres;
  const int parts = cv::connectedComponentsWithStats(bare, labels, stats, centres, 8, CV_32S);
  for (int i = 1; i < parts; ++i) {
    const cv::Mat hull = filled_hull(labels == i);
    if (stats.at<int>(i, cv::CC_STAT_AREA) > least_filled * cv::countNonZero(hull)) bare.setTo(1, hull);
  }
}

/// Cycles of the model's phase from cell to cell in the middle of the grid.
cv::Point2d cycles_per_cell(const cv::Mat& phase) {
  const cv::Point middle(phase.cols / 2, phase.rows / 2);
  return {phase.at<float>(middle.y, middle.x + 1) - phase.at<float>(middle),
          phase.at<float>(middle.y + 1, middle.x) - phase.at<float>(middle)};
}

/// Cells on steady ways: `bare` across the stripes, `foreign` in any direction where no stripe has that
/// light.
struct Steady {
  cv::Mat bare, foreign;
};

Steady steady_ways(const Seen& seen, const Swing& swing, double period_cells) {
  Steady found{cv::Mat::zeros(seen.light.size(), CV_8UC1), cv::Mat::zeros(seen.light.size(), CV_8UC1)};
  const cv::Mat& phase = seen.phase_cycles;
  const cv::Point2d gradient = cycles_per_cell(phase);
  const double least_change = steady_share * swing.typical;
  constexpr int directions = 16;
  constexpr double longest_periods = 4;  // ways nearly along the stripes tell nothing
  constexpr double spare = 1.2;          // stripes are not as wide everywhere
  for (int i = 0; i < directions; ++i) {
    const double angle = i * CV_PI / directions;
    const Way short_way = way_of(angle, cycles_along_way * period_cells);
    mark(steady_along(seen, short_way, least_change), short_way, found.foreign,
         [&](int r, int c) { return swing.beyond(r, c, seen.light.at<float>(r, c)) > foreign_swings; });
    const double cycles = std::abs(gradient.x * std::cos(angle) + gradient.y * std::sin(angle)),
                 cells = spare * cycles_along_way / std::max(cycles, 1e-9);
    if (cells > longest_periods * period_cells) continue;
    const Way way = way_of(angle, cells);
    mark(steady_along(seen, way, least_change), way, found.bare, [&](int r, int c) {
      const cv::Point at(c, r);  // both ends lie in the photo: what does not is hidden, and never steady
      return std::abs(phase.at<float>(at + way.end) - phase.at<float>(at - way.end)) > cycles_along_way;
    });
  }
  return found;
}

/// What of the steady ways is neither a dent's nor a shadow's doing.
///
/// A dent whose bend just undoes the board's distance shows one light over as many stripes as its bottom is
/// wide, two fifths of the dent: five at most, for the widest dents and the narrowest stripes. Where a deep
/// one crowds stripes more than the pixels show, the light is between bright and dark: over half of its width
/// at most, 45 mm. Stripes nearly too narrow for the pixels look steady, too, but are in phase. In a shadow
/// or a highlight the stripes go on: there a part is one stripe.
cv::Mat covers_among(Steady found, const Seen& seen, const Swing& swing, const cv::Mat& in_phase,
                     double step_mm, double period_cells) {
  const auto in_phase_share = [&](const cv::Mat& part, const cv::Rect& box) {
    return static_cast<double>(cv::countNonZero(part & in_phase(box))) / cv::countNonZero(part);
  };
  constexpr double most_magnified_cycles = 6, longest_crowded_mm = 60, mostly = 0.6;
  keep_parts(found.bare, [&](const cv::Mat& part, const cv::Rect& box) {
    const Part p = look_at_part(seen, swing, part, box);
    if (in_phase_share(part, box) > mostly && !hides_stripes(seen, swing, part, box)) return false;
    const bool may_be_crowded = p.beyond < -foreign_swings;
    if (may_be_crowded)
      return p.cycles > most_magnified_cycles && p.length_cells * step_mm > longest_crowded_mm;
    if (p.cycles > most_magnified_cycles) return true;
    // What is burnt out tells nothing of what is there: a lamp in a dent looks the same.
    return p.light < clipped_light && ends_abruptly(seen, swing, part, box, period_cells);
  });
  constexpr double one_stripe_cycles = 0.8, hardly = 0.3;
  keep_parts(found.foreign, [&](const cv::Mat& part, const cv::Rect& box) {
    return look_at_part(seen, swing, part, box).cycles > one_stripe_cycles ||
           in_phase_share(part, box) < hardly;
  });
  return found.bare | found.foreign;
}

/// Takes away the board's end, which lies beyond all stripes, and what reaches in from there along a stripe:
/// a gap or an arch reaches further.
void drop_board_end(const cv::Mat& inside, double period_cells, cv::Mat& bare) {
  cv::Mat from_end, wider_than_stripe;
  cv::distanceTransform(inside, from_end, cv::DIST_L2, cv::DIST_MASK_3);
  bare.setTo(0, inside == 0);
  cv::morphologyEx(bare, wider_than_stripe, cv::MORPH_OPEN, disc_of(static_cast<int>(0.45 * period_cells)));
  keep_parts(bare, [&](const cv::Mat& part, const cv::Rect& box) {
    if (cv::countNonZero(part & wider_than_stripe(box)) > 0) return true;
    constexpr double at_end = 0.25, least_reach = 3, least_off = 1;  // periods
    double nearest = 0, furthest = 0;
    cv::minMaxLoc(from_end(box), &nearest, &furthest, nullptr, nullptr, part);
    return furthest > (nearest < at_end * period_cells ? least_reach : least_off) * period_cells;
  });
}

}  // namespace

BareCells without_stripes(const ReducedLight& light, const PanelModel<double>& model, const cv::Mat& covered,
                          const PanelGrid& grid, double period_mm, const cv::Mat& in_phase) {
  const Seen seen = see(light, model, covered, grid);
  // The board's end is straight, on each side of a fold.
  const Swing swing = swing_of(seen, in_phase, hulls_by_side(in_phase, sides_of_folds(model, grid)));
  if (swing.typical <= 0)
    return {cv::Mat::zeros(grid.rows, grid.columns, CV_8UC1),
            cv::Mat::zeros(grid.rows, grid.columns, CV_8UC1)};
  const double period_cells = period_mm / grid.step_mm;
  Steady found = steady_ways(seen, swing, period_cells);
  found.bare.setTo(0, fold_mask(model, grid));  // a fold may crowd stripes more than the pixels show
  cv::Mat bare = covers_among(found, seen, swing, in_phase, grid.step_mm, period_cells);
  cv::morphologyEx(bare, bare, cv::MORPH_CLOSE, disc_of(static_cast<int>(0.25 * period_cells)));
  const cv::Mat outside = bare & (swing.known == 0);
  drop_board_end(swing.known, period_cells, bare);
  grow_parts(seen, swing, period_cells, bare);
  fill_parts(bare);
  // A gap does not end with the stripes beside it.
  return {cv::countNonZero(bare) > 0 ? cv::Mat(bare | outside) : bare, bare};
}

}  // namespace ripplegauge
