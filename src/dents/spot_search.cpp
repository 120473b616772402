// The search for all spots of a photo. It goes in rounds: draw up what stands out from what is explained so
// far, try to explain it, the strongest first, and begin anew as long as that shows more. For each
// disturbance the cheapest explanation comes first: one spot, several side by side, one in a place that the
// disturbance does not show, one in another, two as one dent.
#include "dents/spot_search.hpp"

#include <algorithm>
#include <cmath>

#include "acceptance.hpp"
#include "dents/loudness.hpp"
#include "dents/near_line.hpp"
#include "first_attempts.hpp"
#include "look_again.hpp"
#include "neighbours.hpp"
#include "nested_spots.hpp"
#include "spot_sum.hpp"
#include "unexplained.hpp"
#include "worth_trying.hpp"

namespace ripplegauge {
namespace {

class SpotSearch {
 public:
  explicit SpotSearch(const PanelScene& scene)
      : scene_(scene),
        acceptance_(scene.options.acceptance),
        effort_(scene.options.effort),
        candidate_options_(scene.options.candidates) {
    scene_.work = &work_;
  }

  SpotSearchResult run() {
    for (int round = 0; round < effort_.max_rounds; ++round)
      if (!look_over_panel()) break;
    join_touching(scene_, result_.spots);
    if (!is_worn_out()) look_again(scene_, result_.spots);
    tell_unexplained();
    return std::move(result_);
  }

 private:
  /// A disturbance that nothing explained.
  struct Hopeless {
    Candidate candidate;
    std::size_t accepted;  ///< spots when it was tried
  };

  /// One round: everything that stands out from what is explained. Whether another one may show more.
  bool look_over_panel() {
    const std::vector<Candidate> candidates = what_stands_out();  // still by the last round's count
    known_at_round_ = accepted_.size();
    FirstAttempts first(scene_, candidates, accepted_);
    failures_in_a_row_ = 0;
    for (std::size_t i = 0; i < candidates.size(); ++i) {
      if (failures_in_a_row_ >= effort_.patience) {
        nothing_below_ = candidates[i].peak;
        break;
      }
      if (!is_new(candidates[i])) continue;
      if (gives_up()) break;
      if (explain_one(i, candidates, first) || is_stale(candidates[i].outline)) continue;
      ++failures_in_a_row_;
      hopeless_.push_back({candidates[i], accepted_.size()});
    }
    return accepted_.size() > known_at_round_;
  }

  /// Whether the search has done as much as may be asked for by what it found.
  bool is_worn_out() const {
    const auto per_spot = static_cast<double>(result_.spots.size()) * effort_.most_fitted_pixels_a_spot;
    return static_cast<double>(work_.pixels) > effort_.most_fitted_pixels + per_spot;
  }
  /// Asked before each thing that is still to be tried: from then on nothing is.
  bool gives_up() {
    result_.worn_out |= is_worn_out();
    return result_.worn_out;
  }

  ResidualField without_accepted() {
    return accepted_.empty() ? *scene_.field
                             : residual_with_spots(*scene_.field, *scene_.problem, scene_.parameters,
                                                   accepted_, explained_);
  }

  void tell_unexplained() {
    const ResidualField field = without_accepted();
    const DisturbanceMap map = disturbance(field, explained_, good_panel_);
    Unexplained left = unexplained_places(field, map, accepted_, scene_.options);
    result_.unexplained = std::move(left.places);
    result_.unexplained_cells = left.cells;
  }

  std::vector<Candidate> what_stands_out() {
    const ResidualField field = without_accepted();
    const DisturbanceMap map = disturbance(field, explained_, good_panel_);
    good_panel_ = map.good_panel;  // as the first round sees it: later ones see less of what dents spoil, but
                                   // no new panel
    std::vector<Candidate> candidates = find_candidates(
        field, map, [&](const Candidate& c) { return could_be_spot(c); }, scene_.options);
    std::erase_if(candidates,
                  [&](const Candidate& c) { return c.peak < nothing_below_ && !is_stale(c.outline); });
    return candidates;
  }

  /// A streak along the board's edge, or something that lies mostly where nothing is seen, is no spot.
  bool could_be_spot(const Candidate& c) const {
    return c.outline.elongation < candidate_options_.max_elongation &&
           seen_share(*scene_.field, c.outline) > candidate_options_.min_seen_share &&
           ring_seen(scene_, c.outline) >= candidate_options_.min_ring_seen;
  }

  /// Whether a spot accepted since there were so many reaches an outline, beyond its own contour.
  bool reached_since(std::size_t there_were, const Outline& o) const {
    return std::any_of(accepted_.begin() + static_cast<std::ptrdiff_t>(there_were), accepted_.end(),
                       [&](const SpotVector& s) {
                         return std::hypot(s[s_x] - o.x_mm, s[s_y] - o.y_mm) <
                                effort_.reach * half_length_mm(s) + longest_of(o);
                       });
  }

  /// A spot found since the round began may be most of what the outline is about: the next round draws it
  /// anew, and looks at it again.
  bool is_stale(const Outline& o) const { return reached_since(known_at_round_, o); }

  /// What is left over inside a spot is its shape, not another spot, unless it is much smaller and yet wide
  /// enough for one.
  bool is_left_over(const Outline& o) const {
    return std::any_of(accepted_.begin(), accepted_.end(), [&](const SpotVector& s) {
      return RadiusIn(s)(o.x_mm, o.y_mm) < effort_.left_over_within &&
             (o.radius_mm > effort_.left_over_share * mean_radius_mm(s) ||
              2 * o.radius_mm < acceptance_.min_width_mm);
    });
  }

  /// What a spot's shape leaves over need not lie inside.
  bool is_beside_spot(const Outline& o) const {
    return std::any_of(accepted_.begin(), accepted_.end(),
                       [&](const SpotVector& s) { return RadiusIn(s)(o.x_mm, o.y_mm) < effort_.foot; });
  }

  /// Tried before, as loud as then, and nothing found since reaches it.
  bool is_hopeless(const Candidate& c) const {
    return std::any_of(hopeless_.begin(), hopeless_.end(), [&](const Hopeless& h) {
      const Outline &o = c.outline, &was = h.candidate.outline;
      const auto [less, more] = std::minmax(o.radius_mm, was.radius_mm);
      return std::hypot(was.x_mm - o.x_mm, was.y_mm - o.y_mm) < effort_.same_place * more &&
             less > effort_.same_size * more && c.peak < effort_.louder * h.candidate.peak &&
             !reached_since(h.accepted, o);
    });
  }

  bool is_new(const Candidate& c) const {
    return !is_hopeless(c) && (!is_left_over(c.outline) || !c.partings.empty());
  }

  bool explain_one(std::size_t index, const std::vector<Candidate>& all, FirstAttempts& first) {
    const Candidate& candidate = all[index];
    const Outline& outline = candidate.outline;
    if (is_left_over(outline))
      return explain_parts(index, all);  // what is round it may be more than its shape
    const auto untried = [&](const Candidate& c) { return is_new(c) && !is_left_over(c.outline); };
    Attempt a = first.at(index, static_cast<std::size_t>(std::max(effort_.patience - failures_in_a_row_, 1)),
                         untried);
    const bool more_starts = worth_more_starts(scene_, a, outline, candidate.peak);
    // Where it is loud, its parts come before anything that takes longer.
    const bool believed = believable(scene_, a, outline);
    const bool parts_first = !believed && (more_starts || worth_parting(scene_, a));
    if (parts_first && explain_parts(index, all)) return true;
    if (!believed && is_stale(outline)) return false;
    if (more_starts) search_widely(outline, all, a);
    const bool may_be_two = worth_parting(scene_, a);
    if (may_be_two && (accept_nested(a, outline) || accept_sum(a, outline))) return true;
    if (accept(a, outline) || (!parts_first && explain_parts(index, all))) return true;
    if (more_starts && accept_neighbours(candidate)) return true;
    if (more_starts && may_be_two && accept_last_chance(candidate, all)) return true;
    if (a.usable)
      result_.rejected.push_back({outline, candidate.peak, a.judgement,
                                  share_on_line(*scene_.field, a.fit.spot),
                                  shaped_as_a_dent(a.fit.spot, scene_.options.acceptance)});
    return false;
  }

  /// Replaces an attempt by a wide one that has more to show.
  void search_widely(const Outline& outline, const std::vector<Candidate>& all, Attempt& a) {
    if (wide_searches_++ >= effort_.max_wide_searches || gives_up()) return;
    const Attempt b = wide_attempt(scene_, outline, other_candidates(all, outline), accepted_);
    if (b.usable && credit(b.judgement) > credit(a.judgement)) a = b;
  }

  /// What is surely there and nothing explains: no start of the other searches may have lain in its basin,
  /// for their outlines come in sizes.
  bool accept_last_chance(const Candidate& candidate, const std::vector<Candidate>& all) {
    if (candidate.peak <= acceptance_.surely_disturbed || last_chances_ >= effort_.max_last_chances ||
        gives_up())
      return false;
    ++last_chances_;
    const Outline& outline = candidate.outline;
    return accept(wide_attempt(scene_, outline, other_candidates(all, outline), accepted_, {0.8, 1.25}),
                  outline);
  }

  /// Dents that stand so near one another that each makes the others' rings loud: none is believed alone.
  /// They are taken for granted one after the other, and then each must be believed with the others
  /// explained.
  bool accept_neighbours(const Candidate& candidate) {
    for (const std::vector<Outline>& lobes : candidate.partings) {
      if (looks_for_neighbours_++ >= effort_.max_looks_for_neighbours || gives_up()) return false;
      const std::vector<Attempt> neighbours = believed_together(scene_, lobes, accepted_);
      for (const Attempt& n : neighbours) keep({n.fit, n.judgement});
      if (!neighbours.empty()) return true;
    }
    return false;
  }

  /// Several spots that run together.
  bool explain_parts(std::size_t index, const std::vector<Candidate>& all) {
    return std::any_of(
        all[index].partings.begin(), all[index].partings.end(),
        [&](const std::vector<Outline>& lobes) { return !gives_up() && explain_lobes(lobes, index, all); });
  }

  /// Each round part for itself, and again with the others explained.
  bool explain_lobes(const std::vector<Outline>& lobes, std::size_t index,
                     const std::vector<Candidate>& all) {
    std::vector<Candidate> parts;
    parts.reserve(lobes.size() + all.size());
    for (const Outline& lobe : lobes) parts.push_back({lobe, all[index].peak});
    for (std::size_t i = 0; i < all.size(); ++i)
      if (i != index) parts.push_back({all[i].outline, all[i].peak});
    FirstAttempts first(scene_, parts, accepted_);
    const auto untried_lobe = [&](const Candidate& c) {
      return &c < parts.data() + lobes.size() && !is_beside_spot(c.outline);
    };
    const std::size_t before = accepted_.size();
    std::size_t known = 0;
    do {
      known = accepted_.size();
      for (std::size_t i = 0; i < lobes.size(); ++i)
        if (untried_lobe(parts[i])) accept(first.at(i, lobes.size(), untried_lobe), parts[i].outline);
    } while (accepted_.size() > known);
    return accepted_.size() > before;
  }

  bool accept(const Attempt& a, const Outline& outline) {
    if (!believable(scene_, a, outline) || is_left_over(outline_of(a.fit.spot)) ||
        may_be_misfit(result_.spots, a.fit.spot, acceptance_) ||
        may_be_rest_on_line(*scene_.field, result_.spots, a.fit.spot, acceptance_) ||
        !surely_stands_out(scene_, a, accepted_))
      return false;
    keep({a.fit, a.judgement});
    return true;
  }

  /// What one spot does not explain may be a smaller one of the other sign inside it.
  bool accept_nested(const Attempt& a, const Outline& outline) {
    if (looks_inside_++ >= effort_.max_looks_inside || gives_up()) return false;
    const auto pair = find_nested(scene_, a.fit.spot, accepted_);
    if (!pair) return false;
    const Attempt outer = judged_among(scene_, pair->outer, with_accepted(pair->inner.spot));
    const Attempt inner = judged_among(scene_, pair->inner, with_accepted(outer.fit.spot));
    if (!believable(scene_, outer, outline) || inner.judgement.explained < acceptance_.min_explained)
      return false;
    const std::size_t outer_index = result_.spots.size();
    keep({outer.fit, outer.judgement});
    keep({pair->inner, outer.judgement, outer_index});
    return true;
  }

  std::vector<SpotVector> with_accepted(const SpotVector& spot) const {
    std::vector<SpotVector> spots = accepted_;
    spots.push_back(spot);
    return spots;
  }

  /// Or another half of the same dent. Two spots can draw what peel does, so one must be there in any case.
  bool accept_sum(const Attempt& a, const Outline& outline) {
    if (!louder_than_peel(a.judgement, acceptance_) || a.judgement.explained <= effort_.sum_explained ||
        mean_radius_mm(a.fit.spot) <= effort_.speck_radius_mm || looks_for_sums_++ >= effort_.max_sums ||
        gives_up())
      return false;
    const auto sum = find_sum(scene_, a.fit, accepted_);
    if (!sum) return false;
    const Attempt leading = judged_sum(scene_, *sum, a.fit, accepted_);
    // One spot is believed before two that have no more to show.
    if (believable(scene_, a, outline) && credit(leading.judgement) <= credit(a.judgement)) return false;
    if (!believable(scene_, leading, outline) || is_left_over(outline_of(leading.fit.spot))) return false;
    keep({leading.fit, leading.judgement, std::nullopt, sum->second});
    return true;
  }

  void keep(const FoundSpot& found) {
    result_.spots.push_back(found);
    accepted_.push_back(found.fit.spot);
    if (found.second) accepted_.push_back(*found.second);
    failures_in_a_row_ = 0;
  }

  FitWork work_;
  PanelScene scene_;
  const Acceptance& acceptance_;
  const EffortOptions& effort_;
  const CandidateOptions& candidate_options_;
  SpotSearchResult result_;
  std::vector<SpotVector> accepted_;
  std::vector<Hopeless> hopeless_;
  cv::Mat explained_;  ///< where accepted spots are, 0 to 1
  std::optional<PanelEnergy> good_panel_;
  double nothing_below_ = 0;        ///< the peak at which patience last ran out
  std::size_t known_at_round_ = 0;  ///< how many spots were known when the round began
  int failures_in_a_row_ = 0, looks_inside_ = 0, looks_for_sums_ = 0, looks_for_neighbours_ = 0;
  int wide_searches_ = 0, last_chances_ = 0;
};

}  // namespace

SpotSearchResult find_spots(const PanelScene& scene) { return SpotSearch(scene).run(); }

}  // namespace ripplegauge
