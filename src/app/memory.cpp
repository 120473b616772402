// Libraries say in different ways that there is no more memory.
#include "app/memory.hpp"

#include <new>
#include <opencv2/core.hpp>
#include <string_view>
#include <system_error>

namespace ripplegauge {

bool is_out_of_memory(const std::exception& error) {
  if (dynamic_cast<const std::bad_alloc*>(&error) != nullptr) return true;
  if (const auto* from_opencv = dynamic_cast<const cv::Exception*>(&error))
    return from_opencv->code == cv::Error::StsNoMem;
  // OpenCV's threads come from a library that has no type for this.
  if (std::string_view(error.what()).find("pthread_create") != std::string_view::npos) return true;
  const auto* from_system = dynamic_cast<const std::system_error*>(&error);
  return from_system != nullptr && (from_system->code() == std::errc::resource_unavailable_try_again ||
                                    from_system->code() == std::errc::not_enough_memory);
}

}  // namespace ripplegauge
