// The same photo, the same bytes: however many threads work at it.
#include <cstring>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <opencv2/core/utility.hpp>

#include "catch.hpp"
#include "ripplegauge/json/card_file.hpp"
#include "ripplegauge/json/reading_file.hpp"
#include "ripplegauge/measure/measure.hpp"
#include "ripplegauge/photo/photo.hpp"

using namespace ripplegauge;

namespace {

const std::filesystem::path root = RIPPLEGAUGE_SOURCE_DIR;

/// OpenCV's own threads, put back at the end of the scope.
class OpenCvThreads {
 public:
  explicit OpenCvThreads(int count) : before_(cv::getNumThreads()) { cv::setNumThreads(count); }
  ~OpenCvThreads() { cv::setNumThreads(before_); }
  OpenCvThreads(const OpenCvThreads&) = delete;
  OpenCvThreads& operator=(const OpenCvThreads&) = delete;

 private:
  int before_;
};

struct Bytes {
  std::string json;
  std::vector<float> relief_mm;
};

Bytes measured(const std::string& sample, int our_threads, int opencv_threads) {
  const OpenCvThreads threads(opencv_threads);
  const auto photo = root / "samples/photos" / sample;
  std::ifstream in(photo.string() + ".json");
  const auto given = nlohmann::json::parse(in).at("given");
  MeasureRequest request;
  request.card = read_card(root / "calibration/card-corner.json");
  request.board_pitch_mm = given.at("board_pitch_mm").get<double>();
  request.board_distance_mm = given.at("board_distance_mm").get<double>();
  request.bar_length_mm = given.at("check_bar_mm").get<double>();
  const Measurement m = measure(read_photo(photo.string() + ".jpg"), request, {.threads = our_threads});
  REQUIRE(m.reading.status == Status::measured);
  return {readings_to_json({m.reading}), m.relief.height_mm};
}

}  // namespace

TEST_CASE("the same photo gives the same JSON bytes and relief on any number of threads", "[threads]") {
  const std::string sample = GENERATE(as<std::string>(), "low-dark", "pull-after");
  INFO(sample);
  const Bytes alone = measured(sample, 1, 1);
  for (const int threads : {2, 5}) {
    INFO(threads << " threads");
    const Bytes together = measured(sample, threads, 2);
    CHECK(together.json == alone.json);
    REQUIRE(together.relief_mm.size() == alone.relief_mm.size());
    // As bytes: what was not seen is NaN, which equals nothing.
    CHECK(std::memcmp(together.relief_mm.data(), alone.relief_mm.data(),
                      alone.relief_mm.size() * sizeof(float)) == 0);
  }
}
