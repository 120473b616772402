#pragma once

#include <cairo.h>

#include <string>

namespace ripplegauge::picture_detail {

/// For cairo's stream functions; the closure is the std::string that grows.
inline cairo_status_t append_bytes(void* closure, const unsigned char* data, unsigned int length) {
  static_cast<std::string*>(closure)->append(reinterpret_cast<const char*>(data), length);
  return CAIRO_STATUS_SUCCESS;
}

}  // namespace ripplegauge::picture_detail
