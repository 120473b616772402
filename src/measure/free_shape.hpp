// Lets go of a spot's parametric shape, in one photo or in several at once.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "dents/spot_search.hpp"
#include "spot_numbers.hpp"

namespace ripplegauge {

/// A spot of the family, or the sum of two, as its last fit left it.
struct ParametricSpot {
  std::vector<SpotVector> parts;
  SpotGeometry geometry;
  Relief map;
  double explained = 0;      ///< share of the disturbance inside
  bool explains_all = true;  ///< what is left over is no more than scatter
  bool highlight = false;

  /// What takes two spots is no shape of the family, whatever a few edges say. What one explains but roughly
  /// may be: there the evidence tells how far the surface departs, and only the interval allows for more.
  bool odd_shape() const;
};

struct FreeShape {
  SpotGeometry geometry;
  Relief map;
  double explained = 0;                      ///< as above, mean of the photos
  SpotNumbers spread = SpotNumbers::Zero();  ///< relative, over the shapes that the surface could have
};

/// Whether a single spot leaves nothing over that scatter does not: its mean misfit inside is no more than
/// the ring's, within twice the standard error that as many samples as there are cells of orange peel give. A
/// surface would draw the peel then.
bool explains_all(const SpotJudgement& judgement);

/// The pixels that free_shape wants of a photo.
Patch patch_for_shape(const PanelScene& scene, const ParametricSpot& spot,
                      const std::vector<SpotVector>& others);

/// `seen`: the spot's parts as each photo shows them. `counted_twice`: see SurfaceRequest. Nothing where no
/// surface comes of it, or one that ran away.
std::optional<FreeShape> free_shape(std::vector<Patch> patches,
                                    const std::vector<std::vector<SpotVector>>& seen,
                                    const ParametricSpot& spot, double counted_twice, int threads);

}  // namespace ripplegauge
