#include "picture/annotate.hpp"

#include <cmath>
#include <limits>
#include <numbers>
#include <opencv2/core.hpp>

#include "catch.hpp"
#include "picture/palette.hpp"

using namespace ripplegauge;

namespace {

constexpr double unknown = std::numeric_limits<double>::quiet_NaN();

Dent dent_of(Kind kind, double diameter_mm, double depth_mm) {
  const auto within = [](double value) { return Quantity{value, 0.95 * value, 1.05 * value}; };
  Dent dent;
  dent.kind = kind;
  dent.diameter_mm = dent.length_mm = dent.width_mm = dent.half_diameter_mm = within(diameter_mm);
  dent.depth_mm = within(depth_mm);
  dent.severity = "moderate";
  dent.severity_reason = "moderate: smallest radius of bend 31 mm";
  for (int i = -20; i <= 20; ++i) {
    const double along = i * diameter_mm / 30;
    dent.section.push_back(
        {along, (kind == Kind::low ? -1 : 1) * depth_mm * std::exp(-std::pow(along / 6, 2))});
  }
  return dent;
}

std::vector<std::pair<double, double>> circle(double x, double y, double radius) {
  std::vector<std::pair<double, double>> points;
  for (int i = 0; i < 72; ++i) {
    const double angle = i * std::numbers::pi / 36;
    points.push_back({x + radius * std::cos(angle), y + radius * std::sin(angle)});
  }
  return points;
}

struct Scene {
  AnnotateInput input;

  Scene(int width, int height, int reduced_by = 1) {
    input.photo_bgr = cv::Mat(height / reduced_by, width / reduced_by, CV_8UC3, cv::Scalar::all(128));
    input.reading.status = Status::measured;
    input.reading.photo = {"folder/dent.jpg", "2026-03-14 10:00:00", "", width, height};
    input.reading.setup.pixels_per_mm = width / 200.0;
  }
  void add(Kind kind, double x, double y, double radius) {
    input.reading.dents.push_back(dent_of(kind, 22.4, 0.31));
    input.reading.outlines_px.push_back(circle(x, y, radius));
    input.coins.push_back("about a quarter (24.3 mm)");
  }
};

bool has_text(const Picture& picture, const std::string& part) {
  return std::any_of(picture.texts.begin(), picture.texts.end(),
                     [&](const PlacedText& t) { return t.text.find(part) != std::string::npos; });
}

void check_texts_apart_and_inside(const Picture& picture) {
  REQUIRE_FALSE(picture.texts.empty());
  const cv::Rect2d canvas(0, 0, picture.bgr.cols, picture.bgr.rows);
  for (std::size_t i = 0; i < picture.texts.size(); ++i) {
    const cv::Rect2d& a = picture.texts[i].box;
    INFO("\"" << picture.texts[i].text << "\" at " << a);
    CHECK((a & canvas).area() == Approx(a.area()));
    for (std::size_t j = 0; j < i; ++j) {
      INFO("and \"" << picture.texts[j].text << "\" at " << picture.texts[j].box);
      CHECK((a & picture.texts[j].box).area() == 0);
    }
  }
}

/// Share of the outline's points where the photo shows the colour of the kind.
double coloured_share(const Picture& picture, const std::vector<std::pair<double, double>>& outline,
                      double scale, const Rgb& colour) {
  int coloured = 0;
  for (const auto& [x, y] : outline) {
    const auto pixel = picture.bgr.at<cv::Vec3b>(
        cv::Point(static_cast<int>((x + 0.5) * scale), static_cast<int>((y + 0.5) * scale)));
    const double away =
        std::max({std::abs(pixel[0] - 255 * colour.blue), std::abs(pixel[1] - 255 * colour.green),
                  std::abs(pixel[2] - 255 * colour.red)});
    coloured += away < 12;
  }
  return coloured / static_cast<double>(outline.size());
}

}  // namespace

TEST_CASE("the outline stands where the reading says, in the colour and line of its kind", "[annotate]") {
  for (const int reduced_by : {1, 2}) {
    Scene scene(2000, 1500, reduced_by);
    scene.add(Kind::low, 600, 500, 80);
    scene.add(Kind::high, 1400, 900, 80);
    const Picture picture = annotated_picture(scene.input);
    const double scale = picture.bgr.cols / 2000.0;
    // A solid line but for where its label's line joins it; a dashed one is about two thirds there.
    CHECK(coloured_share(picture, scene.input.reading.outlines_px[0], scale, palette::low) > 0.9);
    const double dashed = coloured_share(picture, scene.input.reading.outlines_px[1], scale, palette::high);
    CHECK(dashed > 0.4);
    CHECK(dashed < 0.85);
    CHECK(coloured_share(picture, circle(600, 500, 60), scale, palette::low) == 0);
  }
}

TEST_CASE("the picture says what was measured", "[annotate]") {
  Scene scene(2000, 1500);
  scene.add(Kind::low, 600, 500, 80);
  scene.add(Kind::high, 1400, 900, 80);
  scene.input.reading.dents[1].depth_mm.reset();
  scene.input.reading.dents[1].length_mm = {30, 29, 31};
  scene.input.reading.dents[1].width_mm = {17, 16, 18};
  scene.input.reading.warnings.push_back({"tape", "the tape and the stripes differ"});
  const Picture picture = annotated_picture(scene.input);
  CHECK(picture.bgr.type() == CV_8UC3);
  CHECK(picture.bgr.cols == 2000);
  CHECK(picture.bgr.rows > 1500);
  CHECK(picture.bgr.at<cv::Vec3b>(5, 5) == cv::Vec3b::all(128));  // the photo itself
  for (const char* text :
       {"1 low spot, 1 high spot", "dent.jpg", "Low, 22.4 mm (21.3 to 23.5)", "depth 0.31 mm (0.29 to 0.33)",
        "height not known", "30.0 mm long, 17.0 mm wide", "about a quarter (24.3 mm)", "severity: moderate",
        "smallest radius of bend", "50 mm at the card", "Warning: the tape and the stripes differ",
        "heights drawn", "shape only"}) {
    INFO(text);
    CHECK(has_text(picture, text));
  }
  CHECK_FALSE(has_text(picture, "moderate: smallest"));  // the grade once is enough
  check_texts_apart_and_inside(picture);
}

TEST_CASE("the scale bar hides no spot while there is a free corner", "[annotate]") {
  const auto bar_of = [](const Scene& scene) {
    for (const PlacedText& t : annotated_picture(scene.input).texts)
      if (t.text == "50 mm at the card") return t.box;
    FAIL("no scale bar");
    return cv::Rect2d();
  };
  Scene scene(2000, 1500);
  scene.add(Kind::low, 1000, 750, 80);
  CHECK(bar_of(scene).x < 200);  // the lower left corner, if it is free
  CHECK(bar_of(scene).y > 1300);
  scene.add(Kind::low, 150, 1420, 60);
  CHECK(bar_of(scene).x > 1000);
  CHECK(bar_of(scene).y > 1300);
  scene.add(Kind::high, 1800, 1420, 60);
  CHECK(bar_of(scene).x < 200);
  CHECK(bar_of(scene).y < 200);
}

TEST_CASE("nine spots close together keep their labels apart", "[annotate]") {
  Scene scene(2000, 1500);
  for (int i = 0; i < 9; ++i)
    scene.add(i % 2 == 0 ? Kind::low : Kind::high, 900 + 70 * (i % 3), 600 + 70 * (i / 3), 28);
  const Picture picture = annotated_picture(scene.input);
  check_texts_apart_and_inside(picture);
  int labels = 0;
  for (const PlacedText& t : picture.texts) labels += t.text == "22.4 mm";
  CHECK(labels == 9);
}

TEST_CASE("a spot inside another, at the border, outside, or many: still no text over another",
          "[annotate]") {
  Scene scene(1200, 1600);
  scene.add(Kind::high, 600, 800, 200);
  scene.add(Kind::low, 600, 800, 60);
  scene.add(Kind::low, 5, 5, 80);
  scene.add(Kind::low, 1195, 1590, 80);
  scene.add(Kind::low, 5000, -3000, 80);
  check_texts_apart_and_inside(annotated_picture(scene.input));
  for (int i = 0; i < 60; ++i) scene.add(Kind::low, 100 + 100 * (i % 10), 200 + 200 * (i / 10), 30);
  const Picture crowded = annotated_picture(scene.input);
  check_texts_apart_and_inside(crowded);
  CHECK(has_text(crowded, "The other 25 spots stand in the table."));
}

TEST_CASE("a refusal and a clean panel get a band that says so", "[annotate]") {
  Scene scene(1600, 1200);
  scene.input.reading.status = Status::refused;
  scene.input.reading.refusal = Refusal{"glare", "the stripes are blown out", "move the lamp"};
  const Picture refused = annotated_picture(scene.input);
  CHECK(has_text(refused, "Not measured"));
  CHECK(has_text(refused, "the stripes are blown out"));
  CHECK(has_text(refused, "What to do: move the lamp"));
  const auto band = refused.bgr.at<cv::Vec3b>(1200 + 3, 3);
  CHECK(band[2] == Approx(255 * palette::warning.red).margin(1));
  check_texts_apart_and_inside(refused);

  scene.input.reading.status = Status::no_dent;
  scene.input.reading.refusal.reset();
  const Picture clean = annotated_picture(scene.input);
  CHECK(has_text(clean, "No dent found"));
  CHECK_FALSE(has_text(clean, "Not measured"));
  check_texts_apart_and_inside(clean);
}

TEST_CASE("whatever a reading holds, there is a picture", "[annotate]") {
  Scene scene(1600, 1200);
  scene.add(Kind::low, 300, 300, 50);
  scene.add(Kind::high, 900, 700, 1e9);
  scene.add(Kind::low, 1200, 300, 50);
  Reading& reading = scene.input.reading;
  reading.photo.name = "bad \xFF\xC0 name\n\x01.jpg";
  reading.dents[0].diameter_mm = {unknown, unknown, unknown};
  reading.dents[0].depth_mm = Quantity{unknown, unknown, unknown};
  reading.dents[0].section = {{0, unknown}, {unknown, 1}, {1, 1}};
  reading.dents[1].section = {{1, 0}, {1, 0}};
  reading.dents[1].notes.assign(100, "a note \xE4 that is not UTF-8");
  reading.dents[2].section.clear();
  reading.dents[2].severity_reason = std::string(5000, 'x') + " " + std::string(5000, 'y');
  reading.outlines_px[0][3] = {unknown, 5};
  reading.outlines_px[2].clear();
  reading.outlines_px.push_back(circle(1, 1, 1));
  reading.setup.pixels_per_mm = unknown;
  reading.warnings.assign(500, {"w", "again"});
  scene.input.coins.resize(1);
  check_texts_apart_and_inside(annotated_picture(scene.input));

  Scene tiny(1, 1);
  tiny.add(Kind::low, 0, 0, 1);
  tiny.input.reading.photo.width_px = 0;
  CHECK(annotated_picture(tiny.input).bgr.cols >= 1000);
  Scene sliver(3, 2400);
  CHECK(annotated_picture(sliver.input).bgr.cols == 1000);

  AnnotateInput empty;
  CHECK_THROWS_AS(annotated_picture(empty), std::invalid_argument);
}

TEST_CASE("what was judged beyond the cropped photo is not drawn over the rows below", "[annotate]") {
  // A round spot, and outlines of it both ways: ten pixels a millimetre, so that the card takes a part of the
  // photo.
  Scene scene(4000, 3000);
  scene.add(Kind::low, 1500, 1200, 100);
  Dent& dent = scene.input.reading.dents[0];
  for (const auto& [x, y] : scene.input.reading.outlines_px[0])
    dent.outline.push_back({(x - 900) / 10, (1600 - y) / 10});
  dent.deepest = PointMm{60, 40};
  const Picture without = annotated_picture(scene.input);
  CHECK(without.bgr.cols < 4000);
  scene.input.reading.judged_px.push_back({{{100, 100}, {3900, 100}, {3900, 2900}, {100, 2900}}});
  const Picture with = annotated_picture(scene.input);
  REQUIRE(with.bgr.size() == without.bgr.size());
  const int rows = with.bgr.rows / 4;  // all of the lower quarter is text
  cv::Mat differs;
  cv::absdiff(with.bgr.rowRange(with.bgr.rows - rows, with.bgr.rows),
              without.bgr.rowRange(without.bgr.rows - rows, without.bgr.rows), differs);
  CHECK(cv::countNonZero(differs.reshape(1)) == 0);
}

TEST_CASE("the same reading gives the same picture", "[annotate]") {
  Scene scene(800, 600);
  for (int i = 0; i < 5; ++i) scene.add(Kind::low, 100 + 120 * i, 300, 30);
  CHECK(cv::norm(annotated_picture(scene.input).bgr, annotated_picture(scene.input).bgr, cv::NORM_INF) == 0);
}

TEST_CASE("labels, rows and sections are in inches where they are asked for", "[annotate]") {
  Scene scene(2000, 1500);
  scene.add(Kind::low, 600, 500, 80);
  const auto has_axis_in = [](const Picture& picture, const std::string& unit) {
    return std::any_of(picture.texts.begin(), picture.texts.end(),
                       [&](const PlacedText& t) { return t.text == "0 " + unit || t.text == "0.0 " + unit; });
  };
  CHECK(has_axis_in(annotated_picture(scene.input), "mm"));
  scene.input.words = Wording::plain().in({.inches = true});
  const Picture picture = annotated_picture(scene.input);
  for (const char* text : {"22.4 mm [0.88 in]", "low 0.31 mm [0.0122 in]", "50 mm [1.97 in] at the card",
                           "depth 0.31 mm (0.29 to 0.33)", "(0.0114 to"}) {
    INFO(text);
    CHECK(has_text(picture, text));
  }
  CHECK(has_axis_in(picture, "in"));
  CHECK_FALSE(has_axis_in(picture, "mm"));
  check_texts_apart_and_inside(picture);
}

TEST_CASE("all sections of a page are drawn to one scale, however much is said beside them", "[annotate]") {
  Scene scene(2000, 1500);
  scene.add(Kind::low, 600, 500, 80);
  scene.add(Kind::low, 1400, 900, 80);
  scene.input.reading.dents[1].length_mm = {26, 25, 27};  // two lines more
  scene.input.reading.dents[1].notes = {"a note", "another note"};
  const Picture picture = annotated_picture(scene.input);
  std::vector<std::string> stretches;
  for (const PlacedText& text : picture.texts)
    if (text.text.starts_with("heights drawn")) stretches.push_back(text.text);
  REQUIRE(stretches.size() == 2);
  CHECK(stretches[0] == stretches[1]);
}

TEST_CASE("a grade that the interval leaves open is said so in the picture, too", "[annotate]") {
  Scene scene(2000, 1500);
  scene.add(Kind::low, 600, 500, 80);
  scene.input.reading.dents[0].severity = "shallow";
  scene.input.reading.dents[0].severity_reason = "anything from shallow to sharp: depth over width 1 %";
  const Picture picture = annotated_picture(scene.input);
  CHECK(has_text(picture, "severity: anything from shallow"));
  CHECK(has_text(picture, "depth over width 1 %"));
}

TEST_CASE("a flattened body line stands beside the spot that flattened it", "[annotate]") {
  Scene scene(1600, 1200);
  scene.add(Kind::low, 800, 600, 90);
  CHECK_FALSE(has_text(annotated_picture(scene.input), "flattened"));
  scene.input.reading.dents[0].flattened_line = FlattenedLine{{32, 30, 34}, {0.18, 0.17, 0.19}};
  const Picture picture = annotated_picture(scene.input);
  CHECK(has_text(picture, "body line flattened"));
  CHECK(has_text(picture, "mm low"));
}

TEST_CASE("along a section there is more than a zero, in every unit", "[annotate]") {
  Scene scene(2000, 1500);
  scene.add(Kind::low, 600, 500, 80);
  // Heights of a low are at zero and below.
  const auto is_beyond_zero = [](const PlacedText& text) {
    return text.text.find_first_not_of("0123456789.") == std::string::npos &&
           text.text.find('.') != std::string::npos && std::stod(text.text) > 0;
  };
  scene.input.words = Wording::plain().in({.inches = true});
  for (const double width_mm : {4.0, 8.0, 14.0, 17.0, 22.4, 33.0}) {
    scene.input.reading.dents = {dent_of(Kind::low, width_mm, 0.3)};
    INFO(width_mm);
    const Picture picture = annotated_picture(scene.input);
    CHECK(std::any_of(picture.texts.begin(), picture.texts.end(), is_beyond_zero));
  }
}
