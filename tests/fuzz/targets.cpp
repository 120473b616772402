#include "targets.hpp"

#include <sys/resource.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <memory>
#include <opencv2/imgproc.hpp>
#include <stdexcept>
#include <vector>

#include "files/advice_file.hpp"
#include "files/camera_profile_file.hpp"
#include "files/csv.hpp"
#include "files/job_file.hpp"
#include "files/kit_file.hpp"
#include "files/photo_folder.hpp"
#include "files/price_file.hpp"
#include "files/relief_file.hpp"
#include "files/severity_file.hpp"
#include "files/study_file.hpp"
#include "files/training_log.hpp"
#include "files/workshop_file.hpp"
#include "heif_grammar.hpp"
#include "photo/decode.hpp"
#include "photo/exif.hpp"
#include "photo/heif_structure.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/json/board_file.hpp"
#include "ripplegauge/json/card_file.hpp"
#include "ripplegauge/json/json_reader.hpp"
#include "ripplegauge/json/reading_file.hpp"
#include "ripplegauge/measure/measure.hpp"
#include "ripplegauge/photo/photo.hpp"
#include "sanitized.hpp"
#include "words/text.hpp"

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

/// Seconds of processor time that this process, or those that it waited for, have taken.
double processor_s(int whose) {
  struct rusage used {};
  ::getrusage(static_cast<__rusage_who_t>(whose), &used);
  return static_cast<double>(used.ru_utime.tv_sec + used.ru_stime.tv_sec) +
         1e-6 * static_cast<double>(used.ru_utime.tv_usec + used.ru_stime.tv_usec);
}

/// Of processor time: what a photo of nothing but disturbances takes, some five seconds, and more for a busy
/// machine; ten times that where every access is checked.
constexpr double longest_s = sanitized ? 150 : 15;

bool has_heif_structure(std::string_view bytes) {
  try {
    photo_detail::check_heif(bytes, {});
    return true;
  } catch (const photo_detail::DecodeError&) {
    return false;
  }
}

/// Files whose boxes fit together more often than not. What passes the check must not keep the decoder busy.
void heif_boxes(std::string_view choices) {
  static const std::string sample = [] {
    std::ifstream in(fs::path(RIPPLEGAUGE_SOURCE_DIR) / "tests/fuzz/corpus/photo-pixels/photo.heic",
                     std::ios::binary);
    return std::string(std::istreambuf_iterator<char>(in), {});
  }();
  const std::string file = heif_from_choices(choices, sample);
  if (!has_heif_structure(file)) return;
  const double begin_s = processor_s(RUSAGE_CHILDREN);
  try {
    decode_photo(file, "photo");
  } catch (const FileError&) {
  }
  must(processor_s(RUSAGE_CHILDREN) - begin_s < longest_s, "a picture of a few tiles takes seconds");
}

/// Six bytes each: what happens to which part of the photo.
void spoil(cv::Mat& grey, std::string_view bytes) {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(bytes[i]); };
  for (std::size_t i = 0; i + 6 <= bytes.size(); i += 6) {
    const int x = byte(i + 1) * grey.cols / 256, y = byte(i + 2) * grey.rows / 256;
    const cv::Rect place =
        cv::Rect(x, y, 1 + byte(i + 3) * grey.cols / 256, 1 + byte(i + 4) * grey.rows / 256) &
        cv::Rect(0, 0, grey.cols, grey.rows);
    cv::Mat part = grey(place);
    const int strength = byte(i + 5);
    switch (byte(i) % 8) {
      case 0:
        part.setTo(strength);
        break;
      case 1:
        part += strength - 128;
        break;
      case 2:
        part.convertTo(part, -1, strength / 128.0);
        break;
      case 3:
        cv::blur(part, part, {1 + strength % 32, 1 + strength / 32});
        break;
      case 4: {
        cv::Mat noise(part.size(), CV_8UC1);
        cv::theRNG().state = static_cast<std::uint64_t>(strength) + 1;
        cv::randu(noise, 0, 1 + strength);
        part += noise;
        break;
      }
      case 5:
        cv::flip(part, part, strength % 3 - 1);
        break;
      case 6:
        cv::circle(grey, {x, y}, 1 + strength / 4, cv::Scalar(byte(i + 3)), cv::FILLED, cv::LINE_AA);
        break;
      default:
        cv::line(grey, {x, y}, {place.br().x, place.br().y}, cv::Scalar(strength), 1 + strength % 8,
                 cv::LINE_AA);
    }
  }
}

/// A photo that measures well, spoilt: it is measured or refused, with numbers, in a moment.
void whole_photo(std::string_view bytes) {
  static const Photo sample = [] {
    Photo photo = read_photo(fs::path(RIPPLEGAUGE_SOURCE_DIR) / "samples/photos/low-dark.jpg");
    cv::resize(photo.grey, photo.grey, {1000, 750}, 0, 0, cv::INTER_AREA);
    return photo;
  }();
  static const MeasureRequest request = [] {
    MeasureRequest made;
    made.card = read_card(calibration / "card-corner.json");
    made.bar_length_mm = 98.4;
    made.board_pitch_mm = 14;
    made.board_distance_mm = 288;
    return made;
  }();
  Photo photo = sample;
  photo.grey = sample.grey.clone();
  spoil(photo.grey, bytes);
  const double begin_s = processor_s(RUSAGE_SELF);
  const Reading reading = measure(photo, request).reading;
  must(processor_s(RUSAGE_SELF) - begin_s < longest_s, "a small photo takes seconds");
  for (const Dent& dent : reading.dents)
    must(std::isfinite(dent.diameter_mm.value) && dent.diameter_mm.low <= dent.diameter_mm.high,
         "a spot without a size");
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
      {"heif", [](std::string_view bytes) { has_heif_structure(bytes); }},
      {"heif-boxes", heif_boxes},
      {"photo-whole", whole_photo},
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
