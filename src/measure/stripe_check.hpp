// Whether the stripes can be measured: there, resolved, followed, and as the stated board would show them.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "bundle_setup.hpp"
#include "dents/spot_search.hpp"
#include "measure/pitch_check.hpp"
#include "stripe_look.hpp"

namespace ripplegauge {

/// The stripes before anything is looked for in them. `look` may be empty where nothing was followed.
std::optional<Refusal> check_stripes(const BundleProblem& problem, const StripeField& field,
                                     const StripeLook& look, double expected_period_px);

/// Of half, twice and one and a half times the stated pitch, and two thirds of it, the first that the stripes
/// in the photo fit, mm; nothing where none does. Slow: for photos that are refused anyway.
std::optional<double> pitch_that_fits(const Photo& photo, const BundleProblem& problem,
                                      const BundleResult& start, double stated_mm, double pixels_per_mm);
Refusal pitch_contradicted(double stated_mm, double fitting_mm);
Refusal tags_contradict_pitch(double stated_mm, double by_tags_mm);
/// The pitch at which the stripes fit the board's tags best; nothing where fewer than two of those were seen.
std::optional<Quantity> pitch_by_tags(const BundleProblem& problem, const StripeField& field);

/// Stripes that are mostly burnt out hide what they would show.
std::optional<Refusal> refuse_burnt_out(const ResidualField& field);

/// A gap that no orange peel and no uneven edge of the board makes: stripes all round it, hardly any in it.
bool is_deep(const Disturbance& gap, double period_mm);
/// Where a person finds it: "22 mm wide, centred 35 mm from the card's edge, right of the card in the photo
/// (x 80, y 60 mm)".
std::string place_of(const Disturbance& gap, const BundleProblem& problem, const StripeField& field);
std::string place_words(double x_mm, double y_mm, double width_mm, const BundleProblem& problem,
                        const StripeField& field);
/// Dents whose nearer edge lies further from the card are not looked for to their end: beyond
/// search_margin_mm there is no more ring of undisturbed stripes.
constexpr double farthest_gap_mm = 0.8 * search_margin_mm;
/// Why a deep gap cannot be measured, whatever made it: burnt out, too far from the card, cut.
std::optional<Refusal> refuse_gap(const Disturbance& gap, const BundleProblem& problem,
                                  const StripeField& field);

/// Gaps in the stripes that no reading explains. Without any spot, one that must be a dent is a refusal.
std::optional<Refusal> check_gaps_without_spots(const StripeLook& look, const BundleProblem& problem,
                                                const StripeField& field);
std::vector<Warning> gaps_beside_spots(const StripeLook& look, const std::vector<FoundSpot>& spots);

/// What part of the panel a "no dent" speaks of; nothing where it is nearly all that lies round the card.
std::optional<Warning> partly_judged(const JudgedArea& judged, const StripeLook& look,
                                     const BundleProblem& problem, const StripeField& field);

}  // namespace ripplegauge
