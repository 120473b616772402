// How many spots of which size are on which panel, as numbers and as a plain bar chart.
#pragma once

#include <string>
#include <vector>

#include "quote/job.hpp"
#include "quote/overlap.hpp"
#include "quote/price_table.hpp"

namespace ripplegauge {

/// Steps of 10 mm up to 50 mm, for a job that no price file goes with.
std::vector<SizeBand> plain_bands();

/// Index of the band that a size lies in, its lower edge included. The bands must be gapless.
std::size_t band_index(const std::vector<SizeBand>& bands, double size_mm);

struct PanelCount {
  std::string panel;
  std::vector<int> by_band;  ///< in the order of the bands
  int total = 0;
};

struct SpotCounts {
  std::vector<SizeBand> bands;
  std::vector<PanelCount> panels;  ///< in the order of the job's panels, those without spots included
  int total = 0;
};

/// Each spot once (see merge_overlapping), by the measured value of its size.
SpotCounts count_spots(const Job& job, const std::vector<CountedSpot>& counted,
                       const std::vector<SizeBand>& bands, SizeMeasure size_by = SizeMeasure::diameter);

/// The spot's size in the stated sense; its diameter where no length is known.
const Quantity& size_of(const JobSpot& spot, SizeMeasure size_by);

/// A table with a row per panel and a bar as long as its share of the fullest panel, `columns` wide at most.
/// Bars are drawn with '#', for any terminal and for files.
std::string bar_chart(const SpotCounts& counts, int columns = 80);

}  // namespace ripplegauge
