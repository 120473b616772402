// PNG and HEIC are decoded by the browser, which then hands over grey pixels: their decoders stay out of the
// module.
#include "photo/decode.hpp"

namespace ripplegauge::photo_detail {

Decoded decode_png(std::string_view /*bytes*/, const Wish& /*wish*/, const PhotoLimits& /*limits*/) {
  throw DecodeError("is a PNG picture, which the browser could not decode; give a JPEG");
}

Decoded decode_heif(std::string_view /*bytes*/, const Wish& /*wish*/, const PhotoLimits& /*limits*/) {
  throw DecodeError(
      "is a HEIC photo, which this browser cannot decode; set the camera to its most compatible format "
      "(JPEG)");
}

}  // namespace ripplegauge::photo_detail
