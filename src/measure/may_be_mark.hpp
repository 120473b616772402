// Whether a spot may be no bend of the metal at all, but a mark on the panel or something that lies on it.
#pragma once

#include <optional>

#include "dents/spot_shape.hpp"
#include "ripplegauge/core/reading.hpp"
#include "stripes/residual_field.hpp"

namespace ripplegauge {

/// A warning with its reason where a mark would look like this spot; nothing where the stripes tell that the
/// metal is bent. `spot`: the dent's shape as fitted; where two describe it, the leading one.
std::optional<Warning> may_be_mark(const ResidualField& field, const SpotVector& spot, const Dent& dent);

}  // namespace ripplegauge
