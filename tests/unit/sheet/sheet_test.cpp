// What a printed page really is, asked of an independent program: pdfinfo for the page, pdftoppm for a raster of it.
#include "ripplegauge/sheet/sheet.hpp"

#include <unistd.h>

#include <array>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <map>

#include "catch.hpp"
#include "ripplegauge/card/tag_detector.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/files/atomic_write.hpp"
#include "ripplegauge/files/card_file.hpp"
#include "ripplegauge/photo/photo.hpp"

using namespace ripplegauge;
namespace fs = std::filesystem;

namespace {

constexpr double dpi = 300, mm_per_px = 25.4 / dpi;

std::string output_of(const std::string& command) {
  std::string text;
  FILE* pipe = popen(command.c_str(), "r");
  REQUIRE(pipe != nullptr);
  std::array<char, 4096> buffer{};
  while (const std::size_t n = fread(buffer.data(), 1, buffer.size(), pipe)) text.append(buffer.data(), n);
  pclose(pipe);
  return text;
}

bool poppler_there() {
  const bool there = std::system("pdftoppm -v >/dev/null 2>&1") == 0;
  if (!there) WARN("skipped: pdftoppm (poppler-utils) is not installed");
  return there;
}

struct Page {
  fs::path folder = fs::temp_directory_path() / ("ripplegauge-sheet-" + std::to_string(getpid()));
  Page() { fs::create_directories(folder); }
  ~Page() { fs::remove_all(folder); }
  fs::path write(const std::string& pdf) const {
    write_atomically(folder / "page.pdf", pdf);
    return folder / "page.pdf";
  }
  cv::Mat raster(const fs::path& pdf) const {
    const fs::path png = folder / "page";
    output_of("pdftoppm -r 300 -gray -png -singlefile -f 1 -l 1 '" + pdf.string() + "' '" + png.string() + "'");
    return read_photo(png.string() + ".png").grey;
  }
};

CardDefinition corner_card() { return read_card(fs::path(RIPPLEGAUGE_SOURCE_DIR) / "calibration" / "card-corner.json"); }

cv::Point2d centre_of(const SeenTag& tag) {
  return 0.25 * (tag.corners_px[0] + tag.corners_px[1] + tag.corners_px[2] + tag.corners_px[3]);
}

/// Longest dark run along row y, in pixels.
int longest_dark_run(const cv::Mat& grey, int y) {
  int best = 0, run = 0;
  for (int x = 0; x < grey.cols; ++x) {
    run = grey.at<uchar>(y, x) < 128 ? run + 1 : 0;
    best = std::max(best, run);
  }
  return best;
}

}  // namespace

TEST_CASE("page boxes are the standard's", "[sheet]") {
  if (!poppler_there()) return;
  // ISO 216: A4 210 x 297 mm, A3 297 x 420 mm; Letter 8.5 x 11 in; ISO 32000-1: 1 pt = 1/72 in.
  const Page page;
  const auto box = [&](Paper paper) {
    double w = 0, h = 0;
    const std::string info = output_of("pdfinfo '" + page.write(card_sheet_pdf(corner_card(), paper)).string() + "'");
    const auto at = info.find("Page size:");
    REQUIRE(at != std::string::npos);
    REQUIRE(std::sscanf(info.c_str() + at, "Page size: %lf x %lf", &w, &h) == 2);
    return std::pair{w, h};
  };
  CHECK(box(Paper::a4).first == Approx(595.276).margin(0.01));
  CHECK(box(Paper::a4).second == Approx(841.890).margin(0.01));
  CHECK(box(Paper::letter).first == Approx(612).margin(0.01));
  CHECK(box(Paper::letter).second == Approx(792).margin(0.01));
}

TEST_CASE("the printed card's tags stand where its file says, and the bar is 100 mm", "[sheet]") {
  if (!poppler_there()) return;
  const Page page;
  const cv::Mat raster = page.raster(page.write(card_sheet_pdf(corner_card(), Paper::a4)));
  const auto tags = find_tags(raster);
  REQUIRE(tags.size() == 8);
  std::map<int, cv::Point2d> at;
  for (const SeenTag& tag : tags) at[tag.id] = centre_of(tag);
  REQUIRE(at.size() == 8);
  for (const CardTag& a : corner_card().tags)
    for (const CardTag& b : corner_card().tags) {
      // A page is rastered with y down, the card has y up.
      CHECK((at[b.id].x - at[a.id].x) * mm_per_px == Approx(b.x_mm - a.x_mm).margin(0.1));
      CHECK((at[a.id].y - at[b.id].y) * mm_per_px == Approx(b.y_mm - a.y_mm).margin(0.1));
    }
  int bar = 0;
  for (int y = 0; y < raster.rows; ++y) bar = std::max(bar, longest_dark_run(raster, y));
  CHECK(bar * mm_per_px == Approx(100).margin(0.15));  // a pixel is 0.085 mm
}

TEST_CASE("the board's tags read in a mirror only, where its board file says", "[sheet]") {
  if (!poppler_there()) return;
  const Page page;
  const BoardSheetOptions options{Paper::a4, 16, true};
  const cv::Mat raster = page.raster(page.write(board_sheet_pdf(options)));
  CHECK(find_tags(raster).empty());
  const auto tags = find_tags(raster, true);
  const BoardDefinition board = board_of_sheet(options);
  REQUIRE(board.tags.size() == 6);
  REQUIRE(tags.size() == 6);
  CHECK(board.printed_mirrored);
  std::map<int, cv::Point2d> at;
  for (const SeenTag& tag : tags) at[tag.id] = centre_of(tag);
  for (const BoardTag& a : board.tags)
    for (const BoardTag& b : board.tags) {
      CHECK((at[b.id].x - at[a.id].x) * mm_per_px == Approx(b.x_mm - a.x_mm).margin(0.1));
      CHECK((at[a.id].y - at[b.id].y) * mm_per_px == Approx(b.y_mm - a.y_mm).margin(0.1));
    }
}

TEST_CASE("the board's stripes have the pitch that is printed on it", "[sheet]") {
  if (!poppler_there()) return;
  const Page page;
  for (const double pitch : {10.0, 16.0}) {
    const cv::Mat raster = page.raster(page.write(board_sheet_pdf({Paper::a4, pitch, false})));
    // Edges dark to light down the middle of the page.
    std::vector<int> edges;
    for (int y = 1; y < raster.rows; ++y)
      if (raster.at<uchar>(y - 1, raster.cols / 2) < 128 && raster.at<uchar>(y, raster.cols / 2) >= 128) edges.push_back(y);
    REQUIRE(edges.size() >= 5);
    const double periods = static_cast<double>(edges.size() - 2);  // the last edge may be text or frame
    CHECK((edges[edges.size() - 2] - edges[0]) * mm_per_px / periods == Approx(pitch).margin(0.05));
  }
}

TEST_CASE("a board that cannot work is refused", "[sheet]") {
  CHECK_THROWS_AS(board_sheet_pdf({Paper::a4, 0, false}), UsageError);
  CHECK_THROWS_AS(board_sheet_pdf({Paper::a4, 500, false}), UsageError);
}
