// Sheets are checked from outside: page boxes as pdfinfo reads them, lengths in what pdftoppm makes of the
// page.
#include "ripplegauge/sheet/sheet.hpp"

#include <cmath>
#include <map>
#include <opencv2/core.hpp>

#include "catch.hpp"
#include "pdf_file.hpp"
#include "ripplegauge/card/tag_detector.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/json/board_file.hpp"
#include "ripplegauge/json/card_file.hpp"

using namespace ripplegauge;
using Catch::Matchers::ContainsSubstring;

namespace {

CardDefinition corner_card() {
  return read_card(std::filesystem::path(RIPPLEGAUGE_SOURCE_DIR) / "calibration/card-corner.json");
}

/// On the page, y downwards, from its top left corner.
struct TagOnPage {
  double x_mm = 0, y_mm = 0, side_mm = 0;
  bool upright = false;
};

std::map<int, TagOnPage> tags_on(const cv::Mat& grey) {
  std::map<int, TagOnPage> tags;
  for (const SeenTag& seen : decode_tags(grey)) {
    cv::Point2d sum;
    double perimeter_px = 0;
    for (std::size_t i = 0; i < 4; ++i) {
      sum += seen.corners_px[i];
      perimeter_px += cv::norm(seen.corners_px[(i + 1) % 4] - seen.corners_px[i]);
    }
    // Corner 0 is the tag's own top left, corner 1 its top right.
    const cv::Point2d top = seen.corners_px[1] - seen.corners_px[0];
    const bool upright =
        top.x > 0 && std::abs(top.y) < 0.1 * top.x && seen.corners_px[3].y > seen.corners_px[0].y;
    tags[seen.id] = {0.25 * sum.x / px_per_mm, 0.25 * sum.y / px_per_mm, 0.25 * perimeter_px / px_per_mm,
                     upright};
  }
  return tags;
}

/// Lengths of the dark runs in a row or column of pixels, with their starts; edges by linear interpolation at
/// mid-grey.
struct Run {
  double start_px = 0, length_px = 0;
};

std::vector<Run> dark_runs(const cv::Mat& line) {
  const auto level = [&line](int i) {
    return static_cast<double>(line.data[static_cast<std::size_t>(i) * line.step1(line.rows > 1 ? 0 : 1)]);
  };
  const int count = static_cast<int>(line.total());
  constexpr double threshold = 127.5;
  std::vector<Run> runs;
  for (int i = 1; i < count; ++i) {
    const double before = level(i - 1), now = level(i);
    const bool falls = before >= threshold && now < threshold, rises = before < threshold && now >= threshold;
    if (!falls && !rises) continue;
    const double edge_px = i - 1 + (before - threshold) / (before - now);
    if (falls)
      runs.push_back({edge_px, 0});
    else if (!runs.empty())
      runs.back().length_px = edge_px - runs.back().start_px;
  }
  return runs;
}

/// The check bar: the dark run that more rows than any other share, of a length that no stripe or tag has.
std::vector<double> bar_lengths_mm(const cv::Mat& grey) {
  std::vector<double> lengths;
  for (int row = 0; row < grey.rows; ++row) {
    for (const Run& run : dark_runs(grey.row(row))) {
      const double length_mm = run.length_px / px_per_mm;
      if (length_mm > 90 && length_mm < 110) lengths.push_back(length_mm);
    }
  }
  return lengths;
}

// One pixel: the renderer moves edges to whole ones.
constexpr double raster_tolerance_mm = 1.05 / px_per_mm;

}  // namespace

TEST_CASE("pages have the size of the paper", "[sheet]") {
  if (poppler_is_missing()) return;
  // ISO 216: A4 210 x 297, A3 297 x 420 mm; Letter 8.5 x 11 in; 1 pt = 1/72 in (ISO 32000-1, 8.3.2.3).
  const std::map<Paper, std::pair<double, double>> points = {
      {Paper::a4, {595.276, 841.890}}, {Paper::letter, {612, 792}}, {Paper::a3, {841.890, 1190.551}}};
  constexpr double tolerance_pt = 0.01;  // pdfinfo prints five or six digits
  for (const auto& [paper, size] : points) {
    const auto card = PdfFile(card_sheet_pdf(corner_card(), paper)).page_sizes_pt();
    REQUIRE(card.size() == 1);
    CHECK(std::abs(card[0].first - size.first) < tolerance_pt);
    CHECK(std::abs(card[0].second - size.second) < tolerance_pt);

    const auto board = PdfFile(board_sheet_pdf({.paper = paper})).page_sizes_pt();
    REQUIRE(board.size() == 2);
    for (const auto& [width, height] : board) {  // on its side
      CHECK(std::abs(width - size.second) < tolerance_pt);
      CHECK(std::abs(height - size.first) < tolerance_pt);
    }
  }
}

TEST_CASE("the printed card is the card of its file", "[sheet]") {
  if (poppler_is_missing()) return;
  const CardDefinition card = corner_card();
  for (const Paper paper : {Paper::a4, Paper::letter}) {
    const cv::Mat grey = PdfFile(card_sheet_pdf(card, paper)).raster();
    const std::map<int, TagOnPage> tags = tags_on(grey);
    REQUIRE(tags.size() == card.tags.size());
    for (const CardTag& a : card.tags) {
      REQUIRE(tags.contains(a.id));
      CHECK(tags.at(a.id).upright);
      CHECK(std::abs(tags.at(a.id).side_mm - card.tag_side_mm) < 0.1);
      for (const CardTag& b : card.tags) {
        REQUIRE(tags.contains(b.id));
        CHECK(std::abs(tags.at(b.id).x_mm - tags.at(a.id).x_mm - (b.x_mm - a.x_mm)) < 0.1);
        CHECK(std::abs(tags.at(b.id).y_mm - tags.at(a.id).y_mm + (b.y_mm - a.y_mm)) < 0.1);
      }
    }
  }
}

TEST_CASE("the check bar is 100 mm long", "[sheet]") {
  if (poppler_is_missing()) return;
  for (const std::string& pdf :
       {card_sheet_pdf(corner_card(), Paper::a4), card_sheet_pdf(corner_card(), Paper::letter),
        board_sheet_pdf({}), board_sheet_pdf({.paper = Paper::a3, .pitch_mm = 20, .tags = true})}) {
    const std::vector<double> lengths_mm = bar_lengths_mm(PdfFile(pdf).raster());
    REQUIRE(lengths_mm.size() > 2 * px_per_mm);  // rows of a bar at least 2 mm thick
    for (const double length_mm : lengths_mm) CHECK(std::abs(length_mm - 100) < raster_tolerance_mm);
  }
}

TEST_CASE("stripes have the pitch that is printed on the board", "[sheet]") {
  if (poppler_is_missing()) return;
  for (const double pitch_mm : {4.0, 12.5, 16.0}) {
    const PdfFile pdf(board_sheet_pdf({.pitch_mm = pitch_mm}));
    const cv::Mat grey = pdf.raster();
    const int column = 2 * grey.cols / 3;  // clear of the check bar and of its words
    std::vector<Run> stripes;
    for (const Run& run : dark_runs(grey.col(column)))
      if (run.length_px > 0.3 * pitch_mm * px_per_mm) stripes.push_back(run);  // not the cutting line
    REQUIRE(stripes.size() >= 160 / pitch_mm);
    for (std::size_t i = 0; i < stripes.size(); ++i) {
      CHECK(std::abs(stripes[i].length_px / px_per_mm - 0.5 * pitch_mm) < raster_tolerance_mm);
      const double from_first_mm = (stripes[i].start_px - stripes[0].start_px) / px_per_mm;
      CHECK(std::abs(from_first_mm - static_cast<double>(i) * pitch_mm) < raster_tolerance_mm);
    }
    const double last_mm = (stripes.back().start_px - stripes.front().start_px) / px_per_mm;
    const auto periods = static_cast<double>(stripes.size() - 1);
    CHECK(std::abs(last_mm / periods - pitch_mm) < raster_tolerance_mm / periods);
    std::ostringstream words;
    words << "pitch " << pitch_mm << " mm";
    CHECK_THAT(pdf.text(), ContainsSubstring(words.str()));
  }
}

TEST_CASE("the board's tags read in a mirror alone, where the board file has them", "[sheet]") {
  if (poppler_is_missing()) return;
  for (const BoardSheetOptions& options :
       {BoardSheetOptions{.tags = true},
        BoardSheetOptions{.paper = Paper::letter, .pitch_mm = 10, .tags = true},
        BoardSheetOptions{.paper = Paper::a3, .pitch_mm = 25, .tags = true}}) {
    const BoardDefinition board = board_of_sheet(options);
    CHECK(board.printed_mirrored);
    CHECK(board.pitch_mm == options.pitch_mm);
    REQUIRE(board.tags.size() == 6);

    const cv::Mat grey = PdfFile(board_sheet_pdf(options)).raster();
    CHECK(tags_on(grey).empty());
    CHECK(find_tags(grey, true).size() == 6);  // as measuring looks for them
    cv::Mat mirrored;
    cv::flip(grey, mirrored, 1);
    const std::map<int, TagOnPage> tags = tags_on(mirrored);
    REQUIRE(tags.size() == 6);
    for (const BoardTag& a : board.tags) {
      CHECK(a.id >= 40);
      REQUIRE(tags.contains(a.id));
      CHECK(tags.at(a.id).upright);
      CHECK(std::abs(tags.at(a.id).side_mm - a.side_mm) < 0.1);
      for (const BoardTag& b : board.tags) {
        REQUIRE(tags.contains(b.id));
        CHECK(std::abs(tags.at(b.id).x_mm - tags.at(a.id).x_mm + (b.x_mm - a.x_mm)) < 0.1);  // mirrored
        CHECK(std::abs(tags.at(b.id).y_mm - tags.at(a.id).y_mm + (b.y_mm - a.y_mm)) < 0.1);
      }
    }
  }
}

TEST_CASE("tags to stick on read in a mirror alone, as large as was asked for", "[sheet]") {
  if (poppler_is_missing()) return;
  TagSheetOptions options;
  options.first_id = 50;
  options.count = 4;
  options.side_mm = 30;
  const PdfFile pdf(tag_sheet_pdf(options));
  CHECK(pdf.page_sizes_pt().size() == 1);
  const cv::Mat page = pdf.raster();
  CHECK(find_tags(page).empty());
  const std::vector<SeenTag> tags = find_tags(page, true);
  REQUIRE(tags.size() == 4);
  for (const SeenTag& tag : tags) {
    CHECK(tag.id >= 50);
    CHECK(tag.id < 54);
    for (std::size_t k = 0; k < 4; ++k)  // a pixel of 300 dpi is 0.08 mm
      CHECK(cv::norm(tag.corners_px[k] - tag.corners_px[(k + 1) % 4]) / px_per_mm == Approx(30).margin(0.1));
  }
  CHECK_THAT(pdf.text(), ContainsSubstring("tag 53"));
  options.count = 600;
  CHECK_THROWS_AS(tag_sheet_pdf(options), UsageError);
}

TEST_CASE("the board's origin is where a dark stripe begins, midway between its tags", "[sheet]") {
  if (poppler_is_missing()) return;
  const BoardSheetOptions options{.tags = true};
  const cv::Mat grey = PdfFile(board_sheet_pdf(options)).raster();
  cv::Mat mirrored;
  cv::flip(grey, mirrored, 1);
  const std::map<int, TagOnPage> tags = tags_on(mirrored);
  REQUIRE(tags.contains(41));
  const double origin_y_mm = tags.at(41).y_mm;  // the middle tag of a short side
  double nearest_mm = 1e9;
  for (const Run& run : dark_runs(grey.col(grey.cols / 2)))
    nearest_mm = std::min(nearest_mm, std::abs((run.start_px + run.length_px) / px_per_mm - origin_y_mm));
  CHECK(nearest_mm < 0.1);
}

TEST_CASE("the board file that comes with the program is the printed A3 board", "[sheet]") {
  const auto file = std::filesystem::path(RIPPLEGAUGE_SOURCE_DIR) / "calibration/board-a3-16mm.json";
  const BoardSheetOptions options{.paper = Paper::a3, .pitch_mm = 16, .tags = true};
  CHECK(ScratchFolder::read(file) == board_to_json(board_of_sheet(options)));
}

TEST_CASE("a board printed small is described as small", "[sheet]") {
  const BoardDefinition nominal = board_of_sheet({.tags = true}),
                        printed = board_of_sheet({.tags = true}, 97);
  CHECK(printed.pitch_mm == Approx(0.97 * nominal.pitch_mm));
  REQUIRE(printed.tags.size() == nominal.tags.size());
  for (std::size_t i = 0; i < printed.tags.size(); ++i) {
    CHECK(printed.tags[i].x_mm == Approx(0.97 * nominal.tags[i].x_mm));
    CHECK(printed.tags[i].y_mm == Approx(0.97 * nominal.tags[i].y_mm).margin(1e-12));
    CHECK(printed.tags[i].side_mm == Approx(0.97 * nominal.tags[i].side_mm));
  }
  CHECK(board_of_sheet({}).tags.empty());
  CHECK_FALSE(board_of_sheet({}).printed_mirrored);
}

TEST_CASE("sheets say how to use them", "[sheet]") {
  if (poppler_is_missing()) return;
  const std::string card = PdfFile(card_sheet_pdf(corner_card(), Paper::a4)).text();
  for (const char* words :
       {"check bar: 100 mm", "100 %", "--bar-length", "Cut the card out", "Tap on the card", "corner card"})
    CHECK_THAT(card, ContainsSubstring(words));
  const std::string taped = PdfFile(board_sheet_pdf({})).text();
  for (const char* words : {"check bar: 100 mm", "Cut along", "Tape from the dent", "--board-pitch 16"})
    CHECK_THAT(taped, ContainsSubstring(words));
  const std::string tagged = PdfFile(board_sheet_pdf({.tags = true})).text();
  CHECK_THAT(tagged, ContainsSubstring("--board FILE") && ContainsSubstring("mirrored on purpose"));
}

TEST_CASE("the same sheet is the same file", "[sheet]") {
  CHECK(card_sheet_pdf(corner_card(), Paper::a4) == card_sheet_pdf(corner_card(), Paper::a4));
  CHECK(board_sheet_pdf({.tags = true}) == board_sheet_pdf({.tags = true}));
}

TEST_CASE("what does not fit the paper is refused with a way out", "[sheet]") {
  CardDefinition wide = corner_card();
  wide.paper.push_back({-14, -14, 260, 14});
  const auto message = [](auto&& action) { return message_of<UsageError>(action); };
  CHECK_THAT(message([&] { card_sheet_pdf(wide, Paper::a4); }), ContainsSubstring("choose a larger"));
  for (const double pitch_mm : {0.0, -16.0, 3.9, 50.0, std::nan(""), HUGE_VAL})
    CHECK_THAT(message([&] { board_sheet_pdf({.pitch_mm = pitch_mm}); }),
               ContainsSubstring("choose one from 4 to 44"));
  CHECK_NOTHROW(board_sheet_pdf({.paper = Paper::a3, .pitch_mm = 50, .tags = true}));
  for (const double bar_mm : {0.0, 3.94, 250.0, std::nan("")})
    CHECK_THAT(message([&] { board_of_sheet({}, bar_mm); }), ContainsSubstring("check bar"));
}
