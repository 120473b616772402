// Answers must not flip: a photo nudged by less than its own uncertainty reads as before. Each sample is
// nudged eight ways: the bar by a tenth of a millimetre, some pixels by one grey value, the picture by a
// pixel, and by saving it once more.
#include <algorithm>
#include <cmath>
#include <opencv2/imgcodecs.hpp>
#include <vector>

#include "altered_photos.hpp"
#include "catch.hpp"

using namespace ripplegauge;

namespace {

cv::Mat with_some_pixels_off_by_one(const cv::Mat& grey, unsigned seed) {
  cv::Mat out = grey.clone();
  cv::RNG random(seed);
  constexpr double share = 0.02;
  for (int r = 0; r < out.rows; ++r)
    for (int c = 0; c < out.cols; ++c)
      if (random.uniform(0.0, 1.0) < share)
        out.at<uchar>(r, c) =
            cv::saturate_cast<uchar>(out.at<uchar>(r, c) + (random.uniform(0, 2) == 0 ? -1 : 1));
  return out;
}

cv::Mat shifted_by_a_pixel(const cv::Mat& grey) {
  cv::Mat out;
  cv::copyMakeBorder(grey.colRange(0, grey.cols - 1), out, 0, 0, 1, 0, cv::BORDER_REPLICATE);
  return out;
}

cv::Mat saved_again(const cv::Mat& grey) {
  std::vector<uchar> bytes;
  cv::imencode(".jpg", grey, bytes, {cv::IMWRITE_JPEG_QUALITY, 95});
  return cv::imdecode(bytes, cv::IMREAD_GRAYSCALE);
}

std::vector<Reading> nudged_readings(const Sample& s) {
  std::vector<Reading> readings{measure(s.photo, s.request).reading};
  for (const double off_mm : {-0.1, 0.1}) {
    MeasureRequest request = s.request;
    request.bar_length_mm += off_mm;
    readings.push_back(measure(s.photo, request).reading);
  }
  std::vector<cv::Mat> pictures;
  for (const unsigned seed : {1U, 2U, 3U, 4U})
    pictures.push_back(with_some_pixels_off_by_one(s.photo.grey, seed));
  pictures.push_back(shifted_by_a_pixel(s.photo.grey));
  pictures.push_back(saved_again(s.photo.grey));
  for (const cv::Mat& grey : pictures)
    readings.push_back(measure(with_grey(s.photo, grey), s.request).reading);
  return readings;
}

/// Spread of one quantity over the readings, in half-widths of its interval; every value in every interval.
double spread_of(const std::vector<Quantity>& values) {
  double sum = 0, squares = 0, half = 0;
  const double n = static_cast<double>(values.size());
  for (const Quantity& q : values) {
    sum += q.value;
    squares += q.value * q.value;
    half += q.half_width() / n;
    for (const Quantity& other : values) {
      CHECK(other.value > q.low);
      CHECK(other.value < q.high);
    }
  }
  return std::sqrt(std::max(0.0, squares / n - sum * sum / (n * n))) / half;
}

/// The larger spread of diameter and depth of the spot that lies at the sample's first dent.
double check_nudged(const Sample& s) {
  std::vector<Quantity> diameters, depths;
  for (const Reading& reading : nudged_readings(s)) {
    INFO((reading.refusal ? reading.refusal->code : to_string(reading.status)));
    REQUIRE(reading.dents.size() == 1);
    REQUIRE(reading.dents[0].depth_mm);
    diameters.push_back(reading.dents[0].diameter_mm);
    depths.push_back(*reading.dents[0].depth_mm);
  }
  return std::max(spread_of(diameters), spread_of(depths));
}

}  // namespace

TEST_CASE("a photo that is nudged reads the same", "[nudge]") {
  constexpr double third = 1.0 / 3;
  for (const char* name : {"low-dark", "step", "high-dark"}) {
    INFO(name);
    CHECK(check_nudged(sample(name)) < third);
  }
}
