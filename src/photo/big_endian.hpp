#pragma once

#include <cstddef>
#include <cstdint>
#include <string_view>

namespace ripplegauge::photo_detail {

/// A number of `count` bytes, at most 8, the highest first; zeros stand behind the end.
inline std::uint64_t big_endian(std::string_view bytes, std::size_t at, int count) {
  std::uint64_t value = 0;
  for (int i = 0; i < count; ++i, ++at)
    value = value << 8 | (at < bytes.size() ? static_cast<unsigned char>(bytes[at]) : 0u);
  return value;
}

/// Numbers read one after the other.
class Numbers {
 public:
  explicit Numbers(std::string_view bytes) : bytes_(bytes) {}
  std::uint64_t take(int count) {
    const std::uint64_t value = big_endian(bytes_, at_, count);
    at_ += static_cast<std::size_t>(count);
    return value;
  }
  bool went_past_the_end() const { return at_ > bytes_.size(); }

 private:
  std::string_view bytes_;
  std::size_t at_ = 0;
};

}  // namespace ripplegauge::photo_detail
