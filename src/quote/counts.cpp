// Spots counted by panel and size, as a table of bars in plain text.
#include "quote/counts.hpp"

#include <algorithm>
#include <map>

#include "core/expects.hpp"
#include "words/text.hpp"

namespace ripplegauge {

std::vector<SizeBand> plain_bands() {
  std::vector<SizeBand> bands;
  for (int from_mm = 0; from_mm < 50; from_mm += 10)
    bands.push_back({"", static_cast<double>(from_mm), from_mm + 10.0});
  for (SizeBand& band : bands) band.name = range_text(band);
  bands.push_back({"50+ mm", 50, std::nullopt});
  return bands;
}

std::size_t band_index(const std::vector<SizeBand>& bands, double size_mm) {
  expects(!bands.empty(), "a band to lie in");
  const auto holds = [&](const SizeBand& band) {
    return size_mm >= band.from_mm && (!band.to_mm || size_mm < *band.to_mm);
  };
  return static_cast<std::size_t>(std::find_if(bands.begin(), bands.end(), holds) - bands.begin());
}

const Quantity& size_of(const JobSpot& spot, SizeMeasure size_by) {
  return size_by == SizeMeasure::length && spot.length_mm ? *spot.length_mm : spot.diameter_mm;
}

SpotCounts count_spots(const Job& job, const std::vector<CountedSpot>& counted,
                       const std::vector<SizeBand>& bands, SizeMeasure size_by) {
  SpotCounts counts{bands, {}, 0};
  std::map<std::string, std::size_t> row_of;
  for (const JobPanel& panel : job.panels) {
    row_of[panel.name] = counts.panels.size();
    counts.panels.push_back({panel.name, std::vector<int>(bands.size(), 0), 0});
  }
  std::map<int, const JobSpot*> spot_of;
  for (const JobSpot& spot : job.spots) spot_of[spot.id] = &spot;
  for (const CountedSpot& once : counted) {
    const JobSpot& spot = *spot_of.at(once.id);
    PanelCount& panel = counts.panels[row_of.at(spot.panel)];
    ++panel.by_band.at(band_index(bands, size_of(spot, size_by).value));
    ++panel.total;
    ++counts.total;
  }
  return counts;
}

namespace {

/// Cells of one line of a table; a cell of several lines makes the row as high.
std::string table_row(const std::vector<std::vector<std::string>>& cells, const std::vector<int>& widths) {
  expects(cells.size() == widths.size(), "a width for each cell");
  std::size_t height = 1;
  for (const auto& cell : cells) height = std::max(height, cell.size());
  std::string text;
  for (std::size_t line = 0; line < height; ++line) {
    std::string row;
    for (std::size_t i = 0; i < cells.size(); ++i) {
      const std::string cell = line < cells[i].size() ? cells[i][line] : "";
      row += i == 0 ? padded_right(cell, widths[i]) : padded_left(cell, widths[i]);
    }
    row.erase(row.find_last_not_of(' ') + 1);
    text += row + "\n";
  }
  return text;
}

std::vector<std::vector<std::string>> number_cells(const std::string& name, const std::vector<int>& by_band,
                                                   int total, int name_width) {
  std::vector<std::vector<std::string>> cells{wrapped(name, name_width)};
  for (const int number : by_band) cells.push_back({number == 0 ? "." : std::to_string(number)});
  cells.push_back({std::to_string(total)});
  return cells;
}

}  // namespace

std::string bar_chart(const SpotCounts& counts, int columns) {
  constexpr int least_bar = 8, gap = 2, widest_header = 6;
  const std::string all = "all panels";
  int name_width = display_width(all), fullest = 1;
  for (const PanelCount& panel : counts.panels) {
    name_width = std::max(name_width, display_width(panel.panel));
    fullest = std::max(fullest, panel.total);
  }
  name_width = std::min(name_width, columns / 4);

  std::vector<std::vector<std::string>> header{{"panel"}};
  std::vector<int> widths{name_width};
  for (const SizeBand& band : counts.bands) header.push_back(wrapped(band.name, widest_header));
  header.push_back({"all"});
  for (std::size_t i = 1; i < header.size(); ++i) {
    int width = 3;
    for (const std::string& line : header[i]) width = std::max(width, display_width(line));
    widths.push_back(width + gap);
  }
  int used = 0;
  for (const int width : widths) used += width;
  const int bar_width = std::max(least_bar, columns - used - gap);

  std::string chart = table_row(header, widths);
  std::vector<int> sums(counts.bands.size(), 0);
  for (const PanelCount& panel : counts.panels) {
    for (std::size_t i = 0; i < sums.size(); ++i) sums[i] += panel.by_band[i];
    auto cells = number_cells(panel.panel, panel.by_band, panel.total, name_width);
    const int bar = panel.total == 0 ? 0 : std::max(1, panel.total * bar_width / fullest);
    cells.push_back({std::string(gap, ' ') + std::string(static_cast<std::size_t>(bar), '#')});
    auto with_bar = widths;
    with_bar.push_back(0);
    chart += table_row(cells, with_bar);
  }
  if (counts.panels.size() > 1) chart += table_row(number_cells(all, sums, counts.total, name_width), widths);
  return chart;
}

}  // namespace ripplegauge
