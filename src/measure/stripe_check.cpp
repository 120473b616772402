#include "stripe_check.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <string>

#include "format.hpp"

namespace ripplegauge {
namespace {

/// How far crown, lens and the board's tilt had to leave what is usual for the stripes to fit: sum of squares
/// in standard deviations. Right fits stay below 12.
double strain(const BundleProblem& problem, const PanelVector& p) {
  const PanelPriors& prior = problem.priors;
  const auto pull = [&](int i, double sigma) { return p[i] * p[i] / (sigma * sigma); };
  return pull(p_board_tilt, prior.board_tilt) + pull(p_board_tilt + 1, prior.board_tilt) +
         pull(p_crown, prior.crown_per_mm) + pull(p_crown + 1, prior.crown_per_mm) +
         pull(p_crown + 2, prior.crown_xy_per_mm) + pull(p_log_focal, prior.log_focal) +
         pull(p_centre, prior.centre_px) + pull(p_centre + 1, prior.centre_px);
}

/// How far the stated pitch lies from what stripes and tape say, in standard uncertainties of the two
/// together.
double departure(const PitchCheck& check) {
  constexpr double coverage_factor = 2;
  return coverage_factor * std::abs(check.stated_mm - check.pitch_mm.value) / check.pitch_mm.half_width();
}

/// The tape before the dent is known: it was held there, some way from the card's middle in any direction,
/// and what the panel mirrors there may be nearer or farther on a tilted board.
double rough_tape_uncertainty_mm(const BundleProblem& problem, const PanelVector& parameters) {
  constexpr double anchor_to_dent_mm = 56, tape_mm = 8;
  constexpr int directions = 8;
  const PanelModel<double> model(problem.constants, parameters);
  const auto distance_mm = [&](double dx, double dy) {
    return model.board_view(problem.constants.anchor_x_mm + dx, problem.constants.anchor_y_mm + dy)
        .distance_mm;
  };
  const double here_mm = distance_mm(0, 0);
  double squares = 0;
  for (int i = 0; i < directions; ++i) {
    const double turn = 2 * std::numbers::pi * i / directions;
    squares += std::pow(distance_mm(anchor_to_dent_mm * std::cos(turn), anchor_to_dent_mm * std::sin(turn)) -
                            here_mm,
                        2) /
               directions;
  }
  constexpr double at_most =
      0.1;  // of the distance: beyond, the fit is no more to be believed than the pitch
  return std::hypot(tape_mm, std::min(std::sqrt(squares), at_most * problem.constants.nominal_distance_mm));
}

}  // namespace

bool is_deep(const Disturbance& gap, double period_mm) {
  return gap.ring_striped > 0.5 && gap.ring_striped + gap.ring_covered > 0.85 && gap.coherence < 0.55 &&
         gap.size_mm > std::max(6.0, 1.2 * period_mm);
}

std::string place_of(const Disturbance& gap, const BundleProblem& problem, const StripeField& field) {
  return format(
      "%.0f mm wide, centred %.0f mm from the card's edge, %s the card in the photo (x %.0f, y %.0f mm)",
      gap.width_mm, gap.card_gap_mm,
      side_of_card(problem, field.bundle.parameters, gap.x_mm, gap.y_mm).c_str(), gap.x_mm, gap.y_mm);
}

TapeCheck check_tape(BundleProblem problem, const PanelVector& start, const BundleNoise& noise,
                     double tape_uncertainty_mm) {
  constexpr double open_mm = 300;
  problem.priors.board_distance_mm = open_mm;
  const BundleResult open = fit_bundle(problem, start, BundleFreedom::everything, noise);
  const double off_mm = open.parameters[p_board_distance];
  TapeCheck check;
  check.implied_mm = problem.constants.nominal_distance_mm + off_mm;
  check.standard_uncertainty_mm =
      std::sqrt(std::max(0.0, open.covariance(p_board_distance, p_board_distance)));
  check.departure = off_mm / std::hypot(check.standard_uncertainty_mm, tape_uncertainty_mm);
  return check;
}

Warning tape_doubted(const TapeCheck& tape, double taped_mm) {
  return {"board_distance_doubtful",
          format("Card and stripes put the board %.0f mm from the dent (%.0f to %.0f), not %.0f mm: depths "
                 "are less sure. Tape "
                 "again, and check the pitch.",
                 tape.implied_mm, tape.implied_mm - 2 * tape.standard_uncertainty_mm,
                 tape.implied_mm + 2 * tape.standard_uncertainty_mm, taped_mm)};
}

Refusal pitch_contradicted(const MeasureRequest& request, const PitchCheck* other_pitch,
                           const TapeCheck* tape) {
  Refusal refusal{"pitch_contradicted",
                  "The stripes in the photo do not fit the pitch and distance given for the board",
                  "Check --board-pitch (one light plus one dark stripe, in mm) and --board-distance (tape "
                  "from the dent to "
                  "the stripes seen in it)."};
  if (request.board)
    refusal.remedy = "Check that --board names the board that stands there, and that --card names the card.";
  const double pitch_mm = request.board ? request.board->pitch_mm : request.board_pitch_mm;
  const bool better_pitch =
      other_pitch != nullptr && !other_pitch->refusal && other_pitch->verdict != PitchVerdict::agrees;
  if (better_pitch && request.board_distance_mm)
    refusal.message += format(": %.0f mm away, their pitch would be %.1f mm (%.1f to %.1f), not %g mm",
                              *request.board_distance_mm, other_pitch->pitch_mm.value,
                              other_pitch->pitch_mm.low, other_pitch->pitch_mm.high, pitch_mm);
  // A wild distance is no more than a sign that the pitch is wrong.
  const bool believable =
      tape != nullptr && tape->implied_mm > 80 && tape->standard_uncertainty_mm < 0.1 * tape->implied_mm;
  if (better_pitch && believable)
    refusal.message += format("; or else the board stands about %.0f mm away", tape->implied_mm);
  refusal.message += ".";
  return refusal;
}

std::optional<Refusal> check_stripes(const Photo& photo, const MeasureRequest& request,
                                     const MeasureOptions& options, const BundleProblem& problem,
                                     const StripeField& field, const StripeLook& look,
                                     double expected_period_px) {
  if (expected_period_px < resolved_period_px)
    return Refusal{
        "stripes_not_resolved",
        format("The stripes stand too close in the photo to be told apart: %.1f pixels a pair, at least %.0f "
               "are needed.",
               expected_period_px, resolved_period_px),
        "Use a board with a coarser pitch, bring the board nearer to the panel, or move the phone closer."};
  const bool striped = shows_stripes(look);
  // A wrong pitch or distance bends everything else until the stripes fit, or has a multiple of them
  // followed. Then another pitch must explain them better: a second opinion, slow, so only on suspicion.
  constexpr double usual_carrier = 12, usual_mad_cycles = 0.06, usual_strain = 20, off_tape = 4.5;
  if (request.board_distance_mm && problem.board_corners.empty()) {
    MeasureOptions at_card = options;
    at_card.tape_uncertainty_mm =
        std::max(options.tape_uncertainty_mm, rough_tape_uncertainty_mm(problem, field.bundle.parameters));
    std::optional<TapeCheck> tape;
    if (striped && problem.samples.size() > 100)
      tape = check_tape(problem, field.bundle.parameters, phase_noise(field), at_card.tape_uncertainty_mm);
    const bool contradicted = tape && std::abs(tape->departure) > off_tape;
    if (!striped || contradicted || field.carrier_snr < usual_carrier ||
        field.bundle.phase_mad_cycles > usual_mad_cycles ||
        strain(problem, field.bundle.parameters) > usual_strain) {
      const PitchCheck check = check_pitch(photo, request, at_card);
      if (contradicted || (!check.refusal && departure(check) > tape_doubtful))
        return pitch_contradicted(request, &check, tape ? &*tape : nullptr);
    }
  }
  if (look.periods_in_a_row > 0 && look.periods_in_a_row < fewest_in_a_row)
    return Refusal{
        "no_stripes",
        format("No reflected stripes of the board were found round the card: light and dark follow each "
               "other %.1f "
               "times at most, as at a lamp's or a window's edge; at least %.0f times are needed.",
               look.periods_in_a_row, fewest_in_a_row),
        "Stand the striped board so that its reflection surrounds the dent, and photograph again."};
  if (field.carrier_snr < clear_carrier || !striped)
    return Refusal{"no_stripes",
                   "No reflected stripes that fit the board's pitch were found on the panel around the card.",
                   "Stand the striped board so that its reflection surrounds the dent, check its pitch, and "
                   "photograph again."};
  constexpr double largest_ratio = 1.3;  // crown, tilt and tape explain 20 %
  if (field.carrier_ratio > largest_ratio || field.carrier_ratio < 1 / largest_ratio)
    return pitch_contradicted(request, nullptr, nullptr);
  if (field.bundle.phase_mad_cycles > followed_mad_cycles)
    return Refusal{
        "stripes_not_followed", "The stripes are there but cannot be followed over the panel.",
        "Let the board's reflection cover more of the panel around the dent, without lamps beside it."};
  return std::nullopt;
}

std::optional<Refusal> refuse_burnt_out(const ResidualField& field) {
  constexpr double most = 0.6;
  if (field.clipped_fraction <= most) return std::nullopt;
  return Refusal{
      "glare", format("%.0f %% of the bright stripes are burnt out to white.", 100 * field.clipped_fraction),
      "Lower the exposure (tap on a bright stripe) or turn the board's light down."};
}

std::optional<Refusal> refuse_gap(const Disturbance& gap, const BundleProblem& problem,
                                  const StripeField& field) {
  if (!is_deep(gap, field.period_mm)) return std::nullopt;
  const std::string place = place_of(gap, problem, field);
  if (gap.clipped_share > 0.3)
    return Refusal{"glare", "Part of the stripes is burnt out to white: " + place + ".",
                   "Move the lamp or the phone so that its glare lies elsewhere, or lower the exposure (tap "
                   "on the bright "
                   "spot), and photograph again."};
  if (gap.card_gap_mm - 0.5 * gap.size_mm > farthest_gap_mm)
    return Refusal{"card_too_far",
                   "Something bends the stripes too far from the card to be measured: " + place + ".",
                   "Lay the card beside the dent, its inner corner 10 to 30 mm from the dent's edge."};
  constexpr double cut_share = 0.15;
  if (gap.ring_covered > cut_share)
    return Refusal{"dent_cut",
                   "Something bends the stripes, cut by the card or the photo's edge: " + place + ".",
                   "Move card and phone so that undisturbed stripes surround the whole dent."};
  return std::nullopt;
}

std::optional<Refusal> check_gaps_without_spots(const StripeLook& look, const BundleProblem& problem,
                                                const StripeField& field) {
  for (const Disturbance& gap : look.disturbances) {
    if (!is_deep(gap, field.period_mm)) continue;
    if (auto refusal = refuse_gap(gap, problem, field)) return refusal;
    const std::string place = place_of(gap, problem, field);
    return Refusal{
        gap.hidden ? "stripes_hidden" : "dent_not_explained",
        std::string(gap.hidden ? "Something hides the stripes: "
                               : "Something bends or hides the stripes, but no dent explains it: ") +
            place + ".",
        "Wipe the panel, take away what lies on it or is mirrored there, and photograph from a little nearer "
        "or with "
        "the board nearer."};
  }
  return std::nullopt;
}

std::vector<Warning> gaps_beside_spots(const StripeLook& look, const std::vector<FoundSpot>& spots) {
  std::vector<Warning> warnings;
  for (const Disturbance& gap : look.disturbances) {
    const bool explained = std::any_of(spots.begin(), spots.end(), [&](const FoundSpot& found) {
      const SpotVector& s = found.fit.spot;
      const double reach = std::exp(std::max(s[s_log_a], s[s_log_b])) + 0.5 * gap.size_mm;
      return std::hypot(s[s_x] - gap.x_mm, s[s_y] - gap.y_mm) < reach;
    });
    if (explained || !is_deep(gap, look.period_mm)) continue;
    warnings.push_back(
        {"not_all_measured",
         format("Something else bends or hides the stripes at x %.0f, y %.0f mm (%.0f mm wide, "
                "%.0f mm from the card); it was not measured.",
                gap.x_mm, gap.y_mm, gap.width_mm, gap.card_gap_mm)});
  }
  return warnings;
}

std::optional<Warning> small_judged_area(const JudgedArea& judged, const StripeLook& look,
                                         const BundleProblem& problem, const StripeField& field) {
  // A stripe's end, a shadow or a dent cut by the board's edge leaves a bay in the stripes.
  const auto bay =
      std::find_if(look.disturbances.begin(), look.disturbances.end(), [&](const Disturbance& gap) {
        return gap.ring_striped > 0.5 && gap.coherence < 0.5 &&
               gap.size_mm > std::max(8.0, 1.5 * field.period_mm);
      });
  constexpr double enough_of_the_neighbourhood = 0.25;
  const bool small = look.striped_share < enough_of_the_neighbourhood;
  if (!small && bay == look.disturbances.end()) return std::nullopt;
  std::string text = format(
      "Only %.0f cm2 of the panel could be judged, within %.0f x %.0f mm %s the card: a dent elsewhere would "
      "not be seen.",
      0.01 * judged.area_mm2, judged.x1_mm - judged.x0_mm, judged.y1_mm - judged.y0_mm,
      side_of_card(problem, field.bundle.parameters, 0.5 * (judged.x0_mm + judged.x1_mm),
                   0.5 * (judged.y0_mm + judged.y1_mm))
          .c_str());
  if (bay != look.disturbances.end())
    text += " At their edge the stripes are cut or bent: " + place_of(*bay, problem, field) + ".";
  return Warning{"partly_judged", text};
}

}  // namespace ripplegauge
