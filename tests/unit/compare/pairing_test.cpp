#include "compare/pairing.hpp"

#include "catch.hpp"
#include "compare/photo_time.hpp"

using namespace ripplegauge;

namespace {

using Indices = std::vector<std::size_t>;

Pairing pair_names(const std::vector<std::string>& names) {
  std::vector<Shot> shots;
  for (const std::string& name : names) shots.push_back({name, ""});
  return pair_shots(shots);
}

}  // namespace

TEST_CASE("names pair whatever stands between their words", "[pairing]") {
  for (const auto& [before, after] :
       std::vector<std::pair<std::string, std::string>>{{"door-before.jpg", "door-after.jpg"},
                                                        {"before_door.JPG", "After door.jpg"},
                                                        {"door.BEFORE.heic", "door-after.jpg"},
                                                        {"before.jpg", "after.jpg"},
                                                        {"T\u00fcr 3 before.jpg", "T\u00fcr 3 after.jpg"},
                                                        {"door 3-before-a.json", "door-3-after-a.json"}}) {
    CAPTURE(before, after);
    const Pairing pairing = pair_names({before, after});
    REQUIRE(pairing.groups.size() == 1);
    CHECK(pairing.groups[0].shots == Indices{0, 1});
    CHECK(pairing.left_over.empty());
  }
}

TEST_CASE("several shots after make a series in the order of their numbers", "[pairing]") {
  const Pairing pairing =
      pair_names({"hood-after10.jpg", "hood-after-2.jpg", "hood-before.jpg", "hood-after1.jpg"});
  REQUIRE(pairing.groups.size() == 1);
  CHECK(pairing.groups[0].shots == Indices{2, 3, 1, 0});
  CHECK(pairing.groups[0].name == "hood");
}

TEST_CASE("what has no partner is named with the reason", "[pairing]") {
  const Pairing pairing = pair_names({"a-before.jpg", "b-after.jpg", "c-before.jpg", "c.before.png",
                                      "c-after.jpg", "IMG_1.jpg", "afterwards.jpg"});
  CHECK(pairing.groups.empty());
  REQUIRE(pairing.left_over.size() == 7);
  CHECK(pairing.left_over[0] == "a-before.jpg: no shot after of the same place");
  CHECK(pairing.left_over[1] == "b-after.jpg: no shot before of the same place");
  CHECK(pairing.left_over[2] == "c-before.jpg: several shots before of the same place");
  CHECK(pairing.left_over[5] == "IMG_1.jpg: its name says neither before nor after, and it holds no time");
}

TEST_CASE("shots without words pair by time, in their order", "[pairing]") {
  const Pairing pairing = pair_shots({{"3.jpg", "2026-03-14 11:00:00"},
                                      {"1.jpg", "2026-03-14 09:00:00"},
                                      {"4.jpg", "2026-03-14 11:20:00"},
                                      {"2.jpg", "2026-03-14 09:15:00"},
                                      {"5.jpg", "2026-03-15 11:00:00"}});
  REQUIRE(pairing.groups.size() == 2);
  CHECK(pairing.groups[0].shots == Indices{1, 3});
  CHECK(pairing.groups[1].shots == Indices{0, 2});
  CHECK(pairing.groups[0].reason == "time");
  REQUIRE(pairing.left_over.size() == 1);
  CHECK(pairing.left_over[0] == "5.jpg: no later shot within the time allowed");
}

TEST_CASE("other words can be given", "[pairing]") {
  PairingOptions options;
  options.before_words = {"vorher"};
  options.after_words = {"nachher"};
  const Pairing pairing = pair_shots({{"Dach nachher.jpg", ""}, {"Dach vorher.jpg", ""}}, options);
  REQUIRE(pairing.groups.size() == 1);
  CHECK(pairing.groups[0].shots == Indices{1, 0});
}

TEST_CASE("no shots, no pairs", "[pairing]") {
  CHECK(pair_shots({}).groups.empty());
  CHECK(pair_shots({{"", ""}, {".jpg", ""}}).groups.empty());
}

TEST_CASE("only a real time is read as one", "[pairing]") {
  CHECK(photo_time("2026-03-14 09:26:53"));
  CHECK(photo_time("2026:03:14 09:26:53"));
  CHECK_FALSE(photo_time(""));
  CHECK_FALSE(photo_time("2026-02-30 09:26:53"));
  CHECK_FALSE(photo_time("2026-03-14 24:26:53"));
  CHECK_FALSE(photo_time("0000-00-00 00:00:00"));
  CHECK_FALSE(photo_time("2026-03-14 -9:26:53"));
  CHECK_FALSE(photo_time("last Tuesday, early"));
  CHECK(minutes_between("2026-02-28 23:50:00", "2026-03-01 00:05:30") == 15.5);
}
