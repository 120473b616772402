// What every bundle of a photo starts from, whatever is then asked of it.
#pragma once

#include <optional>
#include <vector>

#include "ripplegauge/measure/measure.hpp"
#include "stripes/stripe_field.hpp"

namespace ripplegauge {

/// Stripes nearer together in the photo cannot be followed: a period needs two pixels in theory; blur and
/// slope in a dent need more.
constexpr double resolved_period_px = 5;
/// Stripes this far round the card still steady the crown.
constexpr double bundle_margin_mm = 100;
constexpr double clear_carrier = 4;           ///< least signal over noise of the stripes' frequency
constexpr double followed_mad_cycles = 0.12;  ///< largest scatter of phases that were followed

/// Throws UsageError for numbers that no board, tape or ruler gives.
void require_sensible(const MeasureRequest& request, double pitch_mm);

/// The card's tags in the photo, and the size of what was printed. A refusal where they do not do. `seen` are
/// all tags that read in the photo as it is.
std::optional<Refusal> take_card(const Photo& photo, const MeasureRequest& request,
                                 const std::vector<SeenTag>& seen, BundleProblem& problem);

/// Corners of the board's tags that the panel mirrors. Tags printed mirrored are among `seen`; others are
/// looked for in the mirrored photo, where the card's own cannot be read.
std::vector<BoardCorner> board_corners(const Photo& photo, const BoardDefinition& board,
                                       const std::vector<SeenTag>& seen);

/// No camera position fits the tags.
Refusal card_not_flat();

/// The lens, and how far to trust it: from the request's camera profile, else from EXIF, else next to
/// nothing. A refusal when the profile is for another size or focal length.
std::optional<Refusal> take_lens(const Photo& photo, const MeasureRequest& request, BundleProblem& problem,
                                 std::vector<Warning>& warnings);

/// start_bundle() with the lens that EXIF means (`lens_by_exif`): of a photo that the phone or a person cut
/// out of the sensor's picture, the frame that the card's perspective fits. Where the card contradicts all of
/// it, next to nothing is believed of focal length and principal point, with a warning.
std::optional<BundleResult> start_bundle_even_if_cropped(const Photo& photo, bool lens_by_exif,
                                                         BundleProblem& problem,
                                                         std::vector<Warning>& warnings);

double mean_pixels_per_mm(const std::vector<SeenTag>& tags, double side_mm);

/// Noise of corners and phase samples as the photo itself shows it.
BundleNoise phase_noise(const StripeField& field);

}  // namespace ripplegauge
