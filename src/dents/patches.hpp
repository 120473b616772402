// The pixels round a spot or an outline, with what is known already explained.
#pragma once

#include <vector>

#include "dents/panel_scene.hpp"
#include "relief/patch.hpp"

namespace ripplegauge {

constexpr std::size_t pixels_of_patch = 8000;  ///< for a fit that is to be judged

double longest_of(const Outline& outline);

/// Half the side of a patch round something this long: `reach` times it, or `periods` of undisturbed stripes
/// beyond it.
double half_round(const PanelScene& scene, double longest_mm, double reach, double periods = 0.8);

/// A square of panel that was looked at, and the slope below which a spot cannot be seen there.
struct LookedAt {
  double x_mm, y_mm, half_mm, unseen_slope;
};
LookedAt looked_at(const Patch& patch);

/// Whether a spot bends what is seen anywhere in a square: by its slope as far out as the square begins.
bool reaches(const SpotVector& spot, const LookedAt& square);

/// A square about an outline's middle, of at most so many pixels, in steps no finer than the photo's: without
/// some discs of panel, and with those spots explained that reach it.
Patch patch_about(const PanelScene& scene, const Outline& outline, double half_mm, std::size_t max_pixels,
                  const std::vector<Disc>& leave_out, const std::vector<SpotVector>& explained);

/// Weighs the edges of a spot's stripes as they should be, and lets blur move them.
void look_closely(Patch& patch, const SpotVector& spot);

/// The pixels for a spot, without a disc of panel in it.
Patch patch_without(const PanelScene& scene, const SpotVector& spot, const std::vector<SpotVector>& others,
                    const Disc& disc);

}  // namespace ripplegauge
