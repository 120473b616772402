// The numbers of a spot that was fitted, from one photo or from several: what they scatter by, and how they
// are written into a reading.
#pragma once

#include <Eigen/Core>
#include <span>
#include <vector>

#include "dents/spot_shape.hpp"
#include "relief/spot_geometry.hpp"
#include "ripplegauge/core/reading.hpp"
#include "ripplegauge/core/relief.hpp"
#include "stripes/residual_field.hpp"

namespace ripplegauge {

/// Diameter, depth, length, width, half diameter and averaged curvature; or how far each is relatively off.
using SpotNumbers = Eigen::Matrix<double, 6, 1>;

SpotNumbers numbers_of(const SpotGeometry& geometry, const Relief& map);
/// Relative to a spot's own numbers, minus 1.
SpotNumbers off_by(const SpotNumbers& numbers, const SpotNumbers& own);

constexpr int map_cells = 201;    ///< of the relief that sizes are read from
constexpr int spread_cells = 81;  ///< of those that only say how far they may be off

/// From a spot's, or a sum's, middle to where nothing is left of it.
double reach_of(std::span<const SpotVector> parts);
/// Some spots where the sum of `parts` lies.
Relief draw_at(std::span<const SpotVector> spots, std::span<const SpotVector> parts, int cells);

/// The ellipse of a spot's contour at a tenth of its depth, as a spot.
SpotVector ellipse_of(const SpotGeometry& geometry, const SpotVector& like);

/// Relative standard uncertainty that no formula here knows of: paint that is no ideal mirror, paper that
/// lifts, a lens that is no polynomial. Sized on ray-traced photos.
constexpr double model_diameter = 0.002, model_depth = 0.007;

/// Orange peel is slope of the panel's own and adds to the spot's, less the more looks at it there are:
/// relative standard uncertainty times move of the stripes over their jitter times root of the looks. Sized
/// on ray-traced photos.
constexpr double peel_share = 1;

/// The free surface's prior leaves room for rims and kidneys. Where the family explains the stripes, such a
/// shape is a thing that they do not show, seldom there: this much of its spread counts. Sized on ray-traced
/// photos.
constexpr double unseen_shapes = 0.25;

/// Below these shares explained, by the surface or by the spot that it started from, an answer carries a
/// warning. Once the surface is let go, noise is all that should be left: 80 ray-traced dents of all kinds
/// are explained by 0.93 to 1, blots in the reflection that are read as dents by 0.90.
constexpr double least_agreement = 0.92, least_agreement_at_start = 0.85;

inline bool is_poorly_explained(double by_surface, double at_start) {
  return by_surface < least_agreement || at_start < least_agreement_at_start;
}

/// Relative standard uncertainties.
struct ShapeDoubt {
  double diameter = 0, depth = 0;
};
/// By what the re-drawn stripes leave over: the share of the disturbance that the last shape leaves, and that
/// the spot left which it started from.
ShapeDoubt unexplained_doubt(double explained, double explained_at_start);

/// By what a body line hides of a spot: between the flanks the shape is a guess, and where the middle is
/// hidden, so is the depth.
ShapeDoubt line_doubt(const ResidualField& field, const SpotVector& spot);

/// The last terms of a spot's budget, the same for one photo and for several: how far its shape is believed.
void add_shape_terms(const ShapeDoubt& shape, const ShapeDoubt& unexplained, const ShapeDoubt& by_line,
                     const ShapeDoubt& model, std::vector<BudgetTerm>& budget);

/// 95 %. A size is a scale: what is not known of it is a factor, and its logarithm has this standard
/// uncertainty.
Quantity interval(double value, double relative);
/// The standard uncertainty that `interval` was given.
double relative_uncertainty(const Quantity& quantity);

/// A spot as it was found to be.
struct SpotAnswer {
  SpotGeometry shape;
  Relief map;
  double largest_curvature = 0;              ///< of the parametric spot, 1/mm
  double averaged_curvature = 0;             ///< over bend_length_mm, 1/mm
  double u_diameter = 0, u_depth = 0;        ///< relative
  SpotNumbers spread = SpotNumbers::Zero();  ///< relative, of noise and shape alone
};
Dent dent_of(const SpotAnswer& answer);

/// All spots on one map; empty for none.
Relief one_map(const std::vector<const Relief*>& maps);

}  // namespace ripplegauge
