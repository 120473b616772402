#include "ripplegauge/core/reading.hpp"

namespace ripplegauge {

const char* to_string(Kind kind) { return kind == Kind::low ? "low" : "high"; }

const char* to_string(Status status) {
  switch (status) {
    case Status::measured:
      return "measured";
    case Status::no_dent:
      return "no_dent";
    case Status::refused:
      return "refused";
  }
  return "refused";
}

}  // namespace ripplegauge
