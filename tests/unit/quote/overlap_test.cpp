#include "quote/overlap.hpp"

#include <algorithm>
#include <random>

#include "catch.hpp"
#include "made_up.hpp"

using namespace ripplegauge;
using made_up::by_hand;
using made_up::dent_at;
using made_up::reading_of;

namespace {

const Provenance from{"ripplegauge 0.1.0", "now", ""};

Job job_of(const std::vector<std::vector<Dent>>& photos, const std::string& panel = "roof") {
  Job job;
  for (std::size_t i = 0; i < photos.size(); ++i)
    add_reading(job, panel, reading_of(std::to_string(i) + ".jpg", photos[i]), from);
  return job;
}

}  // namespace

TEST_CASE("a spot near the border of two photos counts once", "[overlap]") {
  const Job job = job_of({{dent_at(30, 40, 18), dent_at(80, 45, 25, 0.6)},
                          {dent_at(80.7, 44.6, 25.3, 0.4), dent_at(130, 50, 14)}});
  const auto counted = merge_overlapping(job);
  REQUIRE(counted.size() == 3);
  CHECK(counted[0].id == 1);
  CHECK(counted[1].id == 3);  // the narrower of the two intervals stands for both
  CHECK(counted[1].also_seen == std::vector<int>{2});
  CHECK(counted[2].id == 4);
}

TEST_CASE("what only looks alike stays apart", "[overlap]") {
  SECTION("too far apart") {
    CHECK(merge_overlapping(job_of({{dent_at(30, 40, 18)}, {dent_at(36, 40, 18)}})).size() == 2);
  }
  SECTION("another size") {
    CHECK(merge_overlapping(job_of({{dent_at(30, 40, 18)}, {dent_at(30, 40, 24)}})).size() == 2);
  }
  SECTION("a high in place of a low") {
    Dent high = dent_at(30, 40, 18);
    high.kind = Kind::high;
    CHECK(merge_overlapping(job_of({{dent_at(30, 40, 18)}, {high}})).size() == 2);
  }
  SECTION("two spots of one photo") {
    CHECK(merge_overlapping(job_of({{dent_at(30, 40, 18), dent_at(30.5, 40, 18)}})).size() == 2);
  }
  SECTION("another panel") {
    Job job = job_of({{dent_at(30, 40, 18)}});
    add_reading(job, "bonnet", reading_of("other.jpg", {dent_at(30, 40, 18)}), from);
    CHECK(merge_overlapping(job).size() == 2);
  }
  SECTION("entered by hand") {
    Job job;
    add_by_hand(job, by_hand("roof", 18, "light"), "now");
    add_by_hand(job, by_hand("roof", 18, "light"), "now");
    CHECK(merge_overlapping(job).size() == 2);
  }
  SECTION("told to count alone") {
    Job job = job_of({{dent_at(30, 40, 18)}, {dent_at(30, 40, 18)}});
    CHECK(merge_overlapping(job).size() == 1);
    spot_with_id(job, 2).counts_alone = true;
    CHECK(merge_overlapping(job).size() == 2);
  }
}

TEST_CASE("a voided sighting does not take the spot with it", "[overlap]") {
  Job job = job_of({{dent_at(30, 40, 18)}, {dent_at(30.2, 40.1, 18.1)}});
  void_spot(job, 1, "blurred there", "now");
  const auto counted = merge_overlapping(job);
  REQUIRE(counted.size() == 1);
  CHECK(counted[0].id == 2);
  CHECK(counted[0].also_seen.empty());
}

TEST_CASE("a card that was moved merges nothing by chance", "[overlap]") {
  // Ten spots in each photo of the same stretch of card frame; one of the second photo falls on one of the
  // first.
  std::vector<Dent> first, second;
  for (int i = 0; i < 10; ++i) {
    first.push_back(dent_at(15.0 * i, 20 + 12 * (i % 3), 18));
    second.push_back(dent_at(15.0 * i + (i == 4 ? 0.2 : 7), 20 + 12 * (i % 3), 18));
  }
  CHECK(merge_overlapping(job_of({first, second})).size() == 20);
}

TEST_CASE("a card that was moved does not double the spots that both photos show", "[overlap]") {
  // Nine dents, photographed again with the card turned by a quarter and shifted.
  std::vector<Dent> first, second;
  for (int i = 0; i < 9; ++i) {
    const double x = 20 + 13.0 * ((i * 4) % 9), y = 15 + 9.0 * ((i * i) % 7), size = 12 + 1.5 * i;
    first.push_back(dent_at(x, y, size));
    second.push_back(dent_at(130 - y + 0.3 * (i % 3), x - 8, size + 0.1));
    first.back().depth_mm = Quantity{0.1 + 0.03 * i, 0.098 + 0.03 * i, 0.102 + 0.03 * i};
    second.back().depth_mm = first.back().depth_mm;
  }
  const CountedOnce once = count_once(job_of({first, second}));
  CHECK(once.spots.size() == 9);
  CHECK(once.questions.empty());
}

TEST_CASE("separate dents photographed one by one with the card laid alike stay separate", "[overlap]") {
  // Forty dents of random size and depth, all within 2 mm of one place of the card.
  std::mt19937 random(5);
  std::uniform_real_distribution<double> place_mm(-1, 1), size_mm(10, 35), depth_mm(0.05, 0.6);
  std::vector<std::vector<Dent>> photos;
  for (int i = 0; i < 40; ++i) {
    Dent dent = dent_at(50 + place_mm(random), 40 + place_mm(random), size_mm(random), 0.1);
    const double depth = depth_mm(random);
    dent.depth_mm = Quantity{depth, 0.98 * depth, 1.02 * depth};
    photos.push_back({dent});
  }
  const CountedOnce once = count_once(job_of(photos));
  CHECK(once.spots.size() >= 37);       // by place and rough size alone 25 to 30
  CHECK_FALSE(once.questions.empty());  // and what looks like one is asked about
}

TEST_CASE("what a person says of two spots goes before what they look like", "[overlap]") {
  Dent deep = dent_at(30, 40, 18);
  deep.depth_mm = Quantity{0.6, 0.58, 0.62};
  Job job = job_of({{dent_at(30, 40, 18)}, {deep}});
  CHECK(count_once(job).spots.size() == 2);
  CHECK(count_once(job).questions.size() == 1);
  join_spots(job, {1, 2}, {"bay 2", "looked", "now"});
  CHECK(count_once(job).spots.size() == 1);
  CHECK(count_once(job).questions.empty());
  CHECK_FALSE(inconsistency_of(job).has_value());
}

TEST_CASE("three photos of one spot are one spot, and one photo's two spots never merge through another",
          "[overlap]") {
  CHECK(merge_overlapping(job_of({{dent_at(30, 40, 18)}, {dent_at(31, 40, 18)}, {dent_at(30.4, 40.3, 18)}}))
            .size() == 1);

  OverlapOptions wide;
  wide.corner_mm = 4;
  const auto counted =
      merge_overlapping(job_of({{dent_at(30, 40, 18), dent_at(36, 40, 18)}, {dent_at(33, 40, 18)}}), wide);
  CHECK(counted.size() == 2);
}

TEST_CASE("counts do not depend on the order of photos, and nothing is lost or counted twice", "[overlap]") {
  std::mt19937 random(11);
  std::normal_distribution<double> error(0, 0.35);
  for (int round = 0; round < 40; ++round) {
    // True spots on a grid with 20 mm between them; three photos see overlapping stretches of it.
    std::vector<std::vector<Dent>> photos(3);
    std::size_t truth = 0;
    for (int column = 0; column < 9; ++column)
      for (int row = 0; row < 3; ++row) {
        const double size_mm = 10 + (column * 7 + row * 5 + round) % 8;
        ++truth;
        for (int photo = 0; photo < 3; ++photo)
          if (column >= 2 * photo && column <= 2 * photo + 4)
            photos[static_cast<std::size_t>(photo)].push_back(dent_at(
                20 * column + error(random), 20 * row + error(random), size_mm + 0.3 * error(random)));
      }
    for (auto& photo : photos) std::shuffle(photo.begin(), photo.end(), random);
    std::shuffle(photos.begin(), photos.end(), random);
    const Job job = job_of(photos);
    const auto counted = merge_overlapping(job);
    REQUIRE(counted.size() == truth);
    std::size_t sightings = 0;
    for (const CountedSpot& spot : counted) sightings += 1 + spot.also_seen.size();
    REQUIRE(sightings == job.spots.size());
  }
}
