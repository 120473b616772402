// Photos as they might be taken, drawn at random, with what the user would say of each and the truth.
#pragma once

#include <vector>

#include "rendered_photo.hpp"

namespace ripplegauge::rendered {

/// Ranges that panels are drawn from.
struct Crowns {
  double least_radius_mm = 1000, largest_radius_mm = 8000;
  double sign = 1;           ///< -1: hollow
  double change_per_mm = 0;  ///< standard deviation of the curvature's change by place, 1/mm^2
};

struct RandomPhoto {
  Scene scene;
  double noise = 0.008;  ///< standard deviation of a pixel's linear light
  Processing processing;
  MeasureRequest request;                ///< with the errors that bar and tape have
  double focal_35mm_mm = 0;              ///< as EXIF has it
  double diameter_mm = 0, depth_mm = 0;  ///< truth
  double board_distance_mm = 0;

  Photo photo(unsigned seed) const;
};

/// One dent on one panel in one photo. Views, crowns, boards, paints, shapes (in and out of the family that
/// the library fits), 5 to 35 mm, with or without orange peel; a photo that a careful person would not take
/// is drawn again. Errors of print, tape and focal length come from the uncertainties that the library states
/// for them.
RandomPhoto random_photo(unsigned seed, const Crowns& crowns = {});

/// So many photos of the first one's place: dent, panel, paint and card are the same, and so is what was said
/// of the card; camera, board and light are each photo's own. As workshops have them: boards are bowed a
/// little, half of the cards lift a tip, and the phone, the same for all, adds contrast and sharpens.
std::vector<RandomPhoto> random_set(unsigned seed, std::size_t photos);

}  // namespace ripplegauge::rendered
