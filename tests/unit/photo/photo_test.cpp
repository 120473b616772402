#include "ripplegauge/photo/photo.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cstdlib>
#include <fstream>
#include <iterator>
#include <opencv2/imgproc.hpp>
#include <random>
#include <thread>

#include "catch.hpp"
#include "photo_files.hpp"
#include "ripplegauge/core/errors.hpp"
#include "scratch_folder.hpp"

using namespace ripplegauge;
using namespace ripplegauge::test;
using Catch::Matchers::ContainsSubstring;

namespace {

Photo decoded(const std::string& bytes, const PhotoLimits& limits = {}) {
  return decode_photo(bytes, "test", limits);
}

std::string refusal(const std::string& bytes, const PhotoLimits& limits = {}) {
  return message_of<FileError>([&] { decoded(bytes, limits); });
}

double mean_difference(const cv::Mat& a, const cv::Mat& b) {
  REQUIRE(a.size() == b.size());
  REQUIRE(a.type() == b.type());
  return cv::norm(a, b, cv::NORM_L1) / static_cast<double>(a.total());
}

/// 48 x 32, every 16 x 16 block of its own grey: no orientation maps it onto itself, and JPEG keeps it nearly
/// as is.
cv::Mat six_blocks() {
  cv::Mat picture(32, 48, CV_8UC1);
  for (int row = 0; row < 2; ++row)
    for (int column = 0; column < 3; ++column)
      picture(cv::Rect(column * 16, row * 16, 16, 16)).setTo(20 + 40 * (row * 3 + column));
  return picture;
}

enum class Side { top, bottom, left, right };
struct Orientation {
  int value;
  Side row_0, column_0;
};
// CIPA DC-008, tag 0x0112: where row 0 and column 0 of the stored picture are when it is seen upright. As
// listed by the manual page of jpegexiforient(1), man.cx/jpegexiforient(1).
constexpr Orientation orientations[] = {{1, Side::top, Side::left},     {2, Side::top, Side::right},
                                        {3, Side::bottom, Side::right}, {4, Side::bottom, Side::left},
                                        {5, Side::left, Side::top},     {6, Side::right, Side::top},
                                        {7, Side::right, Side::bottom}, {8, Side::left, Side::bottom}};

/// What a camera of that orientation stores of an upright picture.
cv::Mat stored_from_upright(const cv::Mat& upright, const Orientation& o) {
  const bool rows_are_rows = o.row_0 == Side::top || o.row_0 == Side::bottom;
  cv::Mat stored(rows_are_rows ? upright.size() : cv::Size(upright.rows, upright.cols), upright.type());
  for (int r = 0; r < stored.rows; ++r)
    for (int c = 0; c < stored.cols; ++c) {
      int x = rows_are_rows ? c : r, y = rows_are_rows ? r : c;
      if (o.row_0 == Side::bottom || o.column_0 == Side::bottom) y = upright.rows - 1 - y;
      if (o.row_0 == Side::right || o.column_0 == Side::right) x = upright.cols - 1 - x;
      stored.at<std::uint8_t>(r, c) = upright.at<std::uint8_t>(y, x);
    }
  return stored;
}

/// Runs `action` and returns what it wrote to the standard error stream, C libraries included.
template <class Action>
std::string stderr_of(const ScratchFolder& folder, Action&& action) {
  const auto file = folder / "stderr.txt";
  const int kept = ::dup(2);
  const int caught = ::open(file.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0600);
  ::dup2(caught, 2);
  ::close(caught);
  action();
  ::dup2(kept, 2);
  ::close(kept);
  return ScratchFolder::read(file);
}

}  // namespace

TEST_CASE("all eight EXIF orientations are turned upright, once", "[photo][conventions]") {
  const cv::Mat upright = six_blocks();
  for (const Orientation& o : orientations) {
    INFO("orientation " << o.value);
    const std::string exif = exif_block({o.value, {}, {}});
    const cv::Mat stored = stored_from_upright(upright, o);

    const Photo png = decoded(png_bytes(stored, {false, exif}));
    CHECK(png.exif_orientation == o.value);
    CHECK(mean_difference(png.grey, upright) == 0);

    JpegWish wish;
    wish.exif = exif;
    const Photo jpeg = decoded(jpeg_bytes(stored, wish));
    CHECK(jpeg.exif_orientation == o.value);
    CHECK(mean_difference(jpeg.grey, upright) < 1);  // flat blocks: rounding of the DC coefficient only
  }
}

TEST_CASE("HEIC is turned by its own properties, not a second time by EXIF", "[photo]") {
  const cv::Mat upright = six_blocks();
  for (const Orientation& o : orientations) {
    INFO("orientation " << o.value);
    const std::string bytes =
        heic_bytes(stored_from_upright(upright, o), {o.value, 8, exif_block({o.value, 28, {}})});
    if (bytes.empty()) {
      WARN("no HEVC encoder here: HEIC is not tested");
      return;
    }
    const Photo photo = decoded(bytes);
    CHECK(mean_difference(photo.grey, upright) < 4);  // HEVC at quality 90 rings a little at the block edges
    CHECK(photo.focal_35mm_mm == Approx(28));
  }
}

TEST_CASE("EXIF facts from each format", "[photo]") {
  const cv::Mat picture = six_blocks();
  const std::string exif = exif_block({1, 26, "2026:03:14 10:02:03"});
  JpegWish jpeg;
  jpeg.exif = exif;
  std::vector<std::string> files = {jpeg_bytes(picture, jpeg), png_bytes(picture, {false, exif})};
  if (const std::string heic = heic_bytes(picture, {1, 8, exif}); !heic.empty()) files.push_back(heic);
  for (const std::string& bytes : files) {
    const Photo photo = decoded(bytes);
    CHECK(photo.name == "test");
    REQUIRE(photo.focal_35mm_mm);
    CHECK(*photo.focal_35mm_mm == 26);
    CHECK(photo.date_taken == "2026-03-14 10:02:03");
  }
}

TEST_CASE("what EXIF does not know stays unknown", "[photo]") {
  const auto with = [](const std::string& exif) { return decoded(png_bytes(six_blocks(), {false, exif})); };
  // CIPA DC-008: FocalLengthIn35mmFilm = 0 means unknown (as documented by the Dart package index, pub.dev).
  CHECK_FALSE(with(exif_block({1, 0, {}})).focal_35mm_mm);
  CHECK_FALSE(with(exif_block({1, {}, {}})).focal_35mm_mm);
  CHECK(with(exif_block({1, 26, "    :  :     :  :  "})).date_taken.empty());
  CHECK(with(exif_block({1, 26, "0000:00:00 00:00:00"})).date_taken.empty());
  CHECK(with(exif_block({1, 26, "yesterday"})).date_taken.empty());
  CHECK(with(exif_block({0, {}, {}})).exif_orientation == 1);
  CHECK(with(exif_block({9, {}, {}})).exif_orientation == 1);
  const Photo none = decoded(png_bytes(six_blocks()));
  CHECK_FALSE(none.focal_35mm_mm);
  CHECK(none.date_taken.empty());
  CHECK(none.exif_orientation == 1);
}

TEST_CASE("a broken EXIF block says nothing, and the photo is read", "[photo]") {
  const ScratchFolder folder;
  const std::string block = exif_block({6, 26, "2026:03:14 10:02:03"});
  std::mt19937 random(7);
  const std::string printed = stderr_of(folder, [&] {
    for (int i = 0; i < 500; ++i) {
      std::string broken = block.substr(0, 1 + random() % block.size());
      for (int flips = 0; flips < 3; ++flips) broken[random() % broken.size()] = static_cast<char>(random());
      JpegWish wish;
      wish.exif = broken;
      const Photo photo = decoded(jpeg_bytes(six_blocks(), wish));
      CHECK(photo.grey.total() == six_blocks().total());
    }
  });
  CHECK(printed.empty());
}

TEST_CASE("grey is the luma of ITU-R BT.601 in every format", "[photo]") {
  struct Colour {
    cv::Scalar rgb;
    double luma;
  };
  // 0.299 R + 0.587 G + 0.114 B.
  const Colour colours[] = {{{255, 0, 0}, 76.245},  {{0, 255, 0}, 149.685}, {{0, 0, 255}, 29.07},
                            {{255, 255, 255}, 255}, {{0, 0, 0}, 0},         {{77, 77, 77}, 77}};
  for (const Colour& colour : colours) {
    INFO("colour " << colour.rgb);
    const cv::Mat picture(32, 32, CV_8UC3, colour.rgb);
    JpegWish as_rgb;
    as_rgb.coded_as_rgb = true;
    JpegWish progressive;
    progressive.progressive = true;
    // Half a grey level of rounding, and one more for the quantisation of JPEG at quality 95.
    CHECK(cv::mean(decoded(png_bytes(picture)).grey)[0] == Approx(colour.luma).margin(0.51));
    CHECK(cv::mean(decoded(jpeg_bytes(picture)).grey)[0] == Approx(colour.luma).margin(1.51));
    CHECK(cv::mean(decoded(jpeg_bytes(picture, as_rgb)).grey)[0] == Approx(colour.luma).margin(1.51));
    CHECK(cv::mean(decoded(jpeg_bytes(picture, progressive)).grey)[0] == Approx(colour.luma).margin(1.51));
  }
}

TEST_CASE("PNG in all its kinds", "[photo]") {
  const cv::Mat grey = textured_picture(53, 37, 1);
  CHECK(mean_difference(decoded(png_bytes(grey)).grey, grey) == 0);
  CHECK(mean_difference(decoded(png_bytes(grey, {true, {}})).grey, grey) == 0);

  cv::Mat wide;
  grey.convertTo(wide, CV_16U, 257);
  CHECK(mean_difference(decoded(png_bytes(wide)).grey, grey) == 0);

  cv::Mat rgb;
  cv::merge(std::vector<cv::Mat>{grey, grey, grey}, rgb);
  CHECK(mean_difference(decoded(png_bytes(rgb, {true, {}})).grey, grey) == 0);
  rgb.convertTo(wide, CV_16U, 257);
  CHECK(mean_difference(decoded(png_bytes(wide)).grey, grey) == 0);

  const cv::Mat opaque(grey.size(), CV_8UC1, cv::Scalar(255)), clear(grey.size(), CV_8UC1, cv::Scalar(0));
  const cv::Mat white = opaque;
  for (const auto& alpha : {opaque, clear}) {
    const cv::Mat seen = alpha.data == opaque.data ? grey : white;
    cv::Mat grey_alpha, rgb_alpha;
    cv::merge(std::vector<cv::Mat>{grey, alpha}, grey_alpha);
    cv::merge(std::vector<cv::Mat>{grey, grey, grey, alpha}, rgb_alpha);
    CHECK(mean_difference(decoded(png_bytes(grey_alpha)).grey, seen) == 0);
    CHECK(mean_difference(decoded(png_bytes(rgb_alpha, {true, {}})).grey, seen) == 0);
  }

  for (const int bits : {1, 2, 4, 8}) {
    INFO("palette of " << bits << " bits");
    const int count = 1 << bits;
    cv::Mat colours(1, count, CV_8UC3);
    for (int i = 0; i < count; ++i)
      colours.at<cv::Vec3b>(i) = cv::Vec3b::all(static_cast<uchar>(i * 255 / (count - 1)));
    cv::Mat indices(16, 31, CV_8UC1), expected(16, 31, CV_8UC1);
    for (int i = 0; i < indices.rows * indices.cols; ++i) {
      indices.data[i] = static_cast<uchar>(i * 7 % count);
      expected.data[i] = colours.at<cv::Vec3b>(indices.data[i])[0];
    }
    CHECK(mean_difference(decoded(palette_png_bytes(indices, colours, bits)).grey, expected) == 0);
  }
}

TEST_CASE("colour is reduced by whole factors, upright, as B, G, R", "[photo]") {
  const ScratchFolder folder;
  cv::Mat picture(60, 100, CV_8UC3, cv::Scalar(200, 100, 50));  // R, G, B
  picture(cv::Rect(0, 0, 50, 60)).setTo(cv::Scalar(10, 20, 30));
  JpegWish wish;
  wish.exif = exif_block({6, {}, {}});
  const auto jpeg = folder.write("a.jpg", jpeg_bytes(picture, wish));
  const auto png = folder.write("a.png", png_bytes(picture, {false, wish.exif}));

  const auto half = read_photo_colour(png, 50);
  CHECK(half.type() == CV_8UC3);
  CHECK(half.size() == cv::Size(30, 50));  // orientation 6: the stored right side is at the bottom
  CHECK(half.at<cv::Vec3b>(2, 2) == cv::Vec3b(30, 20, 10));
  CHECK(half.at<cv::Vec3b>(48, 2) == cv::Vec3b(50, 100, 200));

  CHECK(read_photo_colour(png, 100).size() == cv::Size(60, 100));
  CHECK(read_photo_colour(png, 1000).size() == cv::Size(60, 100));
  CHECK(read_photo_colour(png, 99).size() == cv::Size(30, 50));
  CHECK(read_photo_colour(png, 34).size() == cv::Size(20, 34));  // factor 3, the last block partly filled
  for (const int side : {100, 50, 34, 25, 17, 13, 8, 1}) {
    INFO("side " << side);
    const cv::Mat from_jpeg = read_photo_colour(jpeg, side), from_png = read_photo_colour(png, side);
    REQUIRE(from_jpeg.size() == from_png.size());
    CHECK(std::max(from_jpeg.rows, from_jpeg.cols) <= side);
    // Subsampled chroma bleeds over the one edge of this picture.
    CHECK(cv::norm(cv::mean(from_jpeg), cv::mean(from_png)) < 8);
  }
  CHECK_THROWS_AS(read_photo_colour(png, 0), UsageError);
}

TEST_CASE("a block of the reduced colour picture is the mean of its pixels", "[photo]") {
  const ScratchFolder folder;
  const cv::Mat grey = textured_picture(40, 31, 3);
  const cv::Mat reduced = read_photo_colour(folder.write("a.png", png_bytes(grey)), 10);
  REQUIRE(reduced.size() == cv::Size(10, 8));
  for (int y = 0; y < reduced.rows; ++y)
    for (int x = 0; x < reduced.cols; ++x) {
      const cv::Rect block = cv::Rect(x * 4, y * 4, 4, 4) & cv::Rect(0, 0, grey.cols, grey.rows);
      CHECK(reduced.at<cv::Vec3b>(y, x)[1] == Approx(cv::mean(grey(block))[0]).margin(0.51));  // rounding
    }
}

TEST_CASE("HEIC in ten bits", "[photo]") {
  const std::string bytes = heic_bytes(six_blocks(), {1, 10, {}});
  if (bytes.empty()) return;
  CHECK(mean_difference(decoded(bytes).grey, six_blocks()) < 4);  // HEVC at quality 90
}

TEST_CASE("HEIC in colour", "[photo]") {
  const ScratchFolder folder;
  const std::string bytes = heic_bytes(six_blocks());
  if (bytes.empty()) return;
  const cv::Mat colour = read_photo_colour(folder.write("a.heic", bytes), 24);
  REQUIRE(colour.size() == cv::Size(24, 16));
  CHECK(colour.at<cv::Vec3b>(4, 4)[0] == Approx(20).margin(4));  // HEVC at quality 90
  CHECK(colour.at<cv::Vec3b>(12, 20)[2] == Approx(220).margin(4));
}

TEST_CASE("the content decides, not the name; names are UTF-8", "[photo]") {
  const ScratchFolder folder;
  const cv::Mat picture = six_blocks();
  const auto renamed = folder.write("Kotflügel 左.heic", png_bytes(picture));
  const Photo photo = read_photo(renamed);
  CHECK(photo.name == renamed.string());
  CHECK(mean_difference(photo.grey, picture) == 0);
  CHECK(read_photo(folder.write("no extension", jpeg_bytes(picture))).grey.size() == picture.size());
}

TEST_CASE("files that are no photo say what they seem to be", "[photo]") {
  const ScratchFolder folder;
  const auto message = [&](const std::string& bytes) {
    const auto file = folder.write("file.jpg", bytes);
    const std::string text = message_of<FileError>([&] { read_photo(file); });
    CHECK_THAT(text, ContainsSubstring(file.string()));
    return text;
  };
  CHECK_THAT(message(""), ContainsSubstring("empty"));
  CHECK_THAT(message("%PDF-1.7\n"), ContainsSubstring("a PDF document"));
  CHECK_THAT(message("GIF89a....."), ContainsSubstring("a GIF picture"));
  CHECK_THAT(message("RIFF1234WEBPVP8 "), ContainsSubstring("a WebP picture"));
  CHECK_THAT(message(std::string("II*\0\x08\0\0\0", 8)), ContainsSubstring("raw file"));
  CHECK_THAT(message(std::string("\0\0\0\x18"
                                 "ftypqt  ",
                                 12)),
             ContainsSubstring("a film"));
  CHECK_THAT(message("Dear customer,\n"), ContainsSubstring("text"));
  CHECK_THAT(message(std::string("\0\1\2\3", 4)), ContainsSubstring("something unknown"));
  CHECK_THAT(message("\xFF"), ContainsSubstring("give a JPEG, PNG or HEIC file"));
}

TEST_CASE("paths that hold no file say so", "[photo]") {
  const ScratchFolder folder;
  const auto message = [](const std::filesystem::path& path) {
    return message_of<FileError>([&] { read_photo(path); });
  };
  CHECK_THAT(message(folder / "missing.jpg"), ContainsSubstring("does not exist"));
  CHECK_THAT(message(folder.path()), ContainsSubstring("is a folder"));
  REQUIRE(::mkfifo((folder / "pipe").c_str(), 0600) == 0);
  CHECK_THAT(message(folder / "pipe"), ContainsSubstring("a pipe"));
  const auto locked = folder.write("locked.jpg", "x");
  std::filesystem::permissions(locked, std::filesystem::perms::none);
  if (::geteuid() != 0) CHECK_THAT(message(locked), ContainsSubstring("permissions"));
}

TEST_CASE("sizes are refused before a pixel is decoded", "[photo]") {
  // Headers alone, with sizes that would take gigabytes.
  std::string png = png_bytes(six_blocks());
  png.replace(16, 8, std::string("\0\1\x86\xA0\0\1\x86\xA0", 8));  // 100000 x 100000
  const std::string crc("\x8D\x39\x54\x14", 4);                    // of that header, by zlib
  png.replace(29, 4, crc);
  CHECK_THAT(refusal(png), ContainsSubstring("100000 x 100000") && ContainsSubstring("10000 megapixels"));

  std::string jpeg = jpeg_bytes(six_blocks());
  const std::size_t frame = jpeg.find("\xFF\xC0");
  REQUIRE(frame != std::string::npos);
  jpeg.replace(frame + 5, 4, "\xFD\xE8\xFD\xE8");  // 65000 x 65000
  CHECK_THAT(refusal(jpeg), ContainsSubstring("65000 x 65000"));

  PhotoLimits small;
  small.max_megapixels = 0.001;
  CHECK_THAT(refusal(png_bytes(six_blocks()), small), ContainsSubstring("48 x 32"));
  CHECK_THAT(refusal(jpeg_bytes(six_blocks()), small), ContainsSubstring("48 x 32"));
  if (const std::string heic = heic_bytes(six_blocks()); !heic.empty())
    CHECK_THAT(refusal(heic, small), ContainsSubstring("48 x 32"));
  CHECK(decoded(jpeg_bytes(textured_picture(1, 1, 1))).grey.size() == cv::Size(1, 1));

  const ScratchFolder folder;
  const auto file = folder.write("a.png", png_bytes(six_blocks()));
  PhotoLimits tiny;
  tiny.max_megabytes = 1e-6;
  CHECK_THROWS_WITH(read_photo(file, tiny), ContainsSubstring("MB"));
}

TEST_CASE("a HEIC file that lies about its size is refused by the size it is coded in", "[photo]") {
  std::string heic = heic_bytes(textured_picture(640, 480, 1));
  if (heic.empty()) return;  // libheif without an HEVC encoder
  PhotoLimits below;
  below.max_megapixels = 0.3;  // 640 x 480 is 0.307
  const std::size_t box = heic.find("ispe");
  REQUIRE(box != std::string::npos);
  heic.replace(box + 8, 8, std::string("\0\0\0\x40\0\0\0\x30", 8));  // 64 x 48
  CHECK_THAT(refusal(heic, below), ContainsSubstring("has 640 x 480 pixels"));
}

TEST_CASE("a HEIC picture of tiles that lies about its size is refused by the size of its canvas",
          "[photo]") {
  // Found by fuzzing: the canvas that the one tile goes into is told from one byte too far on, where it is
  // 16384 x 12288.
  std::ifstream in(RIPPLEGAUGE_SOURCE_DIR "/tests/fuzz/corpus/photo-pixels/huge-canvas.heic",
                   std::ios::binary);
  std::string heic{std::istreambuf_iterator<char>(in), {}};
  CHECK_THAT(refusal(heic), ContainsSubstring("a part of its pixels is missing"));
  // The same told properly.
  const std::size_t canvas = heic.find("idat") + 4,
                    place = heic.find(std::string("\0\0\0\1\0\0\0\x08", 8), heic.find("iloc"));
  REQUIRE(place != std::string::npos);
  heic[place + 3] = 0;
  heic.replace(canvas, 8, std::string("\0\0\0\0\x40\0\x30\0", 8));
  CHECK_THAT(refusal(heic), ContainsSubstring("16384 x 12288 pixels (201 megapixels)"));
}

TEST_CASE("a PNG chunk longer than the file asks for no memory", "[photo]") {
  PngWish wish;
  wish.exif = exif_block({6, 26, {}});
  std::string png = png_bytes(six_blocks(), wish);
  const std::size_t type = png.find("eXIf");
  REQUIRE(type != std::string::npos);
  png.replace(type - 4, 4, "\x68\x64\x6C\x72");  // 1.75 GB
  CHECK_THAT(refusal(png), ContainsSubstring("longer than the file"));
}

TEST_CASE("a photo of 200 megapixels is refused from its header in every format", "[photo]") {
  // 16384 x 12288 told in the header of a tiny file: decoding it would end in another message, or in 200 MB.
  std::string png = png_bytes(six_blocks());
  png.replace(16, 8, std::string("\0\0\x40\0\0\0\x30\0", 8));
  png.replace(29, 4, std::string("\x60\xCB\x9F\x73", 4));  // CRC of that header, by zlib
  CHECK_THAT(refusal(png), ContainsSubstring("16384 x 12288 pixels (201 megapixels)"));

  std::string jpeg = jpeg_bytes(six_blocks());
  jpeg.replace(jpeg.find("\xFF\xC0") + 5, 4, std::string("\x30\0\x40\0", 4));
  CHECK_THAT(refusal(jpeg), ContainsSubstring("16384 x 12288 pixels (201 megapixels)"));

  if (std::string heic = heic_bytes(textured_picture(64, 64, 1)); !heic.empty()) {
    heic.replace(heic.find("ispe") + 8, 8, std::string("\0\0\x40\0\0\0\x30\0", 8));
    CHECK_THAT(refusal(heic), ContainsSubstring("16384 x 12288 pixels (201 megapixels)"));
  }
}

TEST_CASE("a large picture of one even colour in a small file is refused before it fills the memory",
          "[photo]") {
  const cv::Mat even(4000, 5000, CV_8UC1, cv::Scalar(90));
  const std::string png = png_bytes(even);
  REQUIRE(png.size() < 50'000);
  CHECK_THAT(refusal(png), ContainsSubstring("says that it has 5000 x 4000 pixels") &&
                               ContainsSubstring("cannot hold a photo of that size"));
  // A header alone, whatever follows: 8000 x 6000.
  std::string jpeg = jpeg_bytes(six_blocks());
  jpeg.replace(jpeg.find("\xFF\xC0") + 5, 4, std::string("\x17\x70\x1F\x40", 4));
  CHECK_THAT(refusal(jpeg), ContainsSubstring("cannot hold a photo of that size"));
  // Up to 12 megapixels memory is no matter.
  CHECK(decoded(png_bytes(even(cv::Rect(0, 0, 4000, 3000)))).grey.size() == cv::Size(4000, 3000));
}

TEST_CASE("JPEGs that phones never make are refused with a reason", "[photo]") {
  CHECK_THAT(refusal(jpeg_bytes(cv::Mat(16, 16, CV_8UC4, cv::Scalar::all(100)))), ContainsSubstring("CMYK"));
  JpegWish many;
  many.scan_for_each_coefficient = true;
  CHECK_THAT(refusal(jpeg_bytes(six_blocks(), many)), ContainsSubstring("scans"));
}

TEST_CASE("what stands behind a JPEG's end is left alone", "[photo]") {
  // Phones append films and further pictures there.
  const cv::Mat picture = textured_picture(64, 48, 2);
  const std::string jpeg = jpeg_bytes(picture);
  CHECK(mean_difference(decoded(jpeg + std::string(5000, 'x')).grey, decoded(jpeg).grey) == 0);
}

TEST_CASE("a JPEG with a hundred thousand segments costs no time", "[photo]") {
  const std::string jpeg = jpeg_bytes(six_blocks());
  std::string segments;
  for (int i = 0; i < 100'000; ++i) segments += std::string("\xFF\xE1\0\2", 4);
  CHECK_THAT(refusal(jpeg.substr(0, 2) + segments + jpeg.substr(2)), ContainsSubstring("thousands of parts"));
  // As many as a long colour profile and notes have: read, and the EXIF behind them, too.
  JpegWish wish;
  wish.exif = exif_block({6, 26, {}});
  const std::string noted = jpeg_bytes(six_blocks(), wish);
  segments.resize(4 * 2000);
  CHECK(decoded(noted.substr(0, 2) + segments + noted.substr(2)).focal_35mm_mm == 26.0);
}

TEST_CASE("a focal length that no phone has is none", "[photo]") {
  for (const int focal_mm : {1, 7, 301, 65535}) {
    INFO(focal_mm);
    JpegWish wish;
    wish.exif = exif_block({1, focal_mm, {}});
    CHECK_FALSE(decoded(jpeg_bytes(six_blocks(), wish)).focal_35mm_mm);
  }
}

TEST_CASE("a wrong bit among a JPEG's pixels is refused, or it changes a block at most", "[photo]") {
  cv::Mat grey, colour;
  cv::resize(read_photo(RIPPLEGAUGE_SOURCE_DIR "/samples/photos/low-dark.jpg").grey, grey, {1440, 1080}, 0, 0,
             cv::INTER_AREA);
  cv::cvtColor(grey, colour, cv::COLOR_GRAY2RGB);
  for (const cv::Mat& picture : {grey, colour}) {
    const std::string jpeg = jpeg_bytes(picture, {92, false, false, false, {}});
    const cv::Mat right = decoded(jpeg).grey;
    // Of the top row nothing stands above, so that nothing jumps.
    const std::size_t begin = jpeg.size() / 20, step = jpeg.size() / 30;
    int refused = 0;
    for (std::size_t at = begin; at < jpeg.size() - 2; at += step) {
      std::string rotten = jpeg;
      rotten[at] = static_cast<char>(rotten[at] ^ 1 << at % 8);
      INFO("byte " << at << " of " << jpeg.size());
      try {
        const int changed = cv::countNonZero(cv::abs(decoded(rotten).grey - right) > 2);
        CHECK(changed <= 16 * 16);
      } catch (const FileError&) {
        ++refused;
      }
    }
    CHECK(refused > 4);
  }
}

TEST_CASE("a slight slope that hard compression turns into stairs is no damage", "[photo]") {
  cv::Mat slope(1200, 1600, CV_32FC1), noise(slope.size(), CV_32FC1), grey;
  cv::RNG(3).fill(noise, cv::RNG::NORMAL, 0, 0.8);
  for (const double rise : {0.03, 0.06, 0.12, 0.18})
    for (const int quality : {30, 50, 65, 80, 92}) {
      INFO("rises by " << rise << " a row, quality " << quality);
      for (int y = 0; y < slope.rows; ++y) slope.row(y).setTo(15 + rise * y);
      cv::Mat(slope + noise).convertTo(grey, CV_8U);
      CHECK_NOTHROW(decoded(jpeg_bytes(grey, {quality, false, false, false, {}})));
    }
}

TEST_CASE("stray bytes behind a JPEG's pixels are damage, zeros are not", "[photo]") {
  const std::string jpeg = jpeg_bytes(textured_picture(64, 48, 2));
  const auto with = [&](const std::string& strays) {
    return jpeg.substr(0, jpeg.size() - 2) + strays + jpeg.substr(jpeg.size() - 2);
  };
  CHECK(mean_difference(decoded(with(std::string(4, '\0'))).grey, decoded(jpeg).grey) == 0);
  // Up to eight may lie in the decoder's own store, where they are not seen.
  CHECK_THAT(refusal(with("twelve bytes")), ContainsSubstring("extraneous"));
}

TEST_CASE("cut and damaged files are refused or read, never worse, and nothing is printed", "[photo]") {
  const ScratchFolder folder;
  const cv::Mat picture = textured_picture(160, 120, 4);
  const std::string exif = exif_block({6, 26, "2026:03:14 10:02:03"});
  JpegWish baseline, progressive;
  baseline.exif = exif;
  progressive.progressive = true;
  std::vector<std::string> files = {jpeg_bytes(picture, baseline), jpeg_bytes(picture, progressive),
                                    png_bytes(picture, {false, exif}), png_bytes(picture, {true, exif})};
  if (const std::string heic = heic_bytes(picture, {6, 8, exif}); !heic.empty()) files.push_back(heic);

  int refused = 0;
  const std::string printed = stderr_of(folder, [&] {
    for (std::size_t kind = 0; kind < files.size(); ++kind) {
      const std::string& whole = files[kind];
      INFO("file " << kind << " of " << whole.size() << " bytes");
      REQUIRE(decoded(whole).grey.total() == picture.total());
      REQUIRE(whole.size() > 2000);
      for (std::size_t size = 0; size < whole.size(); size += 100) {
        INFO("cut to " << size);
        CHECK_FALSE(refusal(whole.substr(0, size)).empty());
      }
      CHECK_FALSE(refusal(whole.substr(0, whole.size() - 1)).empty());
      std::mt19937 random(static_cast<unsigned>(kind));
      for (int i = 0; i < 300; ++i) {
        std::string broken = whole;
        // Half of the damage goes to the headers, where it does most harm.
        const std::size_t range = i % 2 == 0 ? std::min<std::size_t>(whole.size(), 700) : whole.size();
        for (int flips = 1 + i % 4; flips > 0; --flips)
          broken[random() % range] = static_cast<char>(random());
        refused += !refusal(broken).empty();
      }
    }
  });
  CHECK(printed.empty());
  CHECK(refused > 300);  // most damage shows; bits of a JPEG's pixels can turn without a trace
}

TEST_CASE("photos are decoded in several threads at once", "[photo][threads]") {
  const cv::Mat picture = textured_picture(160, 120, 5);
  JpegWish wish;
  wish.exif = exif_block({8, 26, "2026:03:14 10:02:03"});
  std::vector<std::string> files = {jpeg_bytes(picture, wish), png_bytes(picture, {true, wish.exif})};
  if (const std::string heic = heic_bytes(picture, {8, 8, wish.exif}); !heic.empty()) files.push_back(heic);
  std::vector<cv::Mat> expected;
  for (const std::string& file : files) expected.push_back(decoded(file).grey);

  std::vector<int> wrong(4, 0);
  std::vector<std::thread> threads;
  for (int& count : wrong)
    threads.emplace_back([&] {
      for (std::size_t i = 0; i < 30; ++i) {
        const Photo photo = decoded(files[i % files.size()]);
        count += photo.focal_35mm_mm != 26.0 ||
                 cv::norm(photo.grey, expected[i % files.size()], cv::NORM_INF) != 0;
      }
    });
  for (std::thread& thread : threads) thread.join();
  CHECK(wrong == std::vector<int>(4, 0));
}

TEST_CASE("a JPEG decoded on two threads is the same picture, and damaged the same refusal",
          "[photo][threads]") {
  const cv::Mat grey = textured_picture(901, 703, 5);
  cv::Mat colour;
  cv::merge(std::vector<cv::Mat>{grey, 255 - grey, grey / 2}, colour);
  JpegWish progressive, as_rgb;
  progressive.progressive = true;
  as_rgb.coded_as_rgb = true;
  for (const std::string& jpeg :
       {jpeg_bytes(grey), jpeg_bytes(colour), jpeg_bytes(colour, progressive), jpeg_bytes(colour, as_rgb)}) {
    CHECK(mean_difference(decode_photo(jpeg, "test", {}, 2).grey, decode_photo(jpeg, "test").grey) == 0);
    std::mt19937 random(7);
    int refused = 0;
    for (int i = 0; i < 40; ++i) {
      std::string broken = jpeg;
      broken[600 + random() % (broken.size() - 600)] ^= 1 << random() % 8;
      if (i % 4 == 0) broken.resize(broken.size() * (40 + static_cast<unsigned>(i)) / 100);
      std::string one, two;
      cv::Mat seen_by_one, seen_by_two;
      try {
        seen_by_one = decode_photo(broken, "test").grey;
      } catch (const FileError& error) {
        one = error.what();
      }
      try {
        seen_by_two = decode_photo(broken, "test", {}, 2).grey;
      } catch (const FileError& error) {
        two = error.what();
      }
      CHECK(one == two);
      refused += !one.empty();
      if (one.empty()) CHECK(mean_difference(seen_by_one, seen_by_two) == 0);
    }
    CHECK(refused > 10);
  }
}

TEST_CASE("EXIF as exiftool writes it is read back", "[photo]") {
  if (std::system("exiftool -ver >/dev/null 2>&1") != 0) {
    WARN("exiftool is not installed: nothing to compare with");
    return;
  }
  const ScratchFolder folder;
  const cv::Mat picture = six_blocks();
  std::vector<std::filesystem::path> files = {folder.write("a.jpg", jpeg_bytes(picture)),
                                              folder.write("a.png", png_bytes(picture))};
  if (const std::string heic = heic_bytes(picture, {1, 8, exif_block({1, 1, {}})}); !heic.empty())
    files.push_back(folder.write("a.heic", heic));
  for (const auto& file : files) {
    INFO(file);
    const std::string command =
        "exiftool -q -overwrite_original -n -IFD0:Orientation=8 "
        "-FocalLengthIn35mmFormat=77 -DateTimeOriginal='2025:12:31 23:59:58' '" +
        file.string() + "' 2>/dev/null";
    REQUIRE(std::system(command.c_str()) == 0);
    const Photo photo = read_photo(file);
    REQUIRE(photo.focal_35mm_mm);
    CHECK(*photo.focal_35mm_mm == 77);
    CHECK(photo.date_taken == "2025-12-31 23:59:58");
    CHECK(photo.exif_orientation == 8);
  }
}
