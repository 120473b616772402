// Reliefs as text (a header, then rows of heights in mm) and as 16-bit greyscale PNG. Numbers do not depend
// on the locale.
#include "files/relief_file.hpp"

#include <png.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <csetjmp>
#include <cstdint>
#include <limits>
#include <map>
#include <string_view>
#include <vector>

#include "files/atomic_write.hpp"
#include "json/read_bytes.hpp"
#include "ripplegauge/core/errors.hpp"

namespace ripplegauge {
namespace {

constexpr int height_decimals = 5;

/// Independent of the locale, unlike printf.
std::string fixed(double value, int decimals) {
  char text[64];
  const auto end = std::to_chars(text, text + sizeof text, value, std::chars_format::fixed, decimals).ptr;
  return {text, end};
}

std::string shortest(double value) {
  char text[64];
  return {text, std::to_chars(text, text + sizeof text, value).ptr};
}

void require_measured(const Relief& relief) {
  const auto cells = static_cast<std::size_t>(relief.columns) * static_cast<std::size_t>(relief.rows);
  if (relief.empty() || relief.height_mm.size() != cells)
    throw UsageError("the relief is empty; nothing to write");
}

// --- text
// ---------------------------------------------------------------------------------------------------

std::string header(const Relief& relief) {
  return "# relief: height above the panel's own smooth shape, mm, negative = low, nan = not measured\n"
         "# a line is a row along x, the first line at the smallest y; x and y in the card frame\n"
         "# step_mm: " +
         shortest(relief.step_mm) +
         "\n"
         "# x0_mm: " +
         shortest(relief.x0_mm) +
         "\n"
         "# y0_mm: " +
         shortest(relief.y0_mm) +
         "\n"
         "# columns: " +
         std::to_string(relief.columns) +
         "\n"
         "# rows: " +
         std::to_string(relief.rows) + "\n";
}

std::string cell_text(float height_mm) {
  if (!std::isfinite(height_mm)) return "nan";
  const std::string text = fixed(height_mm, height_decimals);
  return text == "-0.00000" ? text.substr(1) : text;
}

/// Reads the text form line by line.
class TextReader {
 public:
  TextReader(std::string name, std::string_view text, char separator)
      : name_(std::move(name)), rest_(text), separator_(separator) {}

  Relief read() {
    while (!rest_.empty()) {
      const std::string_view line = next_line();
      if (line.empty()) continue;
      if (line.front() == '#')
        read_header(line);
      else
        read_row(line);
    }
    relief_.step_mm = header_value("step_mm", 1e-6, 1e4);
    relief_.x0_mm = header_value("x0_mm", -1e6, 1e6);
    relief_.y0_mm = header_value("y0_mm", -1e6, 1e6);
    if (relief_.rows == 0) fail("it has no row of numbers");
    if (header_value("columns", 1, 1e6) != relief_.columns || header_value("rows", 1, 1e6) != relief_.rows)
      fail("it has " + std::to_string(relief_.rows) + " rows of " + std::to_string(relief_.columns) +
           " numbers, other than its header says; was it cut off?");
    return std::move(relief_);
  }

 private:
  [[noreturn]] void fail(const std::string& problem) const { throw FileError(name_, problem); }
  std::string here() const { return "line " + std::to_string(line_number_) + ": "; }

  std::string_view next_line() {
    const std::size_t end = rest_.find('\n');
    std::string_view line = rest_.substr(0, end);
    rest_.remove_prefix(end == std::string_view::npos ? rest_.size() : end + 1);
    if (line.ends_with('\r')) line.remove_suffix(1);
    ++line_number_;
    return line;
  }

  /// "# key: number"; other comments are skipped.
  void read_header(std::string_view line) {
    const std::size_t colon = line.find(": ");
    if (line.size() < 3 || colon == std::string_view::npos) return;
    double value = 0;
    if (parse(line.substr(colon + 2), value)) header_[std::string(line.substr(2, colon - 2))] = value;
  }

  double header_value(const std::string& key, double low, double high) const {
    const auto found = header_.find(key);
    if (found == header_.end())
      fail("the line \"# " + key + ": ...\" is missing; is it a relief of this program?");
    if (!(found->second >= low && found->second <= high)) fail("the header's " + key + " is out of range");
    return found->second;
  }

  void read_row(std::string_view line) {
    int columns = 0;
    while (true) {
      const std::size_t end = line.find(separator_);
      double value = 0;
      if (!parse(line.substr(0, end), value))
        fail(here() + "column " + std::to_string(columns + 1) + " is not a number");
      relief_.height_mm.push_back(static_cast<float>(value));
      ++columns;
      if (end == std::string_view::npos) break;
      line.remove_prefix(end + 1);
    }
    if (relief_.rows > 0 && columns != relief_.columns)
      fail(here() + "it has " + std::to_string(columns) + " numbers, the lines before have " +
           std::to_string(relief_.columns));
    relief_.columns = columns;
    ++relief_.rows;
  }

  /// A finite number of reasonable size, or "nan".
  static bool parse(std::string_view text, double& value) {
    constexpr double largest = 1e9;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    return error == std::errc() && end == text.data() + text.size() && !(std::abs(value) > largest);
  }

  std::string name_;
  std::string_view rest_;
  char separator_;
  int line_number_ = 0;
  std::map<std::string, double> header_;
  Relief relief_;
};

// --- picture
// --------------------------------------------------------------------------------------------------

/// height_mm = offset_mm + scale_mm * grey, for grey 1 to 65535.
struct GreyScale {
  double offset_mm = 0, scale_mm = 0;

  static GreyScale of(const Relief& relief) {
    double low = std::numeric_limits<double>::infinity(), high = -low;
    for (const float height : relief.height_mm) {
      if (!std::isfinite(height)) continue;
      low = std::min<double>(low, height);
      high = std::max<double>(high, height);
    }
    if (!(low <= high)) low = high = 0;
    constexpr double smallest_range_mm = 1e-3;  // so that a flat panel does not become a picture of its noise
    const double scale_mm = std::max(high - low, smallest_range_mm) / (max_grey - 1);
    return {low - scale_mm, scale_mm};
  }

  std::uint16_t grey(float height_mm) const {
    if (!std::isfinite(height_mm)) return 0;
    const double grey = std::round((height_mm - offset_mm) / scale_mm);
    return static_cast<std::uint16_t>(std::clamp(grey, 1.0, max_grey));
  }

  static constexpr double max_grey = 65535;
};

/// Rows from the top, samples big-endian as PNG wants them.
std::vector<unsigned char> picture_bytes(const Relief& relief, const GreyScale& scale) {
  std::vector<unsigned char> bytes;
  bytes.reserve(relief.height_mm.size() * 2);
  for (int row = relief.rows - 1; row >= 0; --row) {
    for (int column = 0; column < relief.columns; ++column) {
      const std::uint16_t grey = scale.grey(relief.at(row, column));
      bytes.push_back(static_cast<unsigned char>(grey >> 8));
      bytes.push_back(static_cast<unsigned char>(grey & 0xff));
    }
  }
  return bytes;
}

void append_to_string(png_structp png, png_bytep data, png_size_t size) {
  static_cast<std::string*>(png_get_io_ptr(png))->append(reinterpret_cast<const char*>(data), size);
}

/// Only plain C between setjmp and a possible longjmp: no destructor would run. Returns false on failure.
bool encode_png(const Relief& relief, std::vector<png_text>& texts, std::vector<png_bytep>& rows,
                std::string& out) {
  png_structp png = png_create_write_struct(PNG_LIBPNG_VER_STRING, nullptr, nullptr, nullptr);
  png_infop info = png == nullptr ? nullptr : png_create_info_struct(png);
  if (info == nullptr || setjmp(png_jmpbuf(png))) {
    png_destroy_write_struct(&png, &info);
    return false;
  }
  png_set_write_fn(png, &out, append_to_string, nullptr);
  constexpr int bits = 16;
  png_set_IHDR(png, info, static_cast<png_uint_32>(relief.columns), static_cast<png_uint_32>(relief.rows),
               bits, PNG_COLOR_TYPE_GRAY, PNG_INTERLACE_NONE, PNG_COMPRESSION_TYPE_DEFAULT,
               PNG_FILTER_TYPE_DEFAULT);
  const auto pixels_per_metre = static_cast<png_uint_32>(std::lround(1000 / relief.step_mm));
  png_set_pHYs(png, info, pixels_per_metre, pixels_per_metre, PNG_RESOLUTION_METER);
  png_set_text(png, info, texts.data(), static_cast<int>(texts.size()));
  png_set_rows(png, info, rows.data());
  png_write_png(png, info, PNG_TRANSFORM_IDENTITY, nullptr);
  png_destroy_write_struct(&png, &info);
  return true;
}

}  // namespace

std::string relief_to_text(const Relief& relief, char separator) {
  require_measured(relief);
  std::string text = header(relief);
  for (int row = 0; row < relief.rows; ++row) {
    for (int column = 0; column < relief.columns; ++column) {
      if (column > 0) text += separator;
      text += cell_text(relief.at(row, column));
    }
    text += '\n';
  }
  return text;
}

std::string relief_to_png(const Relief& relief) {
  require_measured(relief);
  const GreyScale scale = GreyScale::of(relief);
  std::vector<unsigned char> bytes = picture_bytes(relief, scale);
  std::vector<png_bytep> rows;
  rows.reserve(static_cast<std::size_t>(relief.rows));
  for (int row = 0; row < relief.rows; ++row)
    rows.push_back(bytes.data() +
                   static_cast<std::size_t>(row) * static_cast<std::size_t>(relief.columns) * 2);

  std::vector<std::pair<std::string, std::string>> facts = {
      {"Description", "height_mm = offset_mm + scale_mm * grey; grey 0 = not measured; negative = low"},
      {"offset_mm", shortest(scale.offset_mm)},
      {"scale_mm", shortest(scale.scale_mm)},
      {"step_mm", shortest(relief.step_mm)},
      {"left_x_mm", shortest(relief.x0_mm)},
      {"top_y_mm", shortest(relief.y0_mm + (relief.rows - 1) * relief.step_mm)},
  };
  std::vector<png_text> texts;
  for (auto& [key, value] : facts) {
    png_text text{};
    text.compression = PNG_TEXT_COMPRESSION_NONE;
    text.key = key.data();
    text.text = value.data();
    text.text_length = value.size();
    texts.push_back(text);
  }
  std::string out;
  if (!encode_png(relief, texts, rows, out))
    throw UsageError("the relief is too large for a PNG; write a .csv");
  return out;
}

void write_relief(const std::filesystem::path& file, const Relief& relief) {
  const std::string extension = file.extension().string();
  if (extension == ".csv") return write_atomically(file, relief_to_text(relief, ','));
  if (extension == ".txt") return write_atomically(file, relief_to_text(relief, '\t'));
  if (extension == ".png") return write_atomically(file, relief_to_png(relief));
  throw UsageError(file.string() +
                   ": a relief is written as .csv, .txt or .png; choose one of these extensions");
}

Relief read_relief(const std::filesystem::path& file) {
  constexpr std::size_t max_bytes = 256u << 20;
  const char separator = file.extension() == ".txt" ? '\t' : ',';
  const std::string text = read_bytes(file, max_bytes);
  return TextReader(file.string(), text, separator).read();
}

}  // namespace ripplegauge
