// What the clock says, as files and pages write it.
#pragma once

#include <string>

namespace ripplegauge {

/// Now, "YYYY-MM-DDTHH:MM:SSZ".
std::string now_utc();

/// Today where the user is, "YYYY-MM-DD".
std::string today();

}  // namespace ripplegauge
