#include "quote/job.hpp"

#include <algorithm>

#include "catch.hpp"
#include "made_up.hpp"
#include "ripplegauge/core/errors.hpp"

using namespace ripplegauge;
using made_up::by_hand;
using made_up::dent_at;
using made_up::reading_of;

namespace {

const Provenance from{"ripplegauge 0.1.0", "2024-05-02T08:00:00Z", "a marked.png"};

}  // namespace

TEST_CASE("a reading goes into a job with its intervals and where it came from", "[job]") {
  Job job;
  const AddedReading added =
      add_reading(job, "bonnet", reading_of("a.jpg", {dent_at(1, 2, 20), dent_at(50, 60, 31)}), from);
  REQUIRE(added.spots == std::vector<int>{1, 2});
  CHECK_FALSE(added.already_photo.has_value());
  REQUIRE(job.spots.size() == 2);
  CHECK(job.spots[1].diameter_mm == Quantity{31, 30.6, 31.4});
  CHECK(job.spots[1].depth_mm == Quantity{0.3, 0.25, 0.35});
  CHECK(job.spots[1].position_mm == PointMm{50, 60});
  CHECK(job.spots[1].severity == "light");
  CHECK_FALSE(job.spots[1].by_hand());
  REQUIRE(job.photos.size() == 1);
  CHECK(job.photos[0].name == "a.jpg");
  CHECK(job.photos[0].sha256 == "hash of a.jpg");
  CHECK(job.photos[0].date_taken == "2024-05-01 10:00:00");
  CHECK(job.photos[0].program == from.program);
  CHECK(job.photos[0].picture == from.picture);
  CHECK_FALSE(inconsistency_of(job).has_value());
}

TEST_CASE("a photo added twice is noticed, by its bytes and not by its name", "[job]") {
  Job job;
  add_reading(job, "bonnet", reading_of("a.jpg", {dent_at(1, 2, 20)}), from);

  Reading renamed = reading_of("a.jpg", {dent_at(1, 2, 20)});
  renamed.photo.name = "copy of a.jpg";
  CHECK(add_reading(job, "roof", renamed, from).already_photo == 1);
  CHECK(job.spots.size() == 1);
  CHECK(job.panels.size() == 1);  // the roof was not even mentioned

  Reading other = reading_of("b.jpg", {dent_at(1, 2, 20)});
  other.photo.name = "a.jpg";
  CHECK_FALSE(add_reading(job, "bonnet", other, from).already_photo.has_value());
  CHECK(job.spots.size() == 2);
}

TEST_CASE("without a hash, name and date taken stand for the photo", "[job]") {
  Job job;
  Reading nameless = reading_of("a.jpg", {dent_at(1, 2, 20)});
  nameless.photo.sha256.clear();
  add_reading(job, "bonnet", nameless, from);
  CHECK(add_reading(job, "bonnet", nameless, from).already_photo == 1);
  nameless.photo.date_taken = "2024-05-01 10:00:07";
  CHECK_FALSE(add_reading(job, "bonnet", nameless, from).already_photo.has_value());
}

TEST_CASE("a photo may come again once it was refused or all its spots are voided", "[job]") {
  Job job;
  Reading reading = reading_of("a.jpg", {});
  reading.status = Status::refused;
  reading.refusal = Refusal{"blur", "the photo is blurred", "hold still"};
  add_reading(job, "bonnet", reading, from);
  REQUIRE(job.photos.size() == 1);
  CHECK(job.photos[0].refusal->code == "blur");
  CHECK(add_reading(job, "bonnet", reading, from).already_photo == 1);  // refused again: nothing new

  add_reading(job, "bonnet", reading_of("a.jpg", {dent_at(1, 2, 20), dent_at(50, 2, 20)}), from);
  REQUIRE(job.spots.size() == 2);
  void_spot(job, 1, "orange peel", "2024-05-03");
  CHECK(add_reading(job, "bonnet", reading_of("a.jpg", {dent_at(1, 2, 20)}), from).already_photo == 2);
  void_spot(job, 2, "wrong panel", "2024-05-03");
  const AddedReading again = add_reading(job, "roof", reading_of("a.jpg", {dent_at(1, 2, 20)}), from);
  CHECK(again.spots == std::vector<int>{3});

  add_reading(job, "roof", reading_of("clean.jpg", {}), from);
  CHECK(add_reading(job, "roof", reading_of("clean.jpg", {}), from).already_photo.has_value());
}

TEST_CASE("a photo measured with other values replaces what it gave, and nothing is removed", "[job]") {
  Job job;
  Provenance with_98{"p", "then", "", "bar 98 mm"}, with_99{"p", "later", "", "bar 99 mm"};
  add_reading(job, "bonnet", reading_of("a.jpg", {dent_at(1, 2, 20), dent_at(50, 2, 20)}), with_98);
  add_reading(job, "bonnet", reading_of("b.jpg", {dent_at(1, 2, 20)}), with_98);
  void_spot(job, 2, "orange peel", "then");
  CHECK(add_reading(job, "bonnet", reading_of("a.jpg", {}), with_98).already_photo == 1);
  CHECK(add_reading(job, "bonnet", reading_of("a.jpg", {}), from).already_photo == 1);  // values unknown

  Reading refused = reading_of("a.jpg", {});
  refused.status = Status::refused;
  refused.refusal = Refusal{"blur", "the photo is blurred", "hold still"};
  CHECK(add_reading(job, "bonnet", refused, with_99).replaced.empty());
  CHECK_FALSE(job.spots[0].voided.has_value());

  const AddedReading again = add_reading(job, "bonnet", reading_of("a.jpg", {dent_at(1, 2, 20.2)}), with_99);
  CHECK(again.replaced == std::vector<int>{1});
  CHECK(again.spots == std::vector<int>{4});
  REQUIRE(job.spots.size() == 4);
  CHECK_FALSE(job.spots[0].voided->reason.empty());
  CHECK(job.spots[1].voided->reason == "orange peel");
  CHECK_FALSE(job.spots[2].voided.has_value());
  CHECK(photo_with_hash(job, "hash of a.jpg")->measured_with == "bar 99 mm");
  CHECK(photo_with_hash(job, "hash of c.jpg") == nullptr);
  CHECK(photo_with_hash(job, "") == nullptr);
}

TEST_CASE("a photo needs no measuring again unless values or, once refused, the program changed", "[job]") {
  JobPhoto photo;
  photo.program = "p 1";
  photo.measured_with = "bar 98 mm";
  CHECK(is_up_to_date(photo, {"p 1", "", "", "bar 98 mm"}));
  CHECK(is_up_to_date(photo, {"p 2", "", "", "bar 98 mm"}));
  CHECK_FALSE(is_up_to_date(photo, {"p 1", "", "", "bar 99 mm"}));
  photo.status = Status::refused;
  CHECK(is_up_to_date(photo, {"p 1", "", "", "bar 98 mm"}));
  CHECK_FALSE(is_up_to_date(photo, {"p 2", "", "", "bar 98 mm"}));
  photo.measured_with.clear();  // added as a reading that does not say
  photo.status = Status::no_dent;
  CHECK(is_up_to_date(photo, {"p 1", "", "", "bar 99 mm"}));
}

TEST_CASE("spots are voided with a reason and never leave the job", "[job]") {
  Job job;
  const int id = add_by_hand(job, by_hand("bonnet", 20, "light"), "now");
  CHECK_THROWS_AS(void_spot(job, id, "", "now"), UsageError);
  CHECK_THROWS_AS(void_spot(job, id, "  \n", "now"), UsageError);
  CHECK_THROWS_AS(void_spot(job, 99, "no such", "now"), UsageError);
  void_spot(job, id, "a reflection of the lamp", "2024-05-03");
  REQUIRE(job.spots.size() == 1);
  CHECK(job.spots[0].voided->reason == "a reflection of the lamp");
  CHECK_THROWS_AS(void_spot(job, id, "once more", "now"), UsageError);
  CHECK(add_by_hand(job, by_hand("bonnet", 20, "light"), "now") == id + 1);
}

TEST_CASE("hand entries are marked and checked", "[job]") {
  Job job;
  const int id = add_by_hand(job, by_hand("bonnet", 20, "light"), "2024-05-02T08:00:00Z");
  CHECK(spot_with_id(job, id).by_hand());
  CHECK(spot_with_id(job, id).added == "2024-05-02T08:00:00Z");
  for (const double bad_mm : {0.0, -3.0, static_cast<double>(NAN), static_cast<double>(INFINITY)}) {
    CAPTURE(bad_mm);
    CHECK_THROWS_AS(add_by_hand(job, by_hand("roof", bad_mm, "light"), "now"), UsageError);
  }
  JobSpot upside_down = by_hand("roof", 20, "light");
  upside_down.diameter_mm = {20, 22, 18};
  CHECK_THROWS_AS(add_by_hand(job, upside_down, "now"), UsageError);
  CHECK_THROWS_AS(add_by_hand(job, by_hand("", 20, "light"), "now"), UsageError);
  CHECK(job.spots.size() == 1);
  CHECK(job.panels.size() == 1);  // no panel is left behind by what was refused
}

TEST_CASE("a panel is one panel however it is capitalised", "[job]") {
  Job job;
  add_by_hand(job, by_hand("Bonnet", 20, "light"), "now");
  add_by_hand(job, by_hand("bonnet", 25, "light"), "now");
  REQUIRE(job.panels.size() == 1);
  CHECK(job.spots[1].panel == "Bonnet");
}

TEST_CASE("a reading with senseless numbers leaves the job as it was", "[job]") {
  Job job;
  Dent senseless = dent_at(1, 2, 20);
  senseless.diameter_mm = Quantity{};
  CHECK_THROWS_AS(add_reading(job, "bonnet", reading_of("a.jpg", {dent_at(5, 5, 9), senseless}), from),
                  UsageError);
  CHECK(job.spots.empty());
  CHECK(job.photos.empty());
  CHECK(job.panels.empty());
}

TEST_CASE("items are wanted by name and can be taken back", "[job]") {
  Job job;
  set_item(job, "remove and refit", "roof", 1);
  set_item(job, "Remove and refit", "Roof", 2);
  REQUIRE(job.items.size() == 1);
  CHECK(job.items[0].count == 2);
  set_item(job, "remove and refit", "roof", 0);
  CHECK(job.items.empty());
  CHECK_THROWS_AS(set_item(job, "", "", 1), UsageError);
  CHECK_THROWS_AS(set_item(job, "x", "", -1), UsageError);
}

TEST_CASE("an inconsistent job is told by its first fault", "[job]") {
  Job job;
  add_by_hand(job, by_hand("bonnet", 20, "light"), "now");
  SECTION("unknown panel") { job.spots[0].panel = "boot"; }
  SECTION("unknown photo") { job.spots[0].photo = 7; }
  SECTION("number twice") { job.spots.push_back(job.spots[0]); }
  SECTION("no size") { job.spots[0].diameter_mm = {}; }
  SECTION("voided without a reason") { job.spots[0].voided = Voided{"", "now"}; }
  SECTION("panel twice") { job.panels.push_back(job.panels[0]); }
  SECTION("panel twice, but for capitals") { job.panels.push_back({"Bonnet", {}, ""}); }
  SECTION("item twice") { job.items = {{"x", "bonnet", 1}, {"X", "bonnet", 2}}; }
  SECTION("item for an unknown panel") { job.items.push_back({"x", "boot", 1}); }
  CHECK(inconsistency_of(job).has_value());
}

namespace {

/// A reading of several photos; the last one is left out where it is asked for.
Reading set_of(const std::vector<std::string>& names, std::vector<Dent> dents,
               const std::string& left_out = "") {
  Reading reading = reading_of(names.front(), std::move(dents));
  for (const std::string& name : names) reading.set.push_back({reading_of(name, {}).photo, ""});
  reading.set.back().left_out = left_out;
  return reading;
}

int counting(const Job& job) {
  return static_cast<int>(
      std::count_if(job.spots.begin(), job.spots.end(), [](const JobSpot& spot) { return !spot.voided; }));
}

}  // namespace

TEST_CASE("a set of photos is in the job photo by photo, and its spots once", "[job][sets]") {
  Job job;
  Provenance of_set = from;
  of_set.set = {{"a marked.png", "16 mm"}, {"b marked.png", "8 mm"}, {"c marked.png", "8 mm"}};
  const AddedReading added =
      add_reading(job, "bonnet", set_of({"a.jpg", "b.jpg", "c.jpg"}, {dent_at(1, 2, 20)}), of_set);
  CHECK(added.spots == std::vector<int>{1});
  REQUIRE(job.photos.size() == 3);
  CHECK(job.spots[0].photo == 1);
  CHECK_FALSE(job.photos[0].together_with.has_value());
  CHECK(job.photos[1].together_with == 1);
  CHECK(job.photos[2].picture == "c marked.png");
  CHECK(job.photos[2].panel == "bonnet");
  CHECK(photo_names(job.photos, 1) == "a.jpg with b.jpg, c.jpg");
  CHECK(photo_names(job.photos, 2) == "b.jpg");
  CHECK_FALSE(inconsistency_of(job).has_value());
  CHECK(not_measured_in(job).empty());

  const AddedReading again =
      add_reading(job, "bonnet", set_of({"a.jpg", "b.jpg", "c.jpg"}, {dent_at(1, 2, 20)}), from);
  CHECK(again.already_photo == 1);
  CHECK(add_reading(job, "bonnet", reading_of("b.jpg", {dent_at(1, 2, 20)}), from).already_photo == 2);
  CHECK(counting(job) == 1);
}

TEST_CASE("photos that were alone and then in a set count once, and the other way round", "[job][sets]") {
  Job job;
  add_reading(job, "bonnet", reading_of("a.jpg", {dent_at(1, 2, 20)}), from);
  add_reading(job, "bonnet", reading_of("b.jpg", {dent_at(1, 2, 21)}), from);
  const AddedReading set = add_reading(job, "bonnet", set_of({"a.jpg", "b.jpg"}, {dent_at(1, 2, 20)}), from);
  CHECK(set.replaced == std::vector<int>{1, 2});
  CHECK(set.spots == std::vector<int>{3});
  CHECK(counting(job) == 1);

  const AddedReading larger =
      add_reading(job, "bonnet", set_of({"b.jpg", "c.jpg"}, {dent_at(1, 2, 20)}), from);
  CHECK(larger.replaced == std::vector<int>{3});
  CHECK(counting(job) == 1);

  Provenance otherwise = from;
  otherwise.measured_with = "stripes 8 mm";
  for (JobPhoto& photo : job.photos) photo.measured_with = "stripes 16 mm";
  const AddedReading alone = add_reading(job, "bonnet", reading_of("c.jpg", {dent_at(1, 2, 20)}), otherwise);
  CHECK(alone.replaced == larger.spots);
  CHECK(counting(job) == 1);
  CHECK_FALSE(inconsistency_of(job).has_value());
}

TEST_CASE("a photo left out of its set is set aside with the reason, and makes no quote partial",
          "[job][sets]") {
  Job job;
  add_reading(job, "bonnet",
              set_of({"a.jpg", "b.jpg", "c.jpg"}, {dent_at(1, 2, 20)}, "It contradicts the others."), from);
  REQUIRE(job.photos.size() == 3);
  CHECK(job.photos[2].status == Status::refused);
  CHECK(job.photos[2].refusal->message == "It contradicts the others.");
  CHECK(job.photos[2].set_aside.has_value());
  CHECK_FALSE(job.photos[2].together_with.has_value());
  CHECK(not_measured_in(job).empty());
  CHECK(photo_names(job.photos, 1) == "a.jpg with b.jpg");
}

TEST_CASE("a set that was refused leaves all its photos to be measured", "[job][sets]") {
  Job job;
  Reading reading = set_of({"a.jpg", "b.jpg"}, {});
  reading.status = Status::refused;
  reading.refusal = Refusal{"photos_contradict", "They contradict each other.", "Photograph again."};
  add_reading(job, "bonnet", reading, from);
  CHECK(not_measured_in(job).photos.size() == 2);
  job.photos[1].together_with = 2;
  CHECK(inconsistency_of(job).has_value());
  job.photos[1].together_with = 7;
  CHECK(inconsistency_of(job).has_value());
}
