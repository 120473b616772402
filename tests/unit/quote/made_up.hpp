// A made-up workshop's prices and jobs for the tests; no real price list stands behind any number here.
#pragma once

#include "quote/quote.hpp"

namespace made_up {

using namespace ripplegauge;

/// Three bands, two grades that are pulled and one that is beyond pulling; euro cents; nothing else.
inline PriceTable plain_table() {
  PriceTable table;
  table.name = "made up";
  table.currency = {"EUR", 2};
  table.bands = {{"small", 0, 20}, {"middle", 20, 40}, {"large", 40, std::nullopt}};
  table.severities = {"light", "deep", "torn"};
  table.beyond_pulling = {"torn"};
  for (const auto& [band, light, deep] : {std::tuple("small", 4500, 6000), std::tuple("middle", 7000, 9550),
                                          std::tuple("large", 12000, 18000)}) {
    table.prices.push_back({band, "light", 1, std::nullopt, light, Per::spot});
    table.prices.push_back({band, "deep", 1, std::nullopt, deep, Per::spot});
  }
  return table;
}

inline JobSpot by_hand(const std::string& panel, double diameter_mm, const std::string& severity,
                       std::vector<std::string> facts = {}) {
  JobSpot spot;
  spot.panel = panel;
  spot.diameter_mm = {diameter_mm, diameter_mm, diameter_mm};
  spot.severity = severity;
  spot.facts = std::move(facts);
  return spot;
}

inline Dent dent_at(double x_mm, double y_mm, double diameter_mm, double half_width_mm = 0.4) {
  Dent dent;
  dent.x_mm = x_mm;
  dent.y_mm = y_mm;
  dent.diameter_mm = {diameter_mm, diameter_mm - half_width_mm, diameter_mm + half_width_mm};
  dent.length_mm = dent.width_mm = dent.diameter_mm;
  dent.depth_mm = Quantity{0.3, 0.25, 0.35};
  dent.severity = "light";
  return dent;
}

inline Reading reading_of(const std::string& name, std::vector<Dent> dents) {
  Reading reading;
  reading.photo.name = name;
  reading.photo.sha256 = "hash of " + name;
  reading.photo.date_taken = "2024-05-01 10:00:00";
  reading.status = dents.empty() ? Status::no_dent : Status::measured;
  reading.dents = std::move(dents);
  return reading;
}

inline std::int64_t lines_sum(const Quote& quote) {
  std::int64_t sum_minor = 0;
  for (const QuoteLine& line : quote.lines) sum_minor += line.amount_minor;
  return sum_minor;
}

inline const QuoteLine* find_line(const Quote& quote, LineType type, const std::string& name = "",
                                  const std::string& panel = "") {
  for (const QuoteLine& line : quote.lines)
    if (line.type == type && (name.empty() || line.name == name) && (panel.empty() || line.panel == panel))
      return &line;
  return nullptr;
}

}  // namespace made_up
