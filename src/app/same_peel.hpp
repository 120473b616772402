// The photos of two readings as witnesses of one place.
#pragma once

#include <filesystem>

#include "ripplegauge/core/card_definition.hpp"
#include "ripplegauge/core/reading.hpp"

namespace ripplegauge {

/// A reading whose photo may be at hand.
struct ReadPhoto {
  const Reading& reading;
  std::filesystem::path photo;  ///< empty: it is not there
};

/// Whether the photos' orange peel proves that they show one place, under a card that lies where it lay.
/// Looks at both photos again, for about as long as it takes to measure them. False, too, where one of them
/// is not there or cannot be read.
bool same_peel(const ReadPhoto& before, const ReadPhoto& after, const CardDefinition& card, int threads);

}  // namespace ripplegauge
