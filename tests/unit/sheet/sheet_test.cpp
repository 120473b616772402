// Sheets are checked from outside: page boxes as pdfinfo reads them, lengths in what pdftoppm makes of the
// page.
#include "sheet/sheet.hpp"

#include <cmath>
#include <map>
#include <numbers>
#include <opencv2/core.hpp>

#include "card/tag_detector.hpp"
#include "catch.hpp"
#include "pdf_file.hpp"
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

/// The sheets cut and glued as their marks say: each one's own part of the board, beside and below the
/// others.
cv::Mat glued_board(const PdfFile& pdf, const BoardSheetOptions& options) {
  const auto px = [](double mm) { return static_cast<int>(std::lround(mm * px_per_mm)); };
  const PaperSize size = size_of(options.paper);
  constexpr double margin_mm = 10, glue_mm = 10, label_mm = 11;
  const double glue_right_mm = options.tiles_across > 1 ? glue_mm : 0,
               glue_below_mm = options.tiles_down > 1 ? glue_mm : 0;
  const double width_mm = size.height_mm - 2 * margin_mm - glue_right_mm;
  const double room_mm = size.width_mm - 2 * margin_mm - label_mm - glue_below_mm;
  const double height_mm = options.pitch_mm * std::floor(room_mm / options.pitch_mm);
  const double top_mm = 0.5 * (size.width_mm - height_mm - label_mm - glue_below_mm);
  std::vector<cv::Mat> rows;
  for (int row = 0; row < options.tiles_down; ++row) {
    std::vector<cv::Mat> sheets;
    for (int column = 0; column < options.tiles_across; ++column)
      sheets.push_back(pdf.raster(row * options.tiles_across + column +
                                  1)(cv::Rect(px(margin_mm), px(top_mm), px(width_mm), px(height_mm))));
    cv::Mat joined;
    cv::hconcat(sheets, joined);
    rows.push_back(joined);
  }
  cv::Mat glued;
  cv::vconcat(rows, glued);
  cv::copyMakeBorder(glued, glued, 40, 40, 40, 40, cv::BORDER_CONSTANT, cv::Scalar(255));
  return glued;
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

TEST_CASE("a board of several sheets is one board once they are glued on their marks", "[sheet]") {
  if (poppler_is_missing()) return;
  // Any sheets, also of a pitch that does not go into the paper, and so wide that tags stand in between.
  for (const BoardSheetOptions& options :
       {BoardSheetOptions{.tags = true, .tiles_across = 2},
        BoardSheetOptions{.paper = Paper::letter, .pitch_mm = 11, .tags = true, .tiles_down = 2},
        BoardSheetOptions{.pitch_mm = 25, .tags = true, .tiles_across = 3, .tiles_down = 2}}) {
    const PdfFile pdf(board_sheet_pdf(options));
    const auto pages = static_cast<std::size_t>(options.tiles_across * options.tiles_down);
    REQUIRE(pdf.page_sizes_pt().size() == pages + 1);
    const BoardDefinition board = board_of_sheet(options);
    const cv::Mat glued = glued_board(pdf, options);
    CHECK(tags_on(glued).empty());
    cv::Mat mirrored;
    cv::flip(glued, mirrored, 1);
    const std::map<int, TagOnPage> tags = tags_on(mirrored);
    REQUIRE(tags.size() == board.tags.size());
    for (const BoardTag& a : board.tags) {
      REQUIRE(tags.contains(a.id));
      CHECK(std::abs(tags.at(a.id).side_mm - a.side_mm) < 0.1);
      for (const BoardTag& b : board.tags) {
        CHECK(std::abs(tags.at(b.id).x_mm - tags.at(a.id).x_mm + (b.x_mm - a.x_mm)) < 0.2);
        CHECK(std::abs(tags.at(b.id).y_mm - tags.at(a.id).y_mm + (b.y_mm - a.y_mm)) < 0.2);
      }
    }
    // Beside the tags stripes go on across every seam, up and down as well as along.
    const int column = glued.cols / 2 + static_cast<int>(0.3 * glued.cols / options.tiles_across);
    const std::vector<Run> stripes = dark_runs(glued.col(column));
    REQUIRE(stripes.size() > 4);
    for (std::size_t i = 1; i < stripes.size(); ++i)
      CHECK(std::abs((stripes[i].start_px - stripes[1].start_px) / px_per_mm -
                     (static_cast<double>(i) - 1) * options.pitch_mm) < 2 * raster_tolerance_mm);
    for (std::size_t i = 1; i + 1 < stripes.size(); ++i)
      CHECK(std::abs(stripes[i].length_px / px_per_mm - 0.5 * options.pitch_mm) < 2 * raster_tolerance_mm);
  }
}

TEST_CASE("what lies below the next sheet's edge are the same stripes", "[sheet]") {
  if (poppler_is_missing()) return;
  const PdfFile pdf(board_sheet_pdf({.tiles_across = 2}));
  const cv::Mat left = pdf.raster(1), right = pdf.raster(2);
  const auto px = [](double mm) { return static_cast<int>(std::lround(mm * px_per_mm)); };
  // A4 on its side: 10 mm margins and 10 mm to glue leave 267 mm of stripes.
  const std::vector<Run> below = dark_runs(left.col(px(10 + 267 + 5))),
                         above = dark_runs(right.col(px(10 + 5)));
  const auto stripes = [](const std::vector<Run>& runs) {
    std::vector<double> starts;
    for (const Run& run : runs)
      if (std::abs(run.length_px / px_per_mm - 8) < 0.2) starts.push_back(run.start_px);
    return starts;
  };
  REQUIRE(stripes(below).size() >= 9);
  REQUIRE(stripes(below).size() == stripes(above).size());
  for (std::size_t i = 0; i < stripes(below).size(); ++i)
    CHECK(std::abs(stripes(below)[i] - stripes(above)[i]) < 1.05);
}

TEST_CASE("tiles that cannot be are refused", "[sheet]") {
  for (const auto& [across, down] : {std::pair{0, 1}, std::pair{1, 7}, std::pair{-2, 1}})
    CHECK_THAT(message_of<UsageError>([&, across = across, down = down] {
                 board_sheet_pdf({.tiles_across = across, .tiles_down = down});
               }),
               ContainsSubstring("sheets"));
}

TEST_CASE(
    "at every place that the pages teach, the dent's surroundings mirror the board and the card is seen",
    "[sheet]") {
  constexpr double degree = std::numbers::pi / 180;
  for (const TaughtSetup& setup : taught_setups()) {
    INFO(setup.panel);
    const double tilt = setup.view_deg * degree;
    // x along the panel towards the board, z out of it, the dent at the origin.
    const cv::Vec3d camera{-setup.phone_mm * std::sin(tilt), 0, setup.phone_mm * std::cos(tilt)};
    const cv::Vec3d centre{setup.board_mm * std::sin(tilt), 0, setup.board_mm * std::cos(tilt)};
    const double lean = setup.board_lean_deg * degree;
    const cv::Vec3d up{-std::sin(lean), 0, std::cos(lean)}, along{0, 1, 0}, face = up.cross(along);
    // The smallest board that is printed: A4, whole stripes of 16 mm.
    const double half_width_mm = 138, half_height_mm = 80;
    for (const double crown_radius_mm : {1e9, 2000.0}) {
      INFO(crown_radius_mm);
      for (int azimuth_deg = 0; azimuth_deg < 360; azimuth_deg += 15) {
        constexpr double round_the_dent_mm = 35;
        const double x = round_the_dent_mm * std::cos(azimuth_deg * degree),
                     y = round_the_dent_mm * std::sin(azimuth_deg * degree);
        const cv::Vec3d point{x, y, -(x * x + y * y) / (2 * crown_radius_mm)};
        const cv::Vec3d normal = cv::normalize(cv::Vec3d{x / crown_radius_mm, y / crown_radius_mm, 1});
        const cv::Vec3d in = cv::normalize(point - camera);
        const cv::Vec3d out = in - 2 * in.dot(normal) * normal;  // the law of reflection
        const double way_mm = face.dot(centre - point) / face.dot(out);
        REQUIRE(way_mm > 0);
        const cv::Vec3d hit = point + way_mm * out - centre;
        CHECK(std::abs(hit.dot(along)) < half_width_mm);
        CHECK(std::abs(hit.dot(up)) < half_height_mm);
        CHECK((point + way_mm * out)[2] > 0);  // in front of the panel
      }
    }
    // The card beside the dent, its inner corner towards it, in a phone's picture of 4:3 with 26 mm of 35 mm
    // film, whose diagonal is 43.3 mm: 34.6 x 26 mm.
    const cv::Vec3d ahead = cv::normalize(-camera), level{0, 1, 0}, upwards = ahead.cross(level);
    for (const double x : {-75.0, 28.0})
      for (const double y : {-77.0, 51.0}) {
        const cv::Vec3d ray = cv::Vec3d{x, y, 0} - camera;
        CHECK(26 * std::abs(ray.dot(level)) / ray.dot(ahead) < 17.3);
        CHECK(26 * std::abs(ray.dot(upwards)) / ray.dot(ahead) < 13);
      }
    // The card keeps out of the phone's way, the board off the panel.
    CHECK(centre[2] - half_height_mm * std::cos(lean) > 30);
  }
}

TEST_CASE("the board file that comes with the program is the printed A3 board", "[sheet]") {
  const auto file = std::filesystem::path(RIPPLEGAUGE_SOURCE_DIR) / "calibration/board-a3-16mm.json";
  const BoardSheetOptions options{.paper = Paper::a3, .pitch_mm = 16, .tags = true};
  CHECK(board_to_json(read_board(file)) == board_to_json(board_of_sheet(options)));
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
  for (const char* words : {"check bar: 100 mm", "100 %", "Give its length", "Cut the card out",
                            "Tap on the card", "corner card"})
    CHECK_THAT(card, ContainsSubstring(words));
  const std::string plain = PdfFile(board_sheet_pdf({.how_to_measure = "press the large button"})).text();
  for (const char* words : {"check bar: 100 mm", "Cut along", "No tape is needed", "press the large button",
                            "Bonnet", "Roof", "Door"})
    CHECK_THAT(plain, ContainsSubstring(words));
  const std::string tagged = PdfFile(board_sheet_pdf({.tags = true})).text();
  CHECK_THAT(tagged, ContainsSubstring("mirrored on purpose"));
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
