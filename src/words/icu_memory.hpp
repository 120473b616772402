// ICU reports that memory ran out like any other error; here it is the exception that it is elsewhere.
#pragma once

#include <unicode/utypes.h>

#include <new>

namespace ripplegauge {

/// Throws std::bad_alloc where that is what the status says.
inline void require_memory(UErrorCode status) {
  if (status == U_MEMORY_ALLOCATION_ERROR) throw std::bad_alloc();
}

}  // namespace ripplegauge
