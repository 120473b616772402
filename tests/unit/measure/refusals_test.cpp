// Every reason for which a photo is refused, provoked on sample photos that were spoilt on purpose. The quick
// check and the whole measurement must name the same one, and say what to do.
#include "altered_photos.hpp"
#include "catch.hpp"
#include "ripplegauge/measure/photo_check.hpp"

using namespace ripplegauge;

namespace {

/// The reason that measure() and check_photo() both give.
Refusal refused_by_both(const Photo& photo, const MeasureRequest& request) {
  const Reading reading = measure(photo, request).reading;
  const PhotoCheck check = check_photo(photo, request);
  INFO("measure: " << (reading.refusal ? reading.refusal->code + ": " + reading.refusal->message
                                       : to_string(reading.status)));
  INFO("check: " << (check.refusal ? check.refusal->code + ": " + check.refusal->message : "ready"));
  REQUIRE(reading.status == Status::refused);
  REQUIRE(reading.refusal);
  REQUIRE(check.refusal);
  CHECK(check.refusal->code == reading.refusal->code);
  CHECK(reading.dents.empty());
  CHECK(reading.refusal->message.size() > 10);
  CHECK(reading.refusal->remedy.size() > 10);
  return *reading.refusal;
}

bool says(const std::string& text, const std::string& what) { return text.find(what) != std::string::npos; }

bool advises(const PhotoCheck& check, const std::string& code) {
  return std::any_of(check.advice.begin(), check.advice.end(),
                     [&](const ShotAdvice& a) { return a.code == code; });
}

/// Of a sample at half its size, which is sharp enough for all of this.
Sample small_sample(const std::string& name) {
  Sample s = sample(name);
  s.photo = shrunk(s.photo, 0.5);
  return s;
}

/// Grey of the panel without any reflection: about the median of the photo's left border.
double panel_grey(const Photo& photo) {
  cv::Mat border = photo.grey.colRange(0, photo.grey.cols / 40).clone().reshape(1, 1), sorted;
  cv::sort(border, sorted, cv::SORT_EVERY_ROW);
  return sorted.at<uchar>(0, sorted.cols / 2);
}

/// The card alone on a bare panel: every stripe painted over.
void remove_board(Photo& photo, const Places& places, const CardDefinition& card, double card_scale) {
  cv::Mat bare(photo.grey.size(), CV_32FC1, cv::Scalar(1));
  for (const RectangleMm& r : card.paper) {
    const double s = card_scale;
    const cv::Mat paper = soft_mask(photo, places.outline({{s * r.x0_mm, s * r.y0_mm},
                                                           {s * r.x1_mm, s * r.y0_mm},
                                                           {s * r.x1_mm, s * r.y1_mm},
                                                           {s * r.x0_mm, s * r.y1_mm}}));
    bare = cv::min(bare, 1 - paper);
  }
  paint(photo, bare, panel_grey(photo));
}

/// A tube lamp mirrored across the panel: a bright bar, 20 mm wide.
void add_lamp(Photo& photo, const Places& places, double x_mm, double grey) {
  paint(photo,
        soft_mask(photo, places.outline({{x_mm, 22}, {x_mm + 20, 22}, {x_mm + 16, 130}, {x_mm - 4, 130}}), 4),
        grey);
}

}  // namespace

TEST_CASE("refused: no card", "[refusals]") {
  const Sample s = small_sample("low-dark");
  const auto even = [&](int grey) {
    return with_grey(s.photo, cv::Mat(s.photo.grey.size(), CV_8UC1, cv::Scalar(grey)));
  };
  CHECK(refused_by_both(even(120), s.request).code == "card_not_found");
  CHECK(refused_by_both(even(3), s.request).code == "too_dark");
  CHECK(refused_by_both(even(255), s.request).code == "overexposed");

  MeasureRequest other = s.request;
  for (CardTag& tag : other.card.tags) tag.id += 100;
  CHECK(refused_by_both(s.photo, other).code == "card_unknown");
}

TEST_CASE("refused: too few tags, and where the others are", "[refusals]") {
  const Sample s = small_sample("low-dark");
  const Places places(s.photo, s.request);
  Photo covered = s.photo;
  paint(covered, soft_mask(covered, places.outline({{-14, 14}, {14, 14}, {14, 90}, {-14, 90}})), 90);
  const Refusal refusal = refused_by_both(covered, s.request);
  CHECK(refusal.code == "too_few_tags");
  CHECK(says(refusal.message, "5 of the card's 8 tags"));
  CHECK(advises(check_photo(covered, s.request), "card_free"));

  Photo cut = s.photo;
  cut.grey = s.photo.grey.colRange(static_cast<int>(places.px(38, 0).x), s.photo.grey.cols).clone();
  const PhotoCheck check = check_photo(cut, s.request);
  REQUIRE(check.refusal);
  CHECK(check.refusal->code == "too_few_tags");
  REQUIRE(advises(check, "card_in_picture"));
  CHECK(says(check.advice.front().message, "left"));
}

TEST_CASE("refused: a card too small in the photo, and how far to go nearer", "[refusals]") {
  const Sample s = sample("low-dark");
  // The same frame from further away: the photo shrinks within a larger one.
  const Photo far = shrunk(s.photo, 0.22);
  Photo photo = with_grey(s.photo, cv::Mat(s.photo.grey.size(), CV_8UC1, cv::Scalar(panel_grey(s.photo))));
  far.grey.copyTo(photo.grey(cv::Rect(1000, 700, far.grey.cols, far.grey.rows)));
  CHECK(refused_by_both(photo, s.request).code == "card_too_small");
  CHECK(advises(check_photo(photo, s.request), "closer"));
}

TEST_CASE("refused: too oblique", "[refusals]") {
  const Sample s = sample("low-dark");
  Photo photo = with_grey(s.photo, {});
  cv::resize(s.photo.grey, photo.grey, {}, 1, 0.35, cv::INTER_AREA);
  CHECK(refused_by_both(photo, s.request).code == "too_oblique");
  CHECK(advises(check_photo(photo, s.request), "tilt_less"));
}

TEST_CASE("refused: two cards", "[refusals]") {
  const Sample s = small_sample("low-dark");
  Photo photo = with_grey(s.photo, {});
  cv::hconcat(s.photo.grey, s.photo.grey, photo.grey);
  CHECK(refused_by_both(photo, s.request).code == "two_cards");
}

TEST_CASE("refused: a card that is not flat", "[refusals]") {
  const Sample s = small_sample("low-dark");
  // One end of the long arm lifted: its last tags are seen some millimetres from their place.
  const Places places(s.photo, s.request);
  Photo photo = s.photo;
  cv::Mat moved, other;
  cv::warpAffine(s.photo.grey, moved, cv::Matx23d(1, 0, 12, 0, 1, -12), s.photo.grey.size());
  moved.convertTo(other, CV_32F);
  blend(photo, soft_mask(photo, places.outline({{62, -14}, {114, -14}, {114, 14}, {62, 14}})), other);
  CHECK(refused_by_both(photo, s.request).code == "card_not_flat");
}

TEST_CASE("refused: blur, by motion or by focus", "[refusals]") {
  const Sample s = small_sample("low-dark");
  Photo unfocused = with_grey(s.photo, {});
  cv::GaussianBlur(s.photo.grey, unfocused.grey, {}, 9);
  const Refusal focus = refused_by_both(unfocused, s.request);
  CHECK(focus.code == "blurred");
  CHECK(says(focus.message, "focus"));

  Photo moved = with_grey(s.photo, {});
  cv::Mat along = cv::Mat::zeros(41, 41, CV_32FC1);
  cv::line(along, {0, 28}, {40, 12}, 1.0);
  cv::filter2D(s.photo.grey, moved.grey, -1, along / cv::sum(along)[0]);
  const Refusal motion = refused_by_both(moved, s.request);
  CHECK(motion.code == "blurred");
  CHECK(says(motion.message, "motion"));
}

TEST_CASE("refused: no board, whether or not lamps are mirrored instead", "[refusals]") {
  const Sample s = small_sample("low-light");
  const Places places(s.photo, s.request);
  Photo photo = s.photo;
  remove_board(photo, places, s.request.card, s.request.bar_length_mm / s.request.card.bar_nominal_mm);
  // A second opinion on the pitch makes these slow: one look each.
  const auto code = [&] { return check_photo(photo, s.request).refusal.value_or(Refusal{}).code; };
  CHECK(code() == "no_stripes");
  add_lamp(photo, places, 30, 220);
  CHECK(refused_by_both(photo, s.request).code == "no_stripes");
  add_lamp(photo, places, 75, 220);  // a double tube
  CHECK(code() == "no_stripes");
}

TEST_CASE("refused: stripes too fine to be resolved, and what would resolve them", "[refusals]") {
  Sample s = small_sample("low-dark");
  s.request.board_pitch_mm = 1.2;
  const Refusal refusal = refused_by_both(s.photo, s.request);
  CHECK(refusal.code == "stripes_not_resolved");
  CHECK(says(refusal.message, "pixels a pair"));
  const PhotoCheck check = check_photo(s.photo, s.request);
  REQUIRE(advises(check, "coarser_stripes"));
  REQUIRE(check.figures.stripe_period_px);
  CHECK(*check.figures.stripe_period_px < 5);
}

TEST_CASE("refused: twice the pitch, with the one that fits", "[refusals]") {
  Sample s = sample("low-light");  // pitch 12 mm
  for (const bool taped : {true, false}) {
    if (!taped) s.request.board_distance_mm.reset();
    s.request.board_pitch_mm = 24;
    const Refusal refusal = refused_by_both(s.photo, s.request);
    CHECK(refusal.code == "pitch_contradicted");
    CHECK(says(refusal.message, "their pitch is nearer to 1"));
  }
}

TEST_CASE("a pitch a little off contradicts the tape, and the warning names the one that fits",
          "[refusals]") {
  Sample s = sample("low-light");  // pitch 12 mm
  s.request.board_pitch_mm = 15.5;
  const Reading reading = measure(s.photo, s.request).reading;
  const auto warning = std::find_if(reading.warnings.begin(), reading.warnings.end(),
                                    [](const Warning& w) { return w.code == "board_distance_doubtful"; });
  REQUIRE(warning != reading.warnings.end());
  CHECK(says(warning->message, "the board's pitch is about 1"));
  CHECK(says(warning->message, "not 15.5 mm"));
}

TEST_CASE("refused: the dent burnt out, cut by the card or the photo's edge, or too far from the card",
          "[refusals]") {
  const Sample s = small_sample("no-dent");
  const Places places(s.photo, s.request);
  const double x_mm = 50, y_mm = 50;

  Photo lamp = s.photo;
  paint(lamp, soft_mask(lamp, places.disc(x_mm, y_mm, 12)), 255);
  CHECK(refused_by_both(lamp, s.request).code == "glare");

  Photo at_card = s.photo;
  turn_disc(at_card, places, 60, 20, 12);
  {  // the card lies over it
    const cv::Mat paper = soft_mask(at_card, places.outline({{-14, -14}, {113, -14}, {113, 14}, {-14, 14}}));
    cv::Mat card;
    s.photo.grey.convertTo(card, CV_32F);
    blend(at_card, paper, card);
  }
  CHECK(refused_by_both(at_card, s.request).code == "dent_cut");
  CHECK(advises(check_photo(at_card, s.request), "card_away"));
}

TEST_CASE("refused: a dent at the photo's edge, or too far from the card", "[refusals]") {
  const Sample s = small_sample("no-dent");
  const Places places(s.photo, s.request);
  Photo at_edge = s.photo;
  turn_disc(at_edge, places, 60, 50, 12);
  // Six tags are left, and two thirds of the disc.
  at_edge.grey = at_edge.grey.colRange(0, static_cast<int>(places.px(60, 50).x) + 12).clone();
  CHECK(refused_by_both(at_edge, s.request).code == "dent_cut");
  CHECK(advises(check_photo(at_edge, s.request), "dent_further_in"));

  Photo far = s.photo;
  turn_disc(far, places, 85, 80, 12);
  const Reading reading = measure(far, s.request).reading;
  REQUIRE(reading.refusal);
  CHECK(reading.refusal->code == "card_too_far");
  const PhotoCheck check = check_photo(far, s.request);
  REQUIRE(check.disturbances.size() == 1);
  CHECK(check.disturbances[0].card_gap_mm ==
        Approx(66).margin(4));  // to the long arm's edge, 14 mm from its axis
  CHECK(advises(check, "card_nearer"));
}

TEST_CASE("a mark that looks like a dent is told as one that may be a mark", "[refusals][search]") {
  const Sample s = small_sample("no-dent");
  const Places places(s.photo, s.request);
  constexpr double dark = 137, bright = 236;  // as the stripes
  int marks = 0;
  for (const double grey : {dark, bright})
    for (const double radius_mm : {3.0, 4.3})
      for (const double y_mm : {50.0, 52.4, 54.8}) {  // over bright stripes and over dark ones
        INFO("grey " << grey << ", radius " << radius_mm << " mm, y " << y_mm << " mm");
        Photo marked = s.photo;
        paint(marked, soft_mask(marked, places.disc(55, y_mm, radius_mm)), grey);
        const Reading reading = measure(marked, s.request).reading;
        const auto warned = [&](const char* code) {
          return std::any_of(reading.warnings.begin(), reading.warnings.end(),
                             [&](const Warning& w) { return w.code == code; });
        };
        CHECK((reading.dents.empty() || warned("may_be_mark") || warned("poorly_explained")));
        marks += warned("may_be_mark");
      }
  CHECK(marks > 0);
  for (const char* name : {"low-dark", "high-dark", "crease", "step", "hail"})
    for (const Warning& w : measure(sample(name).photo, sample(name).request).reading.warnings)
      CHECK_FALSE(w.code == "may_be_mark");
}

TEST_CASE("refused: something hides the stripes that is no dent", "[refusals]") {
  const Sample s = small_sample("no-dent");
  const Places places(s.photo, s.request);
  Photo sticker = s.photo;
  paint(sticker, soft_mask(sticker, places.disc(50, 50, 12)), 120);
  const Reading reading = measure(sticker, s.request).reading;
  // Refused, or at the least told: a patch without contrast is half explained by a dent that magnifies one
  // stripe, and what is not judged must be said.
  const auto doubtful = [](const Warning& w) {
    return w.code == "poorly_explained" || w.code == "not_all_measured";
  };
  CHECK((reading.refusal || std::any_of(reading.warnings.begin(), reading.warnings.end(), doubtful)));

  Photo smear = s.photo;
  turn_disc(smear, places, 50, 50, 12);
  const Reading turned = measure(smear, s.request).reading;
  REQUIRE(turned.refusal);
  CHECK(turned.refusal->code == "dent_not_explained");
  const PhotoCheck check = check_photo(smear, s.request);
  REQUIRE(check.refusal);
  CHECK(check.refusal->code == turned.refusal->code);
  REQUIRE(check.disturbances.size() == 1);
  CHECK(check.disturbances[0].measurable);
  CHECK(std::hypot(check.disturbances[0].x_mm - 50, check.disturbances[0].y_mm - 50) < 3);
  CHECK(check.disturbances[0].size_mm == Approx(24).epsilon(0.2));
}
