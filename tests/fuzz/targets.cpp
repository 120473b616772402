#include "targets.hpp"

#include <unistd.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <memory>
#include <stdexcept>
#include <vector>

#include "photo/exif.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/files/advice_file.hpp"
#include "ripplegauge/files/camera_profile_file.hpp"
#include "ripplegauge/files/csv.hpp"
#include "ripplegauge/files/job_file.hpp"
#include "ripplegauge/files/kit_file.hpp"
#include "ripplegauge/files/photo_folder.hpp"
#include "ripplegauge/files/price_file.hpp"
#include "ripplegauge/files/relief_file.hpp"
#include "ripplegauge/files/severity_file.hpp"
#include "ripplegauge/files/study_file.hpp"
#include "ripplegauge/files/training_log.hpp"
#include "ripplegauge/files/workshop_file.hpp"
#include "ripplegauge/json/board_file.hpp"
#include "ripplegauge/json/card_file.hpp"
#include "ripplegauge/json/json_reader.hpp"
#include "ripplegauge/json/reading_file.hpp"
#include "ripplegauge/photo/photo.hpp"
#include "ripplegauge/words/text.hpp"

namespace ripplegauge::fuzz {
namespace {

namespace fs = std::filesystem;

const fs::path calibration = fs::path(RIPPLEGAUGE_SOURCE_DIR) / "calibration";

void must(bool condition, const char* what) {
  if (!condition) throw std::logic_error(what);
}

/// For readers that take a file's name: the bytes in a file, in memory where there is a place for that.
class ScratchFile {
 public:
  explicit ScratchFile(const std::string& ending) {
    const fs::path memory = "/dev/shm";
    path_ = (fs::is_directory(memory) ? memory : fs::temp_directory_path()) /
            ("ripplegauge-fuzz-" + std::to_string(::getpid()) + ending);
  }
  ~ScratchFile() {
    std::error_code ignored;
    fs::remove(path_, ignored);
  }
  ScratchFile(const ScratchFile&) = delete;
  ScratchFile& operator=(const ScratchFile&) = delete;

  const fs::path& with(std::string_view bytes) {
    std::ofstream(path_, std::ios::binary | std::ios::trunc)
        .write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
    return path_;
  }

 private:
  fs::path path_;
};

/// Calls read(bytes); a FileError is a right answer.
template <class Read>
Target reader(Read read) {
  return [read](std::string_view bytes) {
    try {
      read(bytes);
    } catch (const FileError&) {
    }
  };
}

template <class Read>
Target file_reader(Read read, const std::string& ending = ".json") {
  return [read, file = std::make_shared<ScratchFile>(ending)](std::string_view bytes) {
    try {
      read(file->with(bytes));
    } catch (const FileError&) {
    }
  };
}

/// What can be read can be written, and reading that back gives the same once more.
template <class Read, class Write>
Target round_trip(Read read, Write write) {
  return reader([read, write](std::string_view bytes) {
    const auto value = read(bytes, "input");
    std::string text, again;
    try {
      text = write(value);
      again = write(read(text, "written"));
    } catch (const FileError& error) {
      throw std::logic_error(std::string("what was written cannot be read back: ") + error.what());
    }
    must(text == again, "what is read back is not what was written");
  });
}

void decode(std::string_view bytes, double most_pixels) {
  PhotoLimits limits;
  limits.max_megapixels = most_pixels * 1e-6;
  const Photo photo = decode_photo(bytes, "photo", limits);
  must(photo.grey.type() == CV_8UC1 && !photo.grey.empty(), "a photo without pixels");
  must(photo.exif_orientation >= 1 && photo.exif_orientation <= 8, "no such orientation");
}

void exif(std::string_view bytes) {
  const photo_detail::ExifFacts facts = photo_detail::exif_facts(std::string(bytes));
  must(facts.orientation >= 1 && facts.orientation <= 8, "no such orientation");
  must(!facts.focal_35mm_mm || *facts.focal_35mm_mm > 0, "no such focal length");
}

/// Pattern and name, a line each.
void panel_name(std::string_view bytes) {
  const std::size_t end = std::min(bytes.find('\n'), bytes.size());
  const std::string_view name = bytes.substr(std::min(end + 1, bytes.size()));
  try {
    if (const auto panel = panel_from_name(bytes.substr(0, end), name))
      must(name.find(*panel) != std::string_view::npos, "a panel that the name does not have");
  } catch (const UsageError&) {
  }
  printable(std::string(name));
}

const SeverityRules& severity_rules() {
  static const SeverityRules rules =
      read_severity_rules(calibration / "severity.json", calibration / "materials.json");
  return rules;
}

void relief(const fs::path& file) {
  const Relief relief = read_relief(file);
  if (!relief.empty()) must(!relief_to_text(relief, ',').empty(), "a relief that cannot be written");
}

}  // namespace

const std::map<std::string, Target>& targets() {
  static const std::map<std::string, Target> all = {
      {"photo-header", reader([](std::string_view bytes) { decode(bytes, 0); })},
      {"photo-pixels", reader([](std::string_view bytes) { decode(bytes, 10'000); })},
      {"exif", exif},
      {"json", reader([](std::string_view bytes) { JsonFile::parse(bytes, "input").objects(); })},
      {"card", file_reader([](const fs::path& file) { read_card(file); })},
      {"board", round_trip(board_from_json, board_to_json)},
      {"camera", round_trip(camera_profile_from_json, camera_profile_to_json)},
      {"kit", file_reader([](const fs::path& file) { read_kit(file); })},
      {"workshop", file_reader([](const fs::path& file) { read_workshop(file); })},
      {"prices", round_trip(prices_from_json, prices_to_json)},
      {"prices-csv", round_trip(
                         [](std::string_view bytes, const std::string& name) {
                           return name == "input" ? prices_from_csv(bytes, name)
                                                  : prices_from_json(bytes, name);
                         },
                         prices_to_json)},
      {"job", round_trip(job_from_json, job_to_json)},
      {"readings", round_trip(readings_from_json, reading_list_to_json)},
      {"severity",
       file_reader([](const fs::path& file) { read_severity_rules(file, calibration / "materials.json"); })},
      {"metals",
       file_reader([](const fs::path& file) { read_severity_rules(calibration / "severity.json", file); })},
      {"coins", file_reader([](const fs::path& file) { read_coins(file); })},
      {"rules", file_reader([](const fs::path& file) { read_advice_rules(file, severity_rules()); })},
      {"panel-facts", file_reader([](const fs::path& file) { read_panel_facts(file); })},
      {"csv", reader([](std::string_view bytes) { parse_csv(bytes, "input"); })},
      {"study", file_reader([](const fs::path& file) { read_study_file(file); }, ".csv")},
      {"training-log", file_reader([](const fs::path& file) { read_training_log(file); }, ".csv")},
      {"relief", file_reader(relief, ".csv")},
      {"panel-name", panel_name},
  };
  return all;
}

}  // namespace ripplegauge::fuzz
