// The layer's own header: labels that cross are a matter of geometry, which pixels show badly.
#include "../../../src/picture/label_layout.hpp"

#include <cmath>
#include <numbers>
#include <random>

#include "catch.hpp"

using namespace ripplegauge::picture_detail;

namespace {

constexpr double text_size = 53;  // of a picture 2016 pixels wide
const cv::Rect2d area(21, 21, 1974, 1470);

LabelWish wish_at(double x, double y, double radius) {
  LabelWish wish;
  for (int i = 0; i < 60; ++i) {
    const double angle = i * std::numbers::pi / 30;
    wish.outline.push_back({x + radius * std::cos(angle), y + 0.8 * radius * std::sin(angle)});
  }
  wish.size = {6.6 * text_size, 1.95 * text_size};
  return wish;
}

std::vector<PlacedLabel> placed(const std::vector<LabelWish>& wishes,
                                const std::vector<cv::Rect2d>& taken = {}) {
  const auto labels = place_labels(wishes, area, taken, text_size);
  REQUIRE(labels.size() == wishes.size());
  std::vector<PlacedLabel> all;
  for (const auto& label : labels) {
    REQUIRE(label);
    all.push_back(*label);
  }
  return all;
}

bool line_enters(const PlacedLabel& label, const cv::Rect2d& box) {
  for (int i = 0; i <= 200; ++i)
    if (box.contains(label.line_from + (label.line_to - label.line_from) * (i / 200.0))) return true;
  return false;
}

bool lines_cross(const PlacedLabel& a, const PlacedLabel& b) {
  const auto side = [](const PlacedLabel& l, const cv::Point2d& p) {
    return (l.line_to - l.line_from).cross(p - l.line_from);
  };
  return side(a, b.line_from) * side(a, b.line_to) < 0 && side(b, a.line_from) * side(b, a.line_to) < 0;
}

void check_clear(const std::vector<PlacedLabel>& labels) {
  for (std::size_t i = 0; i < labels.size(); ++i)
    for (std::size_t j = 0; j < labels.size(); ++j) {
      if (i == j) continue;
      INFO("labels " << i << " and " << j);
      CHECK((labels[i].box & labels[j].box).area() == 0);
      CHECK_FALSE(line_enters(labels[i], labels[j].box));
      CHECK_FALSE(lines_cross(labels[i], labels[j]));
    }
}

}  // namespace

TEST_CASE("nine spots in a tight square get nine labels whose lines cross nothing", "[label_layout]") {
  for (const double pitch : {60.5, 90.5, 150.0}) {
    INFO("pitch " << pitch);
    std::vector<LabelWish> wishes;
    for (int i = 0; i < 9; ++i)
      wishes.push_back(wish_at(1000 + (i % 3 - 1) * pitch, 750 + (i / 3 - 1) * pitch, 0.38 * pitch));
    check_clear(placed(wishes));
  }
}

TEST_CASE("nine spots scattered closely get labels whose lines cross nothing", "[label_layout]") {
  std::mt19937 random(3);
  for (int scene = 0; scene < 6; ++scene) {
    INFO("scene " << scene);
    const auto within = [&](unsigned spread) { return static_cast<double>(random() % spread); };
    const unsigned spread = 250 + 60 * static_cast<unsigned>(scene);
    std::vector<LabelWish> wishes;
    for (int i = 0; i < 9; ++i) {
      const double x = 800 + within(spread), y = 600 + within(spread);
      wishes.push_back(wish_at(x, y, 18 + within(20)));
    }
    check_clear(placed(wishes));
  }
}

TEST_CASE("labels stay inside, near their spots, and off what is taken", "[label_layout]") {
  const cv::Rect2d taken(20, 1200, 600, 280);
  const std::vector<LabelWish> wishes = {wish_at(200, 1180, 30), wish_at(1960, 1460, 30),
                                         wish_at(1000, 700, 30)};
  const auto labels = placed(wishes, {taken});
  for (const PlacedLabel& label : labels) {
    CHECK((label.box & area).area() == Approx(label.box.area()));
    CHECK((label.box & taken).area() == 0);
    CHECK(cv::norm(label.line_from - label.line_to) < 3 * text_size);
  }
}

TEST_CASE("a full picture leaves labels out rather than one over another", "[label_layout]") {
  std::vector<LabelWish> wishes(80, wish_at(1000, 700, 30));
  const auto labels = place_labels(wishes, area, {}, text_size);
  std::vector<cv::Rect2d> boxes;
  for (const auto& label : labels)
    if (label) boxes.push_back(label->box);
  CHECK(boxes.size() > 20);
  CHECK(boxes.size() < 80);
  for (std::size_t i = 0; i < boxes.size(); ++i)
    for (std::size_t j = 0; j < i; ++j) CHECK((boxes[i] & boxes[j]).area() == 0);
}

TEST_CASE("no spots, no labels", "[label_layout]") { CHECK(place_labels({}, area, {}, text_size).empty()); }
