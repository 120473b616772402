// Photos of what stands near dents: body lines, edges, gaps, trims, handles, badges, wheel arches, strong
// crowns. Drawn at random; a dent may be there or not.
#pragma once

#include <random>

#include "random_scene.hpp"

namespace ripplegauge::rendered {

enum class Surrounding {
  line,
  two_lines,
  flattened_line,
  edge,          ///< the panel's end, a gap, the next panel
  trim,          ///< a matt strip
  handle,        ///< a shiny bulge with round ends
  badge,         ///< a small matt plate
  arch,          ///< the round end of a panel, dark behind it
  strong_crown,  ///< radius down to 300 mm
  uneven_crown,  ///< whose curvature changes over the picture
  hollow,        ///< concave
};

/// The photo with a body line so far from the dent's middle (beyond it: positive) that has all of the card on
/// its near side. Nothing where no such line passes the card.
std::optional<RandomPhoto> with_body_line(RandomPhoto photo, std::mt19937& generator, double from_dent_mm);

/// A photo with one dent, or none where `dent` is false, near this. Nothing where none could be placed.
std::optional<RandomPhoto> random_surrounding(Surrounding kind, unsigned seed, bool dent);

}  // namespace ripplegauge::rendered
