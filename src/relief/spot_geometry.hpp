// From a spot's height map to the numbers that people use.
#pragma once

#include <vector>

#include "ripplegauge/core/reading.hpp"
#include "ripplegauge/core/relief.hpp"

namespace ripplegauge {

/// Definitions as in core/reading.hpp. All lengths in mm.
struct SpotGeometry {
  Kind kind = Kind::low;
  double x_mm = 0, y_mm = 0;
  PointMm deepest;  ///< the cell with the largest |height|
  double diameter_mm = 0, length_mm = 0, width_mm = 0, half_diameter_mm = 0, angle_deg = 0;
  double depth_mm = 0;
  double max_slope = 0;      ///< mm per mm
  double max_curvature = 0;  ///< largest principal curvature inside the 10 % region, 1/mm
  double volume_mm3 = 0;
  double opposite_peak_mm = 0;  ///< how far the map goes the other way
  bool touches_border = false;  ///< the 10 % region runs off the map
};

/// Measures the spot with the largest |height| on the map. Areas and moments by fractional coverage of the
/// cells on the contour, so that they converge with the square of the step.
SpotGeometry measure_spot(const Relief& relief);

/// The 10 % contour as a closed polygon, counter-clockwise.
std::vector<PointMm> outline_polygon(const Relief& relief, const SpotGeometry& geometry);

/// Height along the direction angle_deg through a point, from -reach to +reach.
std::vector<ProfilePoint> section_through(const Relief& relief, PointMm point, double angle_deg,
                                          double reach_mm, int points);

/// Largest curvature of the spot, 1/mm, averaged over a length: how much the slope along a straight line
/// changes over it, divided by it; the largest over all lines whose middle lies inside the 10 % region.
double averaged_curvature(const Relief& relief, const SpotGeometry& geometry, double length_mm);

/// Bilinear height; 0 outside the map.
double height_at(const Relief& relief, double x_mm, double y_mm);

}  // namespace ripplegauge
