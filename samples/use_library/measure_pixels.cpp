// Measures pixels that are in memory already, such as a camera's own, and prints the reading as JSON. Here
// they come from a grey picture (PGM, 8 bit) on the standard input.
//   djpeg -grayscale photo.jpg | measure_pixels FOCAL_35MM PITCH_MM DISTANCE_MM BAR_MM
#include <cstdlib>
#include <exception>
#include <iostream>
#include <limits>
#include <opencv2/core/mat.hpp>

#include "ripplegauge/json/card_file.hpp"
#include "ripplegauge/json/reading_file.hpp"
#include "ripplegauge/measure/measure.hpp"

namespace {

/// Rows as seen upright, 0 black and 255 white. Empty where the stream holds no such picture.
cv::Mat read_pgm(std::istream& in) {
  std::string format;
  int width = 0, height = 0, white = 0;
  in >> format >> width >> height >> white;
  in.get();
  if (!in || format != "P5" || white != 255 || width < 1 || height < 1 || width > 20000 || height > 20000)
    return {};
  cv::Mat grey(height, width, CV_8UC1);
  in.read(reinterpret_cast<char*>(grey.data), static_cast<std::streamsize>(grey.total()));
  return in ? grey : cv::Mat();
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 5) {
    std::cerr << "usage: measure_pixels FOCAL_35MM PITCH_MM DISTANCE_MM BAR_MM < photo.pgm\n";
    return 2;
  }
  try {
    ripplegauge::Photo photo;
    photo.name = "standard input";
    photo.grey = read_pgm(std::cin);
    photo.focal_35mm_mm = std::atof(argv[1]);
    if (photo.grey.empty()) {
      std::cerr << "measure_pixels: the standard input holds no 8-bit PGM picture\n";
      return 4;
    }
    ripplegauge::MeasureRequest request;
    request.card = ripplegauge::read_card(STANDARD_CARD);
    request.board_pitch_mm = std::atof(argv[2]);
    request.board_distance_mm = std::atof(argv[3]);
    request.bar_length_mm = std::atof(argv[4]);
    const ripplegauge::Measurement measurement = ripplegauge::measure(photo, request);
    std::cout << ripplegauge::reading_to_json(measurement.reading);
    return measurement.reading.refusal ? 3 : 0;
  } catch (const std::exception& error) {
    std::cerr << "measure_pixels: " << error.what() << "\n";
    return 4;
  }
}
