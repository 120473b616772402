// Follows the stripes outwards from the card: carrier, phase against the model's own, bundle, over a growing
// radius; with a body line where the stripes show one.
#include "stripes/stripe_field.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "body_line.hpp"
#include "carrier.hpp"
#include "core/quantile.hpp"
#include "demodulation.hpp"
#include "stripes/block_means.hpp"
#include "stripes/covered_panel.hpp"

namespace ripplegauge {
namespace {

constexpr double two_pi = 2 * std::numbers::pi;
/// Half width of the windows that follow stripes once the model knows them roughly, and so many samples of
/// what they see.
constexpr double wide_periods = 0.7;
constexpr std::size_t samples_at_last = 700;

/// At most so many of these nodes as samples: the model's phase there and what is measured beyond it,
/// radians.
std::vector<PhaseSample> samples_at(const std::vector<cv::Point>& places, const cv::Mat& beyond_model,
                                    const PanelModel<double>& model, const PanelGrid& nodes,
                                    std::size_t most) {
  std::vector<PhaseSample> samples;
  const double skip = std::max(1.0, static_cast<double>(places.size()) / static_cast<double>(most));
  for (double i = 0; i < static_cast<double>(places.size()); i += skip) {
    const cv::Point at = places[static_cast<std::size_t>(i)];
    const double x = nodes.x_mm(at.x), y = nodes.y_mm(at.y);
    const auto pixel = model.pixel_from_panel(x, y);
    samples.push_back(
        {pixel.u_px, pixel.v_px, model.phase(x, y, 0, 0) + beyond_model.at<float>(at) / two_pi});
  }
  return samples;
}

/// The phase beyond the model's, unwrapped from a place on as far as light swings enough; NaN beyond.
/// CV_32FC1.
cv::Mat flood_from(const Demodulated& d, const PanelGrid& nodes, double x_mm, double y_mm) {
  constexpr double enough = 0.4;
  return largest_flood(unwrap_in_floods(
      d, {static_cast<int>(nodes.column_of(x_mm)), static_cast<int>(nodes.row_of(y_mm))}, enough));
}

std::vector<cv::Point> followed_places(const cv::Mat& unwrapped) {
  std::vector<cv::Point> places;
  for (int r = 0; r < unwrapped.rows; ++r)
    for (int c = 0; c < unwrapped.cols; ++c)
      if (!std::isnan(unwrapped.at<float>(r, c))) places.emplace_back(c, r);
  return places;
}

/// Samples of nodes whose phase is nearly the model's: no unwrapping is needed.
std::vector<PhaseSample> samples_in_phase(const Demodulated& d, const PanelModel<double>& model,
                                          const PanelGrid& nodes, double in_phase_rad, std::size_t most) {
  std::vector<cv::Point> places;
  for (int r = 0; r < d.angle.rows; ++r)
    for (int c = 0; c < d.angle.cols; ++c)
      if (d.usable.at<uchar>(r, c) != 0 && std::abs(d.angle.at<float>(r, c)) < in_phase_rad)
        places.emplace_back(c, r);
  return samples_at(places, d.angle, model, nodes, most);
}

}  // namespace

PanelRegion region_around_card(const CardDefinition& card, double card_scale, double margin_mm) {
  PanelRegion region{1e9, 1e9, -1e9, -1e9};
  for (const RectangleMm& paper : card.paper) {
    region.x0_mm = std::min(region.x0_mm, paper.x0_mm * card_scale - margin_mm);
    region.y0_mm = std::min(region.y0_mm, paper.y0_mm * card_scale - margin_mm);
    region.x1_mm = std::max(region.x1_mm, paper.x1_mm * card_scale + margin_mm);
    region.y1_mm = std::max(region.y1_mm, paper.y1_mm * card_scale + margin_mm);
  }
  return region;
}

namespace {

/// Whether what was followed is one board in front of one panel. Where a fold passes by the place that the
/// stripes were followed from, both sides are taken for one, and no board fits.
bool makes_sense(const BundleResult& bundle, const BundleProblem& problem) {
  constexpr double nearest_mm = 40, furthest_mm = 1500, most_uneven_cycles = 0.1;
  const double distance_mm = problem.constants.nominal_distance_mm + bundle.parameters[p_board_distance];
  return distance_mm > nearest_mm && distance_mm < furthest_mm &&
         bundle.phase_mad_cycles < most_uneven_cycles;
}

constexpr double in_phase_rad = 0.8;

/// The stripes through a narrow window, once the model knows their phase.
struct NarrowLook {
  const ReducedLight& light;
  const cv::Mat& covered;
  PanelGrid grid;
  double period_mm;
  Window window;
  Demodulated at(const BundleProblem& problem, const PanelVector& p) const {
    return demodulate(light, PanelModel<double>(problem.constants, p), covered, grid, period_mm, window);
  }
};

/// A panel with a body line more, settled to the stripes of both sides.
struct WithLine {
  BundleProblem problem;  ///< its last fold is the new line
  PanelVector parameters;
  double agreement = 0;  ///< see agreement_of()

  int fold() const { return problem.constants.folds - 1; }
};

/// How many nodes agree with the model's phase; those that are off by more than a few hundredths of a cycle
/// count less.
double agreement_of(const Demodulated& d) {
  constexpr float fair_rad = 0.2F;
  double sum = 0;
  for (int r = 0; r < d.angle.rows; ++r)
    for (int c = 0; c < d.angle.cols; ++c)
      if (d.usable.at<uchar>(r, c) != 0) {
        const float off = d.angle.at<float>(r, c) / fair_rad;
        sum += 1 / (1 + off * off);
      }
  return sum;
}

/// `problem` has the fold already.
WithLine settle_line(const NarrowLook& look, const PanelGrid& nodes, BundleProblem problem, PanelVector p) {
  constexpr int most_rounds = 6, settled = 3;
  constexpr std::size_t samples = 700;
  for (int round = 0, unchanged = 0; round < most_rounds && unchanged < settled; ++round) {
    problem.samples = samples_in_phase(look.at(problem, p), PanelModel<double>(problem.constants, p), nodes,
                                       in_phase_rad, samples);
    p = settle_bundle(problem, p, BundleFreedom::everything);
    const auto other = other_count_of_cycles(problem, p);
    unchanged = other ? 0 : unchanged + 1;
    if (other) p = *other;
  }
  const double agreement = agreement_of(look.at(problem, p));
  return {std::move(problem), p, agreement};
}

/// The parameters with one fold's line moved and turned either way.
std::array<PanelVector, 4> neighbours_of(const PanelVector& parameters, int fold, double moved_mm,
                                         double turned_rad, const Window& window) {
  std::array<PanelVector, 4> all;
  all.fill(parameters);
  turn_line(all[0], fold, moved_mm, 0, window.anchor_x_mm, window.anchor_y_mm);
  turn_line(all[1], fold, -moved_mm, 0, window.anchor_x_mm, window.anchor_y_mm);
  turn_line(all[2], fold, 0, turned_rad, window.anchor_x_mm, window.anchor_y_mm);
  turn_line(all[3], fold, 0, -turned_rad, window.anchor_x_mm, window.anchor_y_mm);
  return all;
}

/// A line slid and turned, all else left as it is, to where most nodes agree. The bundle alone leaves it
/// where the nodes that would tell are out of phase, since it looks at those in phase only.
PanelVector slid(const NarrowLook& look, const WithLine& line) {
  PanelVector best = line.parameters;
  double most = line.agreement;
  for (const auto& [step_mm, step_rad] : {std::pair{3.0, 0.04}, {1.0, 0.015}}) {
    constexpr int most_steps = 4;
    bool moved = true;
    for (int i = 0; i < most_steps && moved; ++i) {
      moved = false;
      for (const PanelVector& p : neighbours_of(best, line.fold(), step_mm, step_rad, look.window)) {
        const double agreement = agreement_of(look.at(line.problem, p));
        if (agreement <= most) continue;
        most = agreement;
        best = p;
        moved = true;
      }
    }
  }
  return best;
}

/// Of these starts the one whose nodes agree most, nothing settled.
const PanelVector& most_agreeing(const NarrowLook& look, const BundleProblem& problem,
                                 const std::vector<PanelVector>& starts) {
  std::vector<double> agreements;
  for (const PanelVector& p : starts) agreements.push_back(agreement_of(look.at(problem, p)));
  return starts[static_cast<std::size_t>(
      std::distance(agreements.begin(), std::max_element(agreements.begin(), agreements.end())))];
}

/// Settles lines from starts and keeps the one whose nodes agree most.
class LineSearch {
 public:
  LineSearch(const NarrowLook& look, const Followed& followed)
      : look_(look), nodes_(followed.nodes), with_line_(*followed.problem) {
    ++with_line_.constants.folds;
  }

  /// Of the starts at each place the one whose nodes agree most.
  void look_at_places(const std::vector<std::vector<PanelVector>>& starts) {
    for (const std::vector<PanelVector>& place : starts) look_at(most_agreeing(look_, with_line_, place));
  }
  /// A dent or the board's end eats into a patch of stripes: then the line between two patches is off.
  void look_beside() {
    constexpr double moved_mm = 8, turned_rad = 0.12, better = 1.005;
    while_better(better, [&] {
      for (const PanelVector& start :
           neighbours_of(best_->parameters, best_->fold(), moved_mm, turned_rad, look_.window))
        look_at(start);
    });
  }
  void slide() {
    constexpr double any_better = 1.001;
    while_better(any_better, [&] { look_at(slid(look_, *best_)); });
  }
  const std::optional<WithLine>& best() const { return best_; }

 private:
  void look_at(const PanelVector& start) {
    WithLine settled = settle_line(look_, nodes_, with_line_, start);
    if (best_ && settled.agreement <= best_->agreement) return;
    best_ = std::move(settled);
  }
  template <class Step>
  void while_better(double better, const Step& step) {
    for (double before = 0; best_->agreement > better * before;) {
      before = best_->agreement;
      step();
    }
  }

  const NarrowLook& look_;
  const PanelGrid& nodes_;
  BundleProblem with_line_;
  std::optional<WithLine> best_;
};

/// The best of the lines that start, at each place, as the one whose nodes agree most, and of their
/// neighbours: a bundle finds its way to the line from a few millimetres and degrees only. Nothing where none
/// brings nodes into phase that were not: real lines gain a fifth and more, others up to a fortieth.
std::optional<WithLine> best_line(const NarrowLook& look, const Followed& f,
                                  const std::vector<std::vector<PanelVector>>& starts) {
  constexpr double promising = 1.03, needed = 1.08;
  const double without = agreement_of(f.demodulated);
  LineSearch search(look, f);
  search.look_at_places(starts);
  const std::optional<WithLine>& best = search.best();
  if (!best || best->agreement < promising * without) return std::nullopt;
  search.look_beside();
  if (best->agreement < needed * without ||
      std::abs(best->parameters[fold_at(best->fold())]) < least_fold_turn)
    return std::nullopt;
  search.slide();
  return best;
}

/// A line that the model does not have yet: one that breaks the stripes, or one that they were followed
/// across.
std::optional<WithLine> next_line(const NarrowLook& look, const Followed& followed) {
  if (const auto fold = fold_that_breaks(followed))
    if (auto line = best_line(look, followed, {{*fold}})) return line;
  return best_line(look, followed, folds_that_kink(followed));
}

/// A second line, in what the stripes show against a panel with the first.
std::optional<WithLine> line_beyond(const NarrowLook& look, const WithLine& first, const PanelGrid& nodes) {
  NarrowLook wide = look;
  wide.window.sigma_periods = wide_periods;
  const cv::Mat unwrapped = flood_from(wide.at(first.problem, first.parameters), nodes,
                                       look.window.anchor_x_mm, look.window.anchor_y_mm);
  BundleProblem problem = first.problem;
  const PanelModel<double> model(problem.constants, first.parameters);
  problem.samples = samples_at(followed_places(unwrapped), unwrapped, model, nodes, samples_at_last);
  return next_line(look, {&problem, first.parameters, look.at(problem, first.parameters), unwrapped, nodes});
}

/// A little more: light of either side is blurred into the other's.
cv::Mat with_blurred(const cv::Mat& bare) {
  cv::Mat wider;
  cv::dilate(bare, wider, disc_of(2));
  return wider;
}

/// Whether what is bare, as far as it lies within this (CV_8UC1), lies along a line: then that is the panel's
/// edge with its gap, and what lies beyond is another panel.
bool lies_along(const cv::Mat& bare, const cv::Mat& within, const PlacedFold<double>& fold,
                const PanelGrid& grid, double period_mm) {
  int all = 0, along = 0;
  for (int r = 0; r < grid.rows; ++r)
    for (int c = 0; c < grid.columns; ++c) {
      if (bare.at<uchar>(r, c) == 0 || within.at<uchar>(r, c) == 0) continue;
      ++all;
      along += std::abs(fold.across_mm(grid.x_mm(c), grid.y_mm(r))) < period_mm;
    }
  constexpr double most_of_it = 0.5;
  return along > most_of_it * all;
}

/// What lies beyond a gap or a trim, as seen from the card, and is not in phase with the panel before it: the
/// next panel. All beyond a line that runs in what is bare, for that line is the panel's edge.
cv::Mat next_panels(const cv::Mat& bare, const cv::Mat& paper, const cv::Mat& in_phase,
                    const std::optional<WithLine>& line, const PanelGrid& grid, double period_mm) {
  if (line) {
    const PanelModel<double> model(line->problem.constants, line->parameters);
    const cv::Mat hull = filled_hull(in_phase), sides = sides_of_folds(model, grid);
    int bit = 1;
    for (const PlacedFold<double>& fold : model.surface().folds()) {
      const cv::Mat beyond = (sides & bit) != 0;
      bit *= 2;
      if (lies_along(bare, hull, fold, grid, period_mm))
        return cv::countNonZero(beyond & paper) > 0 ? cv::Mat(beyond == 0) : beyond;
    }
  }
  cv::Mat labels, next = cv::Mat::zeros(bare.size(), CV_8UC1);
  const int parts = cv::connectedComponents(bare == 0, labels, 4, CV_32S);
  for (int i = 1; i < parts; ++i) {
    constexpr double same_panel = 0.5;  // by chance a quarter is in phase
    const cv::Mat part = labels == i;
    if (cv::countNonZero(part & paper) == 0 &&
        cv::countNonZero(part & in_phase) < same_panel * cv::countNonZero(part))
      next.setTo(1, part);
  }
  return next;
}

/// What windows over the stripes see of light from where they end. CV_8UC1.
cv::Mat near_bare(const cv::Mat& bare, double period_cells) {
  constexpr double periods = 0.5;
  cv::Mat near;
  cv::dilate(bare, near, disc_of(static_cast<int>(periods * period_cells)));
  return near;
}

/// `cautiously`: what lies further from the model than it should by now is not believed, however smoothly it
/// goes on. `bare`: where it is known already that no stripes are; may be empty.
StripeField follow_from(cv::Point2d centre_mm, bool cautiously, const cv::Mat& grey, BundleProblem& problem,
                        const PanelVector& start, const PanelRegion& region, double pixels_per_mm,
                        const cv::Mat& bare) {
  StripeField field;
  PanelVector p = start;
  const double anchor_x = centre_mm.x, anchor_y = centre_mm.y;
  const double expected_period =
      1 / phase_gradient(PanelModel<double>(problem.constants, p), anchor_x, anchor_y).norm();
  const double step = std::clamp(expected_period / 8, 0.8 / pixels_per_mm, 1.2);
  const PanelGrid grid = grid_around(region.x0_mm, region.y0_mm, region.x1_mm, region.y1_mm, step);
  field.grid = grid;
  const ReducedLight light(grey, reduction_for(step, pixels_per_mm), cv::Rect(0, 0, grey.cols, grey.rows));
  cv::Mat covered = paper_mask(problem.card, problem.card_scale, grid, 2.0) |
                    board_tag_mask(problem, PanelModel<double>(problem.constants, p), grid);
  if (!bare.empty()) covered |= bare;

  const Carrier carrier = find_carrier(light, covered, grid, problem, p, region);
  field.carrier_snr = carrier.snr;
  field.carrier_ratio = carrier.ratio;
  if (carrier.snr < 3) return field;
  if (problem.board_corners.empty())
    match_carrier(problem, carrier, p);  // tags have turned the board already

  const cv::Rect everything(0, 0, grid.columns, grid.rows);
  constexpr int rounds = 6;
  constexpr double radius_mm[rounds] = {50, 65, 85, 115, 150, 150};
  cv::Mat unwrapped;
  int stride = 1;
  constexpr std::size_t samples_on_the_way = 250;
  for (int round = 0; round < rounds; ++round) {
    field.period_mm = 1 / phase_gradient(PanelModel<double>(problem.constants, p), anchor_x, anchor_y).norm();
    const bool last_round = round == rounds - 1;
    const double sigma_periods = round < 3 ? 0.9 : wide_periods;
    // No more of the panel than this round looks at, and what its windows reach into.
    const double reach_mm = radius_mm[round] + 3 * sigma_periods * field.period_mm;
    const cv::Rect part = last_round ? everything : grid.box_around(anchor_x, anchor_y, reach_mm);
    const PanelGrid here = grid.part(part);
    const PanelModel<double> model(problem.constants, p);
    const Demodulated d = demodulate(light, model, covered(part), here, field.period_mm,
                                     {sigma_periods, anchor_x, anchor_y, radius_mm[round]});
    stride = d.stride;
    const PanelGrid blocks = block_grid(here, stride);
    unwrapped = flood_from(d, blocks, anchor_x, anchor_y);
    constexpr int rounds_to_settle = 2;
    if (cautiously && round >= rounds_to_settle)
      unwrapped.setTo(std::numeric_limits<float>::quiet_NaN(), cv::abs(unwrapped) > in_phase_rad);
    const std::vector<cv::Point> nodes = followed_places(unwrapped);
    if (nodes.size() < 40) return field;
    problem.samples =
        samples_at(nodes, unwrapped, model, blocks, last_round ? samples_at_last : samples_on_the_way);
    const BundleFreedom freedom = round < 2 ? BundleFreedom::board_only : BundleFreedom::everything;
    const BundleNoise noise{.phase_cycles = round < 2 ? 0.05 : 0.03};
    p = settle_bundle(problem, p, freedom, noise, last_round ? 25 : 8);
    if (last_round) {
      field.bundle = fit_bundle(problem, with_card_ends_free(problem, p, noise), freedom, noise);
      p = field.bundle.parameters;
    }
  }

  constexpr double narrow_periods = 0.35, still_there = 0.35, surely_there = 0.5;
  const NarrowLook look{
      light, covered, grid, field.period_mm, {narrow_periods, anchor_x, anchor_y, radius_mm[rounds - 1]}};
  Demodulated last = look.at(problem, p);
  const PanelGrid blocks = block_grid(grid, last.stride);
  std::optional<WithLine> folded;
  if (makes_sense(field.bundle, problem)) folded = next_line(look, {&problem, p, last, unwrapped, blocks});
  if (folded) {
    if (auto second = line_beyond(look, *folded, blocks)) folded = std::move(second);
    problem = folded->problem;
    field.bundle = fit_bundle(problem, folded->parameters, BundleFreedom::everything);
    p = field.bundle.parameters;
    last = look.at(problem, p);
  }

  // The followed region. The flood's wide window sees stripes a third of a period beyond their end; a dent
  // beside the card cuts off what lies behind it. By now the model knows the phase: a narrow window tells
  // both.
  std::vector<float> amplitudes;
  for (int r = 0; r < unwrapped.rows; ++r)
    for (int c = 0; c < unwrapped.cols; ++c)
      if (!std::isnan(unwrapped.at<float>(r, c))) amplitudes.push_back(last.amplitude.at<float>(r, c));
  const float typical = static_cast<float>(median_of(amplitudes));
  cv::Mat in_phase =
      (last.usable != 0) & (last.amplitude > surely_there * typical) & (cv::abs(last.angle) < in_phase_rad);
  cv::Mat followed(unwrapped.size(), CV_8UC1);
  for (int r = 0; r < followed.rows; ++r)
    for (int c = 0; c < followed.cols; ++c) {
      const float amplitude = last.amplitude.at<float>(r, c);
      const bool flooded = !std::isnan(unwrapped.at<float>(r, c)) && amplitude > still_there * typical;
      followed.at<uchar>(r, c) = flooded || in_phase.at<uchar>(r, c) != 0;
    }
  // Holes filled: dents break the flood, but stripes all round them are stripes.
  const int reach = static_cast<int>(2 * field.period_mm / (stride * step));
  cv::copyMakeBorder(followed, followed, reach + 1, reach + 1, reach + 1, reach + 1, cv::BORDER_CONSTANT, 0);
  cv::morphologyEx(followed, followed, cv::MORPH_CLOSE, disc_of(reach));
  cv::Mat outside = followed.clone();
  cv::floodFill(outside, cv::Point(0, 0), 2);
  followed.setTo(1, outside != 2);
  followed =
      followed(cv::Rect(reach + 1, reach + 1, followed.cols - 2 * reach - 2, followed.rows - 2 * reach - 2))
          .clone();
  // With nothing followed up to them, small patches may be in phase by chance.
  constexpr double scrap = 0.2;
  if (problem.constants.folds > 0) followed = larger_parts(followed, scrap);
  field.followed = cells_of_blocks(followed, stride, everything.size(), cv::INTER_NEAREST).clone();
  cv::morphologyEx(in_phase, in_phase, cv::MORPH_OPEN, cv::Mat());
  in_phase = larger_parts(in_phase, scrap);
  const cv::Mat in_phase_cells = cells_of_blocks(in_phase, stride, everything.size(), cv::INTER_NEAREST);
  const BareCells found = without_stripes(light, PanelModel<double>(problem.constants, p), covered, grid,
                                          field.period_mm, in_phase_cells);
  field.ends = found.ends;
  field.bare = with_blurred(found.all);
  if (!bare.empty()) field.bare |= bare;
  if (cv::countNonZero(field.bare) > 0)
    field.bare |= next_panels(field.bare, paper_mask(problem.card, problem.card_scale, grid, 0),
                              in_phase_cells, folded, grid, field.period_mm);
  field.followed.setTo(0, field.bare);
  field.seen_fraction = cv::mean(field.followed)[0];
  constexpr double barely_in_phase_rad = 1.2;
  const cv::Mat seen =
      (last.seen != 0) & (nearest_cells(near_bare(field.bare, field.period_mm / step), grid, blocks) == 0);
  field.light = {blocks, last.mean, last.amplitude, seen, seen & (cv::abs(last.angle) < barely_in_phase_rad)};
  return field;
}

/// Whether more of the panel turned out to be bare than was known; a few cells more change nothing.
bool shows_more_bare(const cv::Mat& bare, const cv::Mat& known) {
  constexpr double a_few = 0.02;
  const int more = bare.empty() ? 0 : cv::countNonZero(bare),
            before = known.empty() ? 0 : cv::countNonZero(known);
  return known.empty() ? more > 0 : more - before > a_few * static_cast<double>(bare.total());
}

}  // namespace

StripeField follow_stripes(const cv::Mat& grey, BundleProblem& problem, const PanelVector& start,
                           const PanelRegion& region, double pixels_per_mm) {
  const cv::Point2d anchor_mm(problem.constants.anchor_x_mm, problem.constants.anchor_y_mm);
  const BundleProblem untouched = problem;
  const auto follow = [&](const cv::Point2d& from_mm, bool cautiously, BundleProblem& by) {
    StripeField field;
    cv::Mat bare, ends;
    constexpr int most_looks = 3;
    for (int look = 0; look < most_looks; ++look) {
      // What is no panel told of one the time before, and may have been taken for a line.
      by = untouched;
      field = follow_from(from_mm, cautiously, grey, by, start, region, pixels_per_mm, bare);
      if (!ends.empty() && !field.ends.empty()) field.ends |= ends;
      if (!shows_more_bare(field.bare, bare) || !makes_sense(field.bundle, by)) break;
      bare = field.bare;
      ends = field.ends;
    }
    return field;
  };
  StripeField field = follow(anchor_mm, false, problem);
  if (field.followed.empty() || makes_sense(field.bundle, problem)) return field;
  const cv::Point2d steps_mm[] = {{0, 0}, {50, 40}, {-40, 60}, {60, -60}};
  for (const cv::Point2d& step_mm : steps_mm) {
    BundleProblem again = untouched;
    StripeField other = follow(anchor_mm + step_mm, true, again);
    if (other.followed.empty() || !makes_sense(other.bundle, again)) continue;
    problem = std::move(again);
    return other;
  }
  return field;
}

}  // namespace ripplegauge
