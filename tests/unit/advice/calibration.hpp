// The rules that ship with the program, and kits to try them with.
#pragma once

#include "files/advice_file.hpp"

namespace ripplegauge::sample {

inline const std::string data_folder = RIPPLEGAUGE_SOURCE_DIR "/calibration";

inline AdviceData with_sample_kit() {
  static const AdviceData data = read_advice_data(data_folder, data_folder + "/kit-sample.json", "us");
  return data;
}

inline AdviceData without_kit() {
  AdviceData data = with_sample_kit();
  data.kit = {};
  return data;
}

}  // namespace ripplegauge::sample
