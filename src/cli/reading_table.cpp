// A reading as lines of text: spots, their sizes with intervals, the budget where it is asked for, warnings.
#include "reading_table.hpp"

#include <fmt/format.h>

#include <cmath>

#include "core/crease.hpp"
#include "core/no_dent_words.hpp"
#include "option_hints.hpp"
#include "output_filter.hpp"
#include "terminal.hpp"

namespace ripplegauge::cli {
namespace {

/// A value with its interval, with as many decimals as the interval deserves.
std::string with_interval(const Quantity& q, const char* unit) {
  const double half = q.half_width();
  const int decimals = half >= 9.5 ? 0 : half >= 0.095 ? 1 : half >= 0.0095 ? 2 : 3;
  return fmt::format("{:.{}f} {} ({:.{}f} to {:.{}f})", q.value, decimals, unit, q.low, decimals, q.high,
                     decimals);
}

const char* kind_words(const Dent& dent) {
  if (is_crease(dent)) return dent.kind == Kind::low ? "low, a crease" : "high, a ridge";
  return dent.kind == Kind::low ? "low" : "high";
}

/// The photo's name, or those of a set that count.
std::string heading(const Reading& reading) {
  std::string names;
  for (const PhotoOfSet& p : reading.set)
    if (p.left_out.empty()) names += (names.empty() ? "" : ", ") + one_line(p.photo.name);
  return names.empty() ? one_line(reading.photo.name) : names + ", read together";
}

}  // namespace

std::string reading_table(const Reading& reading, const ReadingTableOptions& options) {
  std::string out = heading(reading) + "\n";
  if (reading.status == Status::refused && reading.refusal) {
    out += wrap("Not measured: " + reading.refusal->message, "  ", "  ");
    out += wrap("What to do: " + remedy_with_options(*reading.refusal), "  ", "  ");
    return out + "  (" + reading.refusal->code + ")\n";
  }
  if (reading.status == Status::no_dent) {
    out += wrap(no_dent_headline(reading.setup), "  ", "  ");
    out += wrap(smallest_visible_words(reading.setup), "  ", "  ");
  }
  for (std::size_t i = 0; i < reading.dents.size(); ++i) {
    const Dent& d = reading.dents[i];
    out += fmt::format("  Spot {}: {}, at x {:.1f}, y {:.1f} mm from the card's corner tag\n", i + 1,
                       kind_words(d), d.x_mm, d.y_mm);
    // a crease is known by its length and width, and has the area of a circle of that diameter
    const bool crease = is_crease(d);
    if (!crease) out += "    diameter    " + with_interval(d.diameter_mm, "mm") + "\n";
    if (d.length_mm.value > 1.15 * d.width_mm.value) {
      out += "    length      " + with_interval(d.length_mm, "mm") +
             fmt::format(", direction {:.0f} deg", d.angle_deg) + "\n";
      out += "    width       " + with_interval(d.width_mm, "mm") + "\n";
      if (crease) out += "    area as of  " + with_interval(d.diameter_mm, "mm") + ", a circle\n";
    }
    out += std::string("    ") + (d.kind == Kind::low ? "depth       " : "height      ") +
           (d.depth_mm ? with_interval(*d.depth_mm, "mm") : "not known") + "\n";
    if (d.flattened_line)
      out += "    body line   flattened over " + with_interval(d.flattened_line->length_mm, "mm") + ", " +
             with_interval(d.flattened_line->depth_mm, d.kind == Kind::low ? "mm low" : "mm high") + "\n";
    if (d.panel_end_mm)
      out += "    panel ends  " + with_interval(*d.panel_end_mm, "mm") + " from its middle, or is covered\n";
    if (d.max_slope_mrad)
      out += "    slope       " + with_interval(*d.max_slope_mrad, "mrad") + ", millimetres in a metre\n";
    if (!d.severity.empty())
      out += wrap(d.severity_reason.empty() ? d.severity : d.severity_reason, "    ", "    ");
    out += fmt::format("    fit         explains {:.0f} % of how the stripes bend here\n", 100 * d.agreement);
    for (const std::string& note : d.notes) out += wrap("note: " + note, "    ", "    ");
    if (options.budget && i < reading.budgets.size()) {
      out += fmt::format("    {:<34} {:>10} {:>10}\n", "standard uncertainty, per cent", "diameter", "depth");
      double dd = 0, zz = 0;
      for (const BudgetTerm& t : reading.budgets[i]) {
        out += fmt::format("      {:<32} {:10.2f} {:10.2f}\n", t.name, t.diameter_percent, t.depth_percent);
        dd += t.diameter_percent * t.diameter_percent;
        zz += t.depth_percent * t.depth_percent;
      }
      out += fmt::format("      {:<32} {:10.2f} {:10.2f}\n", "together", std::sqrt(dd), std::sqrt(zz));
    }
  }
  for (const BodyLine& line : reading.setup.body_lines()) out += wrap(body_line_words(line), "  ", "  ");
  for (const Warning& w : reading.warnings) out += wrap("Warning: " + w.message, "  ", "  ");
  return out;
}

}  // namespace ripplegauge::cli
