// Rows as decoders give them, to grey or colour pixels, reduced by a whole factor on the way.
#include "rows.hpp"

#include <algorithm>
#include <utility>

namespace ripplegauge::photo_detail {
namespace {

/// Luma as JPEG defines it (ITU-R BT.601: 0.299 R + 0.587 G + 0.114 B), in 16-bit fixed point; the weights
/// sum to 65536 exactly, so that grey stays what it is.
std::uint8_t luma(const std::uint8_t* rgb) {
  return static_cast<std::uint8_t>((19595u * rgb[0] + 38470u * rgb[1] + 7471u * rgb[2] + 32768u) >> 16);
}

std::uint8_t over_white(std::uint8_t value, std::uint8_t alpha) {
  return static_cast<std::uint8_t>((value * alpha + 255 * (255 - alpha) + 127) / 255);
}

void grey_from_row(const std::uint8_t* row, int channels, int width, std::uint8_t* grey) {
  for (int x = 0; x < width; ++x, row += channels) {
    const std::uint8_t value = channels >= 3 ? luma(row) : row[0];
    grey[x] = channels % 2 == 0 ? over_white(value, row[channels - 1]) : value;
  }
}

void bgr_from_row(const std::uint8_t* row, int channels, int width, std::uint8_t* bgr) {
  for (int x = 0; x < width; ++x, row += channels, bgr += 3) {
    for (int i = 0; i < 3; ++i) {
      const std::uint8_t value = row[channels >= 3 ? 2 - i : 0];
      bgr[i] = channels % 2 == 0 ? over_white(value, row[channels - 1]) : value;
    }
  }
}

int divide_up(int a, int b) { return (a + b - 1) / b; }

cv::Size size_of(int width_px, int height_px, int factor) {
  return {divide_up(width_px, factor), divide_up(height_px, factor)};
}

}  // namespace

RowTaker::RowTaker(int width_px, int height_px, bool colour, int factor)
    : RowTaker(width_px, height_px, factor,
               cv::Mat(size_of(width_px, height_px, factor), colour ? CV_8UC3 : CV_8UC1)) {}

RowTaker::RowTaker(int width_px, int height_px, bool colour, int factor, std::byte* memory)
    : RowTaker(width_px, height_px, factor,
               cv::Mat(size_of(width_px, height_px, factor), colour ? CV_8UC3 : CV_8UC1, memory)) {}

RowTaker::RowTaker(int width_px, int height_px, int factor, cv::Mat picture)
    : width_px_(width_px), height_px_(height_px), factor_(factor), picture_(std::move(picture)) {
  if (picture_.channels() == 3) {
    bgr_.resize(static_cast<std::size_t>(width_px) * 3);
    sums_.assign(static_cast<std::size_t>(picture_.cols) * 3, 0);
  }
}

std::size_t RowTaker::room_bytes(int width_px, int height_px, bool colour, int factor) {
  const cv::Size size = size_of(width_px, height_px, factor);
  return static_cast<std::size_t>(size.width) * static_cast<std::size_t>(size.height) * (colour ? 3 : 1);
}

void RowTaker::take(const std::uint8_t* row, int channels) {
  if (picture_.channels() == 1) {
    grey_from_row(row, channels, width_px_, picture_.ptr(row_++));
    return;
  }
  if (factor_ == 1) {
    bgr_from_row(row, channels, width_px_, picture_.ptr(row_++));
    return;
  }
  bgr_from_row(row, channels, width_px_, bgr_.data());
  add_to_block(bgr_.data());
  ++row_;
  if (row_ % factor_ == 0 || row_ == height_px_) finish_block_row();
}

void RowTaker::add_to_block(const std::uint8_t* bgr) {
  for (int x = 0; x < width_px_; ++x, bgr += 3) {
    std::uint32_t* sum = &sums_[static_cast<std::size_t>(x / factor_) * 3];
    for (int i = 0; i < 3; ++i) sum[i] += bgr[i];
  }
}

void RowTaker::finish_block_row() {
  const int rows_in_block = (row_ - 1) % factor_ + 1;
  std::uint8_t* out = picture_.ptr((row_ - 1) / factor_);
  for (int block = 0; block < picture_.cols; ++block) {
    const int columns_in_block = std::min(factor_, width_px_ - block * factor_);
    const auto count = static_cast<std::uint32_t>(rows_in_block * columns_in_block);
    for (int i = 0; i < 3; ++i)
      *out++ = static_cast<std::uint8_t>((sums_[block * 3 + i] + count / 2) / count);
  }
  std::fill(sums_.begin(), sums_.end(), 0u);
}

}  // namespace ripplegauge::photo_detail
