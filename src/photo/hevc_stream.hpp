#pragma once

#include <cstdint>
#include <string_view>

namespace ripplegauge::photo_detail {

/// Sizes that a sequence parameter set tells, in pixels.
struct HevcSize {
  std::uint64_t coded_width = 0, coded_height = 0;  ///< what the decoder fills
  std::uint64_t shown_width = 0, shown_height = 0;  ///< less the edges that are cut off
  friend bool operator==(const HevcSize&, const HevcSize&) = default;
};

/// The one size that the parameter sets in a decoder configuration ("hvcC" of ISO/IEC 14496-15) tell. Throws
/// DecodeError when there is none or there are several.
HevcSize hevc_size(std::string_view configuration);

/// Throws DecodeError unless the bytes of a picture are NAL units end to end that hold one whole picture
/// coded by itself and no parameter set of another size, which a decoder would heed.
void check_hevc_picture(std::string_view bytes, const HevcSize& size);

}  // namespace ripplegauge::photo_detail
