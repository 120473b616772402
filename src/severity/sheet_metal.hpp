// The metal of a panel, and what bending does to it. Lengths in mm, strains as plain ratios.
#pragma once

#include <string>
#include <vector>

#include "ripplegauge/core/quantity.hpp"
#include "ripplegauge/core/reading.hpp"
#include "severity/panel_facts.hpp"

namespace ripplegauge {

/// What a material brings when nothing better is known of the panel at hand.
struct SheetMetal {
  Material material = Material::unknown;
  Quantity yield_mpa;
  double youngs_gpa = 0;
  Quantity thickness_mm;
  double density_kg_m3 = 0, heat_capacity_j_kgk = 0;
  std::string reason;  ///< where the numbers come from
};

/// Strain at which the metal stays bent: yield strength over Young's modulus.
double yield_strain(double yield_mpa, double youngs_gpa);

/// Strain of the outer fibre, where the paint is, of a sheet bent to a radius: thickness × curvature / 2
/// (plane sections stay plane; any textbook on strength of materials).
double bending_strain(double thickness_mm, double radius_mm);

/// Length of the parabola with this chord and sagitta, exact: with a = 4 h / c,
/// c/2 (sqrt(1 + a²) + asinh(a) / a). PlanetMath, "arc length of parabola".
double parabola_arc_mm(double chord_mm, double sagitta_mm);

/// Arc length over chord, minus 1, of the part of a measured section that lies beyond a tenth of its peak;
/// NaN if fewer than three points are left.
double profile_stretch(const std::vector<ProfilePoint>& section);

/// Smallest radius of bend, averaged over bend_length_mm, of a Gaussian spot that is `width` wide at a tenth
/// of its depth: sigma = W / (2 sqrt(2 ln 10)). The shape is a guess: a parabola bends up
/// to ln 10 = 2.3 times less, and the interval allows as much to either side, besides what width and depth
/// bring.
Quantity estimated_bend_radius_mm(const Quantity& width_mm, const Quantity& depth_mm);

/// Steepest slope of the same Gaussian: d / (sigma sqrt(e)), 2.60 d / W. A parabola has 4 d / W, 1.54 times
/// as much; the interval allows that factor to either side.
Quantity estimated_max_slope_mrad(const Quantity& width_mm, const Quantity& depth_mm);

/// Stretch of a parabola of this width and depth: the least a smooth spot of that size can do is close to it.
Quantity estimated_stretch(const Quantity& width_mm, const Quantity& depth_mm);

}  // namespace ripplegauge
