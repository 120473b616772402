// A panel with hail takes several photos, and a spot near a photo's border shows in two of them. With the
// card left where it is, such a spot has the same position in the card frame in both; with the card moved,
// several spots make the same pattern. It counts once. What is neither clearly one spot nor clearly two is
// asked about.
#pragma once

#include <string>
#include <vector>

#include "quote/job.hpp"

namespace ripplegauge {

/// How far apart two sightings of one spot may lie; the parts add in quadrature. On rendered photos nine
/// centroids in ten are right to 0.3 mm and the worst to 0.8 mm; real paper lies less flat and a spot near
/// the border is seen at a slant, so more is allowed. Dents that are told apart at all lie farther from each
/// other than this.
struct OverlapOptions {
  double corner_mm = 2.0;           ///< corner and print-scale errors, whatever the spot
  double share_of_diameter = 0.06;  ///< the centroid of a wide spot moves with its shallow rim
  double share_of_distance =
      0.012;                    ///< errors of the card's pose grow with the distance from the card's origin
  double size_agreement = 1.5;  ///< diameters must agree within this multiple of their two half-widths, ...
  double least_size_share = 0.05;  ///< ... which are taken as at least this share of the diameter
  /// Of a single spot that no other one bears out, diameter and depth must agree more closely: separate dents
  /// photographed one by one with the card laid alike have one place, too.
  double least_lone_size_share = 0.02, least_lone_depth_share = 0.05;
};

/// A spot as it counts: one of the job's spots, with what else was seen of it.
struct CountedSpot {
  int id = 0;  ///< the sighting that stands for it: the one with the narrowest diameter interval
  std::vector<int> also_seen;  ///< other sightings, by id, in rising order
};

struct CountedOnce {
  std::vector<CountedSpot> spots;
  std::vector<std::string> questions;  ///< what a person has to decide, and how the program counted meanwhile
};

/// The spots of a job that count, each once, in the order of their ids: voided ones are left out, and
/// sightings of one spot in several photos of a panel are merged. Sightings are paired photo by photo,
/// nearest first, one to one. If fewer than half of the spots that lie in both photos' common ground pair up,
/// the card was moved between the two: then a pattern of four spots or more that fits in one way only, or of
/// all three, joins them. Hand entries and spots that count alone are never merged; spots that somebody said
/// are one always are.
CountedOnce count_once(const Job& job, const OverlapOptions& options = {},
                       const Wording& words = Wording::plain());

/// count_once without the questions.
std::vector<CountedSpot> merge_overlapping(const Job& job, const OverlapOptions& options = {});

}  // namespace ripplegauge
