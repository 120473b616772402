#pragma once

#include <cstddef>
#include <cstdint>
#include <opencv2/core/mat.hpp>
#include <vector>

namespace ripplegauge::photo_detail {

/// Takes decoded rows from the top down and keeps only what was wished for, so that no full-size colour
/// picture is ever held: grey rows as they come, colour rows averaged over blocks of factor x factor.
class RowTaker {
 public:
  RowTaker(int width_px, int height_px, bool colour, int factor);
  /// The same into `memory`, which must have room_bytes().
  RowTaker(int width_px, int height_px, bool colour, int factor, std::byte* memory);

  static std::size_t room_bytes(int width_px, int height_px, bool colour, int factor);

  /// One row of 1 (grey), 2 (grey, alpha), 3 (R, G, B) or 4 (R, G, B, alpha) channels. What is see-through is
  /// seen on white.
  void take(const std::uint8_t* row, int channels);

  /// After the last row.
  cv::Mat picture() { return picture_; }

 private:
  RowTaker(int width_px, int height_px, int factor, cv::Mat picture);
  void add_to_block(const std::uint8_t* bgr);
  void finish_block_row();

  int width_px_, height_px_, factor_;
  cv::Mat picture_;
  int row_ = 0;
  std::vector<std::uint8_t> bgr_;
  std::vector<std::uint32_t> sums_;  ///< of the block row under way: three channels a block
};

}  // namespace ripplegauge::photo_detail
