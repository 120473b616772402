// Readings as JSON, schema 1: what `measure --json` writes and every later command starts from.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/core/reading.hpp"
#include "ripplegauge/json/json_reader.hpp"

namespace ripplegauge {

/// One JSON object. The same reading gives the same bytes; unknown quantities (NaN) are null, absent ones are
/// left out. Reading the text back and writing it again changes nothing.
std::string reading_to_json(const Reading& reading);

/// A single reading as one object, several as an array of objects.
std::string readings_to_json(const std::vector<Reading>& readings);

/// An array, however many there are.
std::string reading_list_to_json(const std::vector<Reading>& readings);

/// A photo was given where its reading is asked for. The front end adds how to make one.
class PhotoForReading : public FileError {
 public:
  explicit PhotoForReading(const std::string& file)
      : FileError(file, "is a photo, and its reading is asked for") {}
};

/// At least one reading; a file may hold one object or an array of them. Throws FileError, PhotoForReading.
std::vector<Reading> read_readings(const std::filesystem::path& file);

struct PanelReadings {
  std::string panel;
  std::vector<Reading> readings;
};

/// The readings of one vehicle by its panels, as the page hands them over:
///   {"schema": 1, "vehicle": "blue estate", "panels": [{"panel": "bonnet", "readings": [...]}, ...]}
/// Absent for a file of plain readings. Throws FileError.
std::optional<std::vector<PanelReadings>> read_vehicle(const std::filesystem::path& file);

/// Of a file that holds a reading among other things. Throws FileError.
Reading reading_from_object(ObjectReader& object);

/// `name` stands for the file in error messages.
std::vector<Reading> readings_from_json(std::string_view text, const std::string& name);

}  // namespace ripplegauge
