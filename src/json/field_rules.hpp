// What files about cards, boards and workshops may say.
#pragma once

#include "ripplegauge/json/json_reader.hpp"

namespace ripplegauge {

inline constexpr int tag_count = 587;  ///< of family 36h11: ids 0 to 586 (OpenCV, aruco_dictionary.hpp)
inline const NumberRule tag_id_rule = between(0, tag_count - 1);
/// Millimetres; a board larger than a garage is a slip of the pen.
inline const NumberRule position_rule = between(-10000, 10000);
inline const NumberRule length_rule{.low = 0, .high = 10000, .low_allowed = false};
inline const TextRule label_rule{.min_bytes = 0, .max_bytes = 200};  ///< may be empty

}  // namespace ripplegauge
