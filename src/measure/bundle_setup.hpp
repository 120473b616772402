// What every bundle of a photo starts from, whatever is then asked of it.
#pragma once

#include <optional>
#include <vector>

#include "ripplegauge/measure/measure.hpp"
#include "ripplegauge/stripes/stripe_field.hpp"

namespace ripplegauge {

/// The lens, and how far to trust it: from the request's camera profile, else from EXIF, else next to
/// nothing. A refusal when the profile is for another size or focal length.
std::optional<Refusal> take_lens(const Photo& photo, const MeasureRequest& request, BundleProblem& problem,
                                 std::vector<Warning>& warnings);

double mean_pixels_per_mm(const std::vector<SeenTag>& tags, double side_mm);

/// Noise of the phase samples as the photo itself shows it.
BundleNoise phase_noise(const StripeField& field);

}  // namespace ripplegauge
