#include "files/relief_file.hpp"

#include <png.h>

#include <array>
#include <cmath>
#include <cstdio>
#include <limits>
#include <map>
#include <random>

#include "catch.hpp"
#include "ripplegauge/core/errors.hpp"
#include "scratch_folder.hpp"

using namespace ripplegauge;
using Catch::Matchers::ContainsSubstring;

namespace {

/// A slanting low with a hole where nothing was measured; no symmetry, so that a flipped axis shows.
Relief sample_relief() {
  Relief relief;
  relief.x0_mm = -12.5;
  relief.y0_mm = 30;
  relief.step_mm = 0.5;
  relief.columns = 21;
  relief.rows = 13;
  for (int row = 0; row < relief.rows; ++row)
    for (int column = 0; column < relief.columns; ++column)
      relief.height_mm.push_back(
          static_cast<float>(-0.4 * std::exp(-0.05 * (row * row + column)) + 0.001 * column));
  relief.at(2, 3) = std::numeric_limits<float>::quiet_NaN();
  return relief;
}

struct Picture {
  int width = 0, height = 0;
  std::vector<int> grey;
  std::map<std::string, std::string> texts;
  int pixels_per_metre = 0;
};

/// Decoded by libpng's own row reader from a file on disk.
Picture read_png(const std::filesystem::path& file) {
  Picture picture;
  std::FILE* stream = std::fopen(file.c_str(), "rb");
  REQUIRE(stream != nullptr);
  png_structp png = png_create_read_struct(PNG_LIBPNG_VER_STRING, nullptr, nullptr, nullptr);
  png_infop info = png_create_info_struct(png);
  png_init_io(png, stream);
  png_read_png(png, info, PNG_TRANSFORM_IDENTITY, nullptr);
  REQUIRE(png_get_bit_depth(png, info) == 16);
  REQUIRE(png_get_color_type(png, info) == PNG_COLOR_TYPE_GRAY);
  picture.width = static_cast<int>(png_get_image_width(png, info));
  picture.height = static_cast<int>(png_get_image_height(png, info));
  picture.pixels_per_metre = static_cast<int>(png_get_x_pixels_per_meter(png, info));
  png_bytepp rows = png_get_rows(png, info);
  for (int y = 0; y < picture.height; ++y)
    for (int x = 0; x < picture.width; ++x) picture.grey.push_back(rows[y][2 * x] * 256 + rows[y][2 * x + 1]);
  png_textp texts = nullptr;
  int count = 0;
  png_get_text(png, info, &texts, &count);
  for (int i = 0; i < count; ++i) picture.texts[texts[i].key] = texts[i].text;
  png_destroy_read_struct(&png, &info, nullptr);
  std::fclose(stream);
  return picture;
}

std::string read_message(const std::string& text) {
  const ScratchFolder folder;
  const auto file = folder.write("relief.csv", text);
  return message_of<FileError>([&] { read_relief(file); });
}

}  // namespace

TEST_CASE("a relief survives being written as a grid", "[relief_file]") {
  const ScratchFolder folder;
  const Relief relief = sample_relief();
  for (const char* name : {"relief.csv", "relief.txt"}) {
    write_relief(folder / name, relief);
    const Relief read = read_relief(folder / name);
    CHECK(read.x0_mm == relief.x0_mm);
    CHECK(read.y0_mm == relief.y0_mm);
    CHECK(read.step_mm == relief.step_mm);
    REQUIRE(read.rows == relief.rows);
    REQUIRE(read.columns == relief.columns);
    for (int row = 0; row < relief.rows; ++row) {
      for (int column = 0; column < relief.columns; ++column) {
        const float before = relief.at(row, column), after = read.at(row, column);
        // Written with five decimals.
        CHECK((std::isnan(before) ? std::isnan(after) : std::abs(after - before) < 6e-6f));
      }
    }
  }
}

TEST_CASE("the grid is plain text that says what it is", "[relief_file]") {
  Relief relief;
  relief.x0_mm = 1;
  relief.y0_mm = -2;
  relief.step_mm = 0.25;
  relief.columns = 2;
  relief.rows = 2;
  relief.height_mm = {-0.5f, 0.25f, std::numeric_limits<float>::quiet_NaN(), -1e-9f};
  const std::string text = relief_to_text(relief, ',');
  CHECK_THAT(text, ContainsSubstring("mm, negative = low"));
  CHECK_THAT(text, ContainsSubstring("# step_mm: 0.25\n# x0_mm: 1\n# y0_mm: -2\n"));
  CHECK_THAT(text, ContainsSubstring("\n-0.50000,0.25000\nnan,0.00000\n"));
}

TEST_CASE("grey values of the picture give the heights back", "[relief_file]") {
  const ScratchFolder folder;
  const Relief relief = sample_relief();
  write_relief(folder / "relief.png", relief);
  const Picture picture = read_png(folder / "relief.png");
  REQUIRE(picture.width == relief.columns);
  REQUIRE(picture.height == relief.rows);
  CHECK(picture.pixels_per_metre == 2000);
  REQUIRE(picture.texts.contains("offset_mm"));
  REQUIRE(picture.texts.contains("scale_mm"));
  const double offset_mm = std::stod(picture.texts.at("offset_mm")),
               scale_mm = std::stod(picture.texts.at("scale_mm"));
  CHECK(std::stod(picture.texts.at("step_mm")) == 0.5);
  CHECK(std::stod(picture.texts.at("left_x_mm")) == -12.5);
  CHECK(std::stod(picture.texts.at("top_y_mm")) == 36.0);
  for (int row = 0; row < relief.rows; ++row) {
    for (int column = 0; column < relief.columns; ++column) {
      const int grey =
          picture.grey.at(static_cast<std::size_t>((relief.rows - 1 - row) * relief.columns + column));
      const float height_mm = relief.at(row, column);
      if (std::isnan(height_mm))
        CHECK(grey == 0);
      else
        CHECK(std::abs(offset_mm + scale_mm * grey - height_mm) <= 0.51 * scale_mm);  // half a grey step
    }
  }
}

TEST_CASE("a flat or unmeasured relief makes a picture too", "[relief_file]") {
  Relief relief = sample_relief();
  for (const float height : {0.f, std::numeric_limits<float>::quiet_NaN()}) {
    relief.height_mm.assign(relief.height_mm.size(), height);
    CHECK(relief_to_png(relief).size() > 100);
  }
}

TEST_CASE("what cannot be written is refused", "[relief_file]") {
  const ScratchFolder folder;
  CHECK_THAT(message_of<UsageError>([&] { write_relief(folder / "relief.stl", sample_relief()); }),
             ContainsSubstring(".csv, .txt or .png"));
  CHECK_THROWS_AS(write_relief(folder / "relief.csv", Relief{}), UsageError);
  CHECK_THROWS_AS(write_relief(folder / "none/relief.png", sample_relief()), FileError);
  CHECK(folder.file_count() == 0);
}

TEST_CASE("a grid that is not whole is refused with its line", "[relief_file]") {
  const std::string good = relief_to_text(sample_relief(), ',');
  CHECK(read_message(good).empty());
  CHECK_THAT(read_message(good.substr(0, good.rfind('\n', good.size() - 2) + 1)),
             ContainsSubstring("cut off"));
  CHECK_THAT(read_message(good.substr(0, good.size() - 20)), ContainsSubstring("line 20"));
  CHECK_THAT(read_message(good + "abc\n"), ContainsSubstring("line 21: column 1 is not a number"));
  CHECK_THAT(read_message("1,2\n3,4\n"), ContainsSubstring("step_mm"));
  CHECK_THAT(read_message(""), ContainsSubstring("step_mm"));
  CHECK_THAT(read_message("# step_mm: nan\n"), ContainsSubstring("out of range"));
  CHECK_THAT(read_message("# step_mm: 1\n# x0_mm: 0\n# y0_mm: 0\n1e999\n"),
             ContainsSubstring("not a number"));
}

TEST_CASE("numpy reads the grid as it is", "[relief_file]") {
  if (std::system("python3 -c 'import numpy' 2>/dev/null") != 0) {
    WARN("skipped: python3 with numpy is not installed");
    return;
  }
  const ScratchFolder folder;
  write_relief(folder / "relief.csv", sample_relief());
  const std::string script =
      "import numpy, sys; a = numpy.loadtxt(sys.argv[1], delimiter=\",\"); "
      "sys.exit(0 if a.shape == (13, 21) and numpy.isnan(a).sum() == 1 and abs(a[0, 0] + 0.4) < 1e-5 else 1)";
  const std::string command = "python3 -c '" + script + "' " + (folder / "relief.csv").string();
  CHECK(std::system(command.c_str()) == 0);
}
