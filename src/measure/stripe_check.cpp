// What stripes must be to be measured, and what a gap in them means.
#include "stripe_check.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>

#include "format.hpp"
#include "ripplegauge/core/findings.hpp"

namespace ripplegauge {

bool is_deep(const Disturbance& gap, double period_mm) {
  // The rest of a trim or a handle, whose edges and mirror images are no stripes either.
  constexpr double beside_cover = 0.15;
  if (gap.hidden && gap.ring_bare > beside_cover) return false;
  return gap.ring_striped > 0.5 && gap.ring_striped + gap.ring_covered > 0.85 && gap.coherence < 0.55 &&
         gap.size_mm > std::max(6.0, 1.2 * period_mm);
}

std::string place_words(double x_mm, double y_mm, double width_mm, const BundleProblem& problem,
                        const StripeField& field) {
  return format(
      "%.0f mm wide, centred %.0f mm from the card's edge, %s the card in the photo (x %.0f, y %.0f mm)",
      width_mm, card_gap_mm(problem, x_mm, y_mm),
      side_of_card(problem, field.bundle.parameters, x_mm, y_mm).c_str(), x_mm, y_mm);
}

std::string place_of(const Disturbance& gap, const BundleProblem& problem, const StripeField& field) {
  return place_words(gap.x_mm, gap.y_mm, gap.width_mm, problem, field);
}

Refusal pitch_contradicted(double stated_mm, double fitting_mm) {
  return {
      code_of(PhotoFinding::pitch_contradicted),
      format("The stripes in the photo do not fit the board's pitch of %g mm: wherever a board can stand, "
             "their pitch is nearer to %.0f mm.",
             stated_mm, fitting_mm),
      "Measure one light plus one dark stripe across ten of them, and give that as the pitch."};
}

Refusal tags_contradict_pitch(double stated_mm, double by_tags_mm) {
  return {
      code_of(PhotoFinding::pitch_contradicted),
      format("The board's tags and stripes contradict each other: by the tags its pitch is %.2f mm, by its "
             "file %g mm.",
             by_tags_mm, stated_mm),
      "Measure one light plus one dark stripe across ten of them, and the places and sides of the tags, "
      "and "
      "write them into the board's file."};
}

Refusal board_impossibly_far(double pitch_mm, double distance_mm) {
  return {code_of(PhotoFinding::pitch_contradicted),
          format("With a pitch of %g mm the board would stand %.0f mm from the panel, where no board stands: "
                 "that pitch is wrong, or the board much too far away.",
                 pitch_mm, distance_mm),
          "Measure one light plus one dark stripe across ten of them, and give that as the pitch."};
}

std::optional<Refusal> check_stripes(const BundleProblem& problem, const StripeField& field,
                                     const StripeLook& look, double expected_period_px) {
  if (expected_period_px < resolved_period_px)
    return Refusal{
        code_of(PhotoFinding::stripes_not_resolved),
        format("The stripes stand too close in the photo to be told apart: %.1f pixels a pair, at least %.0f "
               "are needed.",
               expected_period_px, resolved_period_px),
        "Use a board with a coarser pitch, bring the board nearer to the panel, or move the phone closer."};
  const bool striped = shows_stripes(look);
  // From 12 to 70 cm, square or turned away, a board's stripes are as dense as at the usual distance within
  // this factor. Half or double the pitch is beyond it.
  constexpr double largest_ratio = 1.6;
  constexpr double sure_carrier = 12;  // of another pitch, rather than of anything else
  const double pitch_mm = problem.constants.pitch_mm;
  if (field.carrier_snr > sure_carrier &&
      (field.carrier_ratio > largest_ratio || field.carrier_ratio < 1 / largest_ratio))
    return pitch_contradicted(pitch_mm, pitch_mm / field.carrier_ratio);
  if (look.periods_in_a_row > 0 && look.periods_in_a_row < fewest_in_a_row)
    return Refusal{
        code_of(PhotoFinding::no_stripes),
        format("No reflected stripes of the board were found round the card: light and dark follow each "
               "other %.1f "
               "times at most, as at a lamp's or a window's edge; at least %.0f times are needed.",
               look.periods_in_a_row, fewest_in_a_row),
        "Stand the striped board so that its reflection surrounds the dent, and photograph again."};
  if (field.carrier_snr < clear_carrier || !striped)
    return Refusal{code_of(PhotoFinding::no_stripes),
                   "No reflected stripes that fit the board's pitch were found on the panel around the card.",
                   "Stand the striped board so that its reflection surrounds the dent, check its pitch, and "
                   "photograph again."};
  constexpr double nearest_mm = 80, farthest_mm = 600;
  const double distance_mm =
      problem.constants.nominal_distance_mm + field.bundle.parameters[p_board_distance];
  if (distance_mm < nearest_mm || distance_mm > farthest_mm)
    return board_impossibly_far(pitch_mm, distance_mm);
  if (field.bundle.phase_mad_cycles > followed_mad_cycles)
    return Refusal{
        code_of(PhotoFinding::stripes_not_followed),
        "The stripes are there but cannot be followed over the panel.",
        "Let the board's reflection cover more of the panel around the dent, without lamps beside it."};
  return std::nullopt;
}

std::optional<Refusal> refuse_burnt_out(const ResidualField& field) {
  constexpr double most = 0.6;
  if (field.clipped_fraction <= most) return std::nullopt;
  return Refusal{
      code_of(PhotoFinding::glare),
      format("%.0f %% of the bright stripes are burnt out to white.", 100 * field.clipped_fraction),
      "Lower the exposure (tap on a bright stripe) or turn the board's light down."};
}

namespace {

bool is_far(const Disturbance& gap) { return gap.card_gap_mm - 0.5 * gap.size_mm > farthest_gap_mm; }

/// A gap of the panel or a trim goes on beyond what is looked at.
bool is_far_rest(const Disturbance& gap) {
  constexpr double touching = 0.05;
  return is_far(gap) && gap.ring_bare > touching;
}

}  // namespace

std::optional<Refusal> refuse_gap(const Disturbance& gap, const BundleProblem& problem,
                                  const StripeField& field) {
  if (!is_deep(gap, field.period_mm)) return std::nullopt;
  const std::string place = place_of(gap, problem, field);
  if (gap.clipped_share > 0.3)
    return Refusal{code_of(PhotoFinding::glare), "Part of the stripes is burnt out to white: " + place + ".",
                   "Move the lamp or the phone so that its glare lies elsewhere, or lower the exposure (tap "
                   "on the bright "
                   "spot), and photograph again."};
  if (is_far_rest(gap)) return std::nullopt;
  if (is_far(gap))
    return Refusal{code_of(PhotoFinding::card_too_far),
                   "Something bends the stripes too far from the card to be measured: " + place + ".",
                   "Lay the card beside the dent, its inner corner 10 to 30 mm from the dent's edge."};
  constexpr double cut_share = 0.15;
  if (gap.ring_covered > cut_share)
    return Refusal{code_of(PhotoFinding::dent_cut),
                   "Something bends the stripes, cut by the card or the photo's edge: " + place + ".",
                   "Move card and phone so that undisturbed stripes surround the whole dent."};
  return std::nullopt;
}

std::optional<Refusal> check_gaps_without_spots(const StripeLook& look, const BundleProblem& problem,
                                                const StripeField& field) {
  for (const Disturbance& gap : look.disturbances) {
    if (!is_deep(gap, field.period_mm)) continue;
    if (auto refusal = refuse_gap(gap, problem, field)) return refusal;
    if (is_far_rest(gap)) continue;
    const std::string place = place_of(gap, problem, field);
    return Refusal{
        gap.hidden ? code_of(PhotoFinding::stripes_hidden) : code_of(PhotoFinding::dent_not_explained),
        std::string(gap.hidden ? "Something hides the stripes: "
                               : "Something bends or hides the stripes, but no dent explains it: ") +
            place + ".",
        "Wipe the panel, take away what lies on it or is mirrored there, and photograph from a little nearer "
        "or with "
        "the board nearer."};
  }
  return std::nullopt;
}

namespace {

/// Whether a spot accounts for a gap. Bent stripes may be its foot; where there are none at all, it must be
/// the spot's inside that crowds them: a spot that only touches such a place may be its rim.
bool accounts_for(const SpotVector& spot, const Disturbance& gap) {
  constexpr double most = 0.6;
  const double away_mm = std::hypot(spot[s_x] - gap.x_mm, spot[s_y] - gap.y_mm),
               half_mm = half_length_mm(spot);
  return gap.hidden ? away_mm < half_mm && 2 * half_mm > most * gap.size_mm
                    : away_mm < half_mm + 0.5 * gap.size_mm;
}

}  // namespace

std::vector<Warning> gaps_beside_spots(const StripeLook& look, const std::vector<FoundSpot>& spots) {
  std::vector<Warning> warnings;
  for (const Disturbance& gap : look.disturbances) {
    const bool explained = std::any_of(spots.begin(), spots.end(), [&](const FoundSpot& found) {
      return accounts_for(found.fit.spot, gap);
    });
    if (explained || !is_deep(gap, look.period_mm)) continue;
    warnings.push_back(
        {code_of(PhotoFinding::not_all_measured),
         format("Something else bends or hides the stripes at x %.0f, y %.0f mm (%.0f mm wide, "
                "%.0f mm from the card); it was not measured.",
                gap.x_mm, gap.y_mm, gap.width_mm, gap.card_gap_mm)});
  }
  return warnings;
}

std::optional<Warning> partly_judged(const JudgedArea& judged, const StripeLook& look,
                                     const BundleProblem& problem, const StripeField& field) {
  // A stripe's end, a shadow or a dent cut by the board's edge leaves a bay in the stripes.
  const auto bay =
      std::find_if(look.disturbances.begin(), look.disturbances.end(), [&](const Disturbance& gap) {
        return gap.ring_striped > 0.5 && gap.coherence < 0.5 &&
               gap.size_mm > std::max(8.0, 1.5 * field.period_mm);
      });
  constexpr double nearly_all = 0.9;
  if (judged.share > nearly_all && bay == look.disturbances.end()) return std::nullopt;
  std::string text = format(
      "Only %.0f cm2 could be checked, %.0f %% of the panel within %.0f mm of the card: a dent elsewhere "
      "would not be seen.",
      0.01 * judged.area_mm2, 100 * judged.share, search_margin_mm);
  if (bay != look.disturbances.end())
    text += " At their edge the stripes are cut or bent: " + place_of(*bay, problem, field) + ".";
  return Warning{code_of(PhotoFinding::partly_judged), text};
}

}  // namespace ripplegauge
