// When a warmed panel is at the right temperature for the pull: Newton's law of cooling, fitted to a few
// readings of an infrared thermometer, or estimated from the sheet alone.
#pragma once

#include <optional>
#include <vector>

#include "ripplegauge/core/quantity.hpp"
#include "ripplegauge/core/reading.hpp"
#include "severity/sheet_metal.hpp"

namespace ripplegauge {

struct TemperatureReading {
  double at_s = 0, celsius = 0;
};

struct TemperatureRange {
  double low_c = 0, high_c = 0;
};

struct CoolingOptions {
  /// What an ordinary infrared thermometer's data sheet promises. A limit of which nothing more is known
  /// counts as rectangular: standard uncertainty = limit / sqrt(3) (JCGM 100:2008, 4.3.7).
  double thermometer_limit_c = 1.5;
  /// A wall thermometer is good to a degree. It counts the same way.
  double ambient_limit_c = 1.0;

  void validate() const;
};

struct PullWindow {
  /// Counted on the clock of the readings. Absent when the panel never gets there, or was there before the
  /// first reading; a warning says which.
  std::optional<Quantity> enters_s, leaves_s;
  std::optional<Quantity> rate_per_s;  ///< k in T = ambient + (T0 - ambient) exp(-k t)
  double rms_residual_c = 0;           ///< of the readings about the fitted law
  bool warming = false;                ///< the panel is colder than the air
  std::vector<Warning> warnings;
};

/// Least squares in temperature, interval by JCGM 100:2008, 5.1.3 (sensitivities by refitting, coverage
/// factor 2); readings that scatter more than the thermometer explains widen it (Birge ratio). Throws
/// UsageError for fewer than two readings, an empty range, or all readings at one time.
PullWindow fit_cooling(const std::vector<TemperatureReading>& readings, double ambient_c,
                       const TemperatureRange& window, const CoolingOptions& options = {});

/// Newton's law: time from one temperature to another; NaN when it is never reached.
double seconds_to_reach(double rate_per_s, double ambient_c, double from_c, double to_c);

/// The same without a thermometer: a bare sheet that loses heat from both faces by free convection and
/// radiation, rate = 2 h / (density · heat capacity · thickness), h = 10 W/m²K within 6 to 16 (textbook
/// range, from memory). Good to a factor of about 1.6; it says what to expect, not when to pull.
Quantity estimated_seconds(const SheetMetal& metal, const std::optional<double>& thickness_mm,
                           double ambient_c, double from_c, double to_c);

}  // namespace ripplegauge
