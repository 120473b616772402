#include "ripplegauge/json/reading_file.hpp"

#include <cmath>
#include <functional>
#include <nlohmann/json.hpp>
#include <random>
#include <set>

#include "catch.hpp"
#include "ripplegauge/core/errors.hpp"
#include "scratch_folder.hpp"

using namespace ripplegauge;
using Catch::Matchers::ContainsSubstring;
using nlohmann::json;

namespace {

/// Readings of every shape: absent and unknown quantities, tiny and huge numbers, odd names.
class RandomReading {
 public:
  explicit RandomReading(unsigned seed) : random_(seed) {}

  Reading reading() {
    Reading reading;
    reading.photo = {text(), text(), text(), integer(9000), integer(9000)};
    reading.status = static_cast<Status>(integer(2));
    if (reading.status == Status::refused) reading.refusal = Refusal{"card_not_found", text(), text()};
    if (reading.status == Status::measured) add_dents(reading);
    for (int i = integer(3); i > 0; --i) reading.warnings.push_back({text(), text()});
    reading.setup = setup();
    return reading;
  }

 private:
  bool coin() { return random_() % 2 == 0; }
  int integer(int largest) { return static_cast<int>(random_() % static_cast<unsigned>(largest + 1)); }

  double number() {
    const double magnitude = std::pow(10.0, std::uniform_real_distribution<>(-6, 6)(random_));
    return coin() ? magnitude : -magnitude;
  }
  double number_or_nan() { return integer(9) == 0 ? std::nan("") : number(); }

  std::string text() {
    static const std::vector<std::string> texts{"",
                                                "IMG_0001.jpg",
                                                "Tür links\nhinten",
                                                "\"quoted\\path\"",
                                                "写真/ドア.heic",
                                                std::string(3000, 'x'),
                                                "{}",
                                                "\t,;"};
    return texts[static_cast<std::size_t>(integer(static_cast<int>(texts.size()) - 1))];
  }

  Quantity quantity() {
    if (integer(9) == 0) return {};
    const double value = number(), half = std::abs(number());
    return integer(9) == 0 ? Quantity{value, std::nan(""), value + half}
                           : Quantity{value, value - half, value + half};
  }
  std::optional<Quantity> maybe_quantity() { return coin() ? std::optional(quantity()) : std::nullopt; }

  void add_dents(Reading& reading) {
    const int count = 1 + integer(4);
    for (int i = 0; i < count; ++i) {
      Dent dent;
      dent.kind = coin() ? Kind::low : Kind::high;
      dent.x_mm = number_or_nan();
      dent.y_mm = number();
      dent.diameter_mm = quantity();
      dent.length_mm = quantity();
      dent.width_mm = quantity();
      dent.half_diameter_mm = quantity();
      dent.angle_deg = number_or_nan();
      dent.depth_mm = maybe_quantity();
      dent.max_slope_mrad = maybe_quantity();
      dent.min_radius_mm = maybe_quantity();
      dent.bend_radius_mm = maybe_quantity();
      if (coin()) dent.flattened_line = FlattenedLine{quantity(), quantity()};
      dent.panel_end_mm = maybe_quantity();
      if (coin()) dent.deepest = PointMm{number(), number()};
      dent.volume_mm3 = maybe_quantity();
      if (coin()) dent.stretch = number_or_nan();
      dent.agreement = number();
      if (count > 1 && coin()) dent.inside_of = (i + 1) % count;
      for (int p = integer(20); p > 0; --p) dent.outline.push_back({number(), number_or_nan()});
      for (int p = integer(20); p > 0; --p) dent.section.push_back({number(), number_or_nan()});
      for (int p = integer(20); p > 0; --p) dent.cross_section.push_back({number(), number_or_nan()});
      dent.severity = text();
      dent.severity_reason = text();
      for (int n = integer(2); n > 0; --n) dent.notes.push_back(text());
      reading.dents.push_back(dent);
    }
    reading.budgets.resize(static_cast<std::size_t>(integer(count)));
    for (auto& budget : reading.budgets)
      for (int n = integer(3); n > 0; --n) budget.push_back({text(), text(), number(), number_or_nan()});
    reading.outlines_px.resize(static_cast<std::size_t>(integer(count)));
    for (auto& outline : reading.outlines_px)
      for (int n = integer(30); n > 0; --n) outline.emplace_back(number(), number());
  }

  Setup setup() {
    Setup setup;
    setup.board_pitch_mm = number_or_nan();
    if (coin()) setup.board_distance_given_mm = number();
    setup.bar_length_mm = number();
    setup.card_name = text();
    setup.tags_found = integer(8);
    setup.pixels_per_mm = number();
    setup.focal_px = maybe_quantity();
    setup.camera_distance_mm = maybe_quantity();
    setup.camera_tilt_deg = maybe_quantity();
    setup.board_distance_mm = maybe_quantity();
    setup.board_tilt_deg = maybe_quantity();
    setup.crown_x_per_m = maybe_quantity();
    setup.crown_y_per_m = maybe_quantity();
    if (coin()) setup.stripe_period_mm = number();
    if (coin()) setup.visible_slope_mrad = number();
    if (coin())
      setup.judged = JudgedArea{number(), number(), number(), number(), number(), 2, {"..#", "###"}, 0.5};
    if (coin()) setup.smallest_visible = {{5, number()}, {10, number()}};
    return setup;
  }

  std::mt19937 random_;
};

Reading one_dent() {
  Reading reading;
  reading.photo.name = "door.jpg";
  reading.photo.width_px = 4032;
  reading.status = Status::measured;
  Dent dent;
  dent.x_mm = 61.25;
  dent.y_mm = 44;
  dent.diameter_mm = {22.4, 21.9, 22.9};
  dent.angle_deg = 31;
  dent.depth_mm = Quantity{0.31, 0.27, 0.35};
  dent.outline = {{1, 2}, {3, 4.5}};
  reading.dents.push_back(dent);
  return reading;
}

std::string read_message(const std::string& text) {
  return message_of<FileError>([&] { readings_from_json(text, "reading.json"); });
}

/// The reading of one_dent() with one edit to its JSON.
template <class Edit>
std::string message_after(Edit edit) {
  json edited = json::parse(reading_to_json(one_dent()));
  edit(edited);
  return read_message(edited.dump());
}

/// Distinct values in all fields: a forgotten or swapped one would come back different.
Reading full_reading() {
  Reading reading = one_dent();
  Dent dent = reading.dents[0];
  double next = 100;
  const auto quantity = [&next] {
    next += 3;
    return Quantity{next, next - 1, next + 1};
  };
  dent.kind = Kind::high;
  dent.length_mm = quantity();
  dent.width_mm = quantity();
  dent.half_diameter_mm = quantity();
  dent.max_slope_mrad = quantity();
  dent.min_radius_mm = quantity();
  dent.bend_radius_mm = quantity();
  dent.volume_mm3 = quantity();
  dent.stretch = 0.001;
  dent.flattened_line = FlattenedLine{quantity(), quantity()};
  dent.panel_end_mm = quantity();
  dent.agreement = 0.9;
  dent.deepest = PointMm{12, 34};
  dent.section = {{-5, -0.1}, {0, -0.3}};
  dent.cross_section = {{-4, -0.2}, {0, -0.3}};
  dent.severity = "light";
  dent.severity_reason = "shallow";
  dent.notes = {"near the edge"};
  reading.dents = {dent, dent};
  reading.dents[1].inside_of = 0;
  reading.budgets = {{{"scale", "bar read to 0.5 mm", 0.5, 0.7}}, {{"noise", "", 0.1, 1.7}}};
  reading.outlines_px = {{{10, 20}, {30, 40}}, {{1, 2}}};
  reading.body_line_px = {{10, 20}, {30, 45.5}};
  reading.second_body_line_px = {{50, 60}, {70, 80}};
  reading.judged_px = {{{{1, 2}, {3, 4}, {5, 6}}}, {{{7, 8}, {9, 10}, {11, 12}}}};
  reading.set.resize(2);
  reading.set[0].photo.name = "a.jpg";
  reading.set[1].photo.name = "b.jpg";
  reading.set[1].left_out = "It contradicts the others.";
  reading.photo = {"a/b.jpg", "2024-05-06 07:08:09", "abc", 4032, 3024};
  reading.warnings = {{"thin", "few stripes"}};
  Setup& setup = reading.setup;
  setup = {16,
           420.0,
           97.3,
           "corner card",
           8,
           5.5,
           quantity(),
           quantity(),
           quantity(),
           quantity(),
           quantity(),
           quantity(),
           quantity(),
           12.5,
           3.5,
           JudgedArea{-20, -10, 120, 95, 6400, 0, {}, 1},
           {},
           BodyLine{60, 45, -12.5, {4.1, 3.9, 4.3}, {6, 5, 7}},
           BodyLine{60, 75, -10, {2, 1.9, 2.1}, {6, 5, 7}}};
  return reading;
}

}  // namespace

TEST_CASE("a reading keeps the contract that other programs rely on", "[reading_file]") {
  const json written = json::parse(reading_to_json(one_dent()));
  CHECK(written["schema"] == 1);
  CHECK(written["photo"] == "door.jpg");
  CHECK(written["status"] == "measured");
  CHECK(written["warnings"] == json::array());
  CHECK_FALSE(written.contains("refusal"));
  REQUIRE(written["dents"].size() == 1);
  const json& dent = written["dents"][0];
  CHECK(dent["kind"] == "low");
  CHECK(dent["x_mm"] == 61.25);
  CHECK(dent["diameter_mm"] == json::parse(R"({"value": 22.4, "low": 21.9, "high": 22.9})"));
  CHECK(dent["length_mm"].is_null());  // not measured
  CHECK(dent["depth_mm"]["value"] == 0.31);
  CHECK(dent["outline_mm"] == json::parse("[[1, 2], [3, 4.5]]"));
  CHECK(written["photo_info"]["width_px"] == 4032);
}

TEST_CASE("depth that cannot be known is null", "[reading_file]") {
  Reading reading = one_dent();
  reading.dents[0].depth_mm = std::nullopt;
  const json written = json::parse(reading_to_json(reading));
  REQUIRE(written["dents"][0].contains("depth_mm"));
  CHECK(written["dents"][0]["depth_mm"].is_null());
}

TEST_CASE("a refusal is written whole", "[reading_file]") {
  Reading reading;
  reading.photo.name = "dark.jpg";
  reading.refusal = Refusal{"card_not_found", "No card was found.", "Lay the card beside the dent."};
  const json written = json::parse(reading_to_json(reading));
  CHECK(written["status"] == "refused");
  CHECK(written["refusal"]["code"] == "card_not_found");
  CHECK(written["refusal"]["remedy"] == "Lay the card beside the dent.");
  CHECK(written["dents"] == json::array());
}

TEST_CASE("one reading is an object, several are an array", "[reading_file]") {
  const Reading reading = one_dent();
  CHECK(readings_to_json({reading}) == reading_to_json(reading));
  const json two = json::parse(readings_to_json({reading, reading}));
  REQUIRE(two.is_array());
  CHECK(two.size() == 2);
  CHECK(readings_from_json(readings_to_json({reading, reading}), "f").size() == 2);
  CHECK_THAT(read_message("[]"), ContainsSubstring("no reading"));
}

TEST_CASE("any reading survives writing and reading", "[reading_file]") {
  int dents = 0;
  for (unsigned seed = 0; seed < 300; ++seed) {
    INFO("seed " << seed);
    const Reading reading = RandomReading(seed).reading();
    const std::string text = reading_to_json(reading);
    REQUIRE(text == reading_to_json(reading));  // the same bytes every time
    const std::vector<Reading> read = readings_from_json(text, "f");
    REQUIRE(read.size() == 1);
    REQUIRE(reading_to_json(read[0]) == text);

    // The text being equal would not show a field that is neither written nor read.
    REQUIRE(read[0].status == reading.status);
    REQUIRE(read[0].photo.name == reading.photo.name);
    REQUIRE(read[0].photo.height_px == reading.photo.height_px);
    REQUIRE(read[0].warnings.size() == reading.warnings.size());
    REQUIRE(read[0].dents.size() == reading.dents.size());
    for (std::size_t i = 0; i < reading.dents.size(); ++i) {
      const Dent &before = reading.dents[i], &after = read[0].dents[i];
      REQUIRE(after.kind == before.kind);
      REQUIRE(after.notes == before.notes);
      REQUIRE(after.inside_of == before.inside_of);
      // Seven significant digits are kept: half a unit of the last one.
      if (std::isfinite(before.diameter_mm.value))
        REQUIRE(std::abs(after.diameter_mm.value - before.diameter_mm.value) <=
                5e-7 * std::abs(before.diameter_mm.value));
      else
        REQUIRE(std::isnan(after.diameter_mm.value));
      ++dents;
    }
  }
  CHECK(dents > 100);
}

TEST_CASE("every field of a reading is in its JSON", "[reading_file]") {
  const Reading reading = full_reading();
  const Dent& dent = reading.dents[0];
  const Setup& setup = reading.setup;
  const Reading read = readings_from_json(reading_to_json(reading), "f").at(0);
  REQUIRE(read.dents.size() == 2);
  const Dent& back = read.dents[0];
  CHECK(back.kind == dent.kind);
  CHECK(back.x_mm == dent.x_mm);
  CHECK(back.y_mm == dent.y_mm);
  CHECK(back.diameter_mm == dent.diameter_mm);
  CHECK(back.length_mm == dent.length_mm);
  CHECK(back.width_mm == dent.width_mm);
  CHECK(back.half_diameter_mm == dent.half_diameter_mm);
  CHECK(back.angle_deg == dent.angle_deg);
  CHECK(back.depth_mm == dent.depth_mm);
  CHECK(back.max_slope_mrad == dent.max_slope_mrad);
  CHECK(back.min_radius_mm == dent.min_radius_mm);
  CHECK(back.bend_radius_mm == dent.bend_radius_mm);
  CHECK(back.deepest == dent.deepest);
  CHECK(back.cross_section == dent.cross_section);
  CHECK(back.volume_mm3 == dent.volume_mm3);
  CHECK(back.stretch == dent.stretch);
  CHECK(back.flattened_line == dent.flattened_line);
  CHECK(back.panel_end_mm == dent.panel_end_mm);
  CHECK(back.agreement == dent.agreement);
  CHECK(back.outline == dent.outline);
  CHECK(back.section == dent.section);
  CHECK(back.severity == dent.severity);
  CHECK(back.severity_reason == dent.severity_reason);
  CHECK(back.notes == dent.notes);
  CHECK(read.dents[1].inside_of == 0);
  REQUIRE(read.budgets.size() == 2);
  CHECK(read.budgets[0].at(0).name == "scale");
  CHECK(read.budgets[0].at(0).note == "bar read to 0.5 mm");
  CHECK(read.budgets[0].at(0).diameter_percent == 0.5);
  CHECK(read.budgets[1].at(0).depth_percent == 1.7);
  CHECK(read.outlines_px == reading.outlines_px);
  CHECK(read.judged_px == reading.judged_px);
  CHECK(read.body_line_px == reading.body_line_px);
  CHECK(read.second_body_line_px == reading.second_body_line_px);
  CHECK(read.setup.body_lines() == reading.setup.body_lines());
  REQUIRE(read.set.size() == reading.set.size());
  for (std::size_t i = 0; i < read.set.size(); ++i) {
    CHECK(read.set[i].photo.name == reading.set[i].photo.name);
    CHECK(read.set[i].left_out == reading.set[i].left_out);
  }
  CHECK(read.photo.name == "a/b.jpg");
  CHECK(read.photo.date_taken == "2024-05-06 07:08:09");
  CHECK(read.photo.sha256 == "abc");
  CHECK(read.photo.width_px == 4032);
  CHECK(read.photo.height_px == 3024);
  CHECK(read.warnings.at(0).message == "few stripes");
  CHECK(read.setup.board_pitch_mm == 16);
  CHECK(read.setup.board_distance_given_mm == 420.0);
  CHECK(read.setup.bar_length_mm == 97.3);
  CHECK(read.setup.card_name == "corner card");
  CHECK(read.setup.tags_found == 8);
  CHECK(read.setup.pixels_per_mm == 5.5);
  CHECK(read.setup.focal_px == setup.focal_px);
  CHECK(read.setup.camera_distance_mm == setup.camera_distance_mm);
  CHECK(read.setup.camera_tilt_deg == setup.camera_tilt_deg);
  CHECK(read.setup.board_distance_mm == setup.board_distance_mm);
  CHECK(read.setup.board_tilt_deg == setup.board_tilt_deg);
  CHECK(read.setup.crown_x_per_m == setup.crown_x_per_m);
  CHECK(read.setup.crown_y_per_m == setup.crown_y_per_m);
  CHECK(read.setup.stripe_period_mm == 12.5);
  CHECK(read.setup.visible_slope_mrad == 3.5);
  CHECK(read.setup.judged == setup.judged);
  CHECK(read.setup.smallest_visible == setup.smallest_visible);
}

TEST_CASE("convention: units stand in every key of a number", "[conventions][reading_file]") {
  const std::set<std::string> units = {"mm", "mm2", "mm3", "px", "deg", "mrad", "percent"};
  const std::set<std::string> without = {"schema",  "tags_found", "agreement",
                                         "stretch", "inside_of",  "share"};
  std::set<std::string> seen;
  const std::function<void(const json&, const std::string&)> look = [&](const json& value,
                                                                        const std::string& key) {
    const bool quantity = value.is_object() && value.contains("low") && value.contains("high");
    if (value.is_number() || quantity ||
        (value.is_array() && !value.empty() && (value[0].is_number() || value[0].is_array()))) {
      const std::string unit = key.substr(key.rfind('_') + 1);
      const bool per_length = key.ends_with("_per_mm") || key.ends_with("_per_m");
      INFO(key);
      CHECK((units.contains(unit) || per_length || without.contains(key)));
      seen.insert(key);
    } else if (value.is_object()) {
      for (const auto& [inner, member] : value.items()) look(member, inner);
    } else if (value.is_array()) {
      for (const json& member : value) look(member, key);
    }
  };
  look(json::parse(reading_to_json(full_reading())), "");
  CHECK(seen.size() > 30);  // the walk did go in
}

TEST_CASE("names that are no text become text", "[reading_file]") {
  Reading reading = one_dent();
  reading.photo.name = "bad\xff\x1b[31mname.jpg";
  const std::string text = reading_to_json(reading);
  const Reading read = readings_from_json(text, "f").at(0);
  CHECK(read.photo.name == "bad\xef\xbf\xbd\xef\xbf\xbd[31mname.jpg");
  CHECK(reading_to_json(read) == text);
}

TEST_CASE("readings are read from a file", "[reading_file]") {
  const ScratchFolder folder;
  const auto file = folder.write("ok.json", reading_to_json(one_dent()));
  CHECK(read_readings(file).size() == 1);
  CHECK_THROWS_AS(read_readings(folder / "none.json"), FileError);
}

TEST_CASE("a reading that says something impossible is refused with file and key", "[reading_file]") {
  CHECK_THAT(message_after([](json& r) { r["schema"] = 2; }),
             ContainsSubstring("reading.json: key \"schema\""));
  CHECK_THAT(message_after([](json& r) { r.erase("photo"); }), ContainsSubstring("\"photo\" is missing"));
  CHECK_THAT(message_after([](json& r) { r["photo"] = json::object(); }), ContainsSubstring("photo"));
  CHECK_THAT(message_after([](json& r) { r["status"] = "fine"; }),
             ContainsSubstring("one of: measured, no_dent, refused"));
  CHECK_THAT(message_after([](json& r) { r["status"] = "refused"; }), ContainsSubstring("needs its reason"));
  CHECK_THAT(message_after([](json& r) { r["status"] = "no_dent"; }),
             ContainsSubstring("any other has none"));
  CHECK_THAT(message_after([](json& r) { r["dents"][0]["kind"] = 3; }), ContainsSubstring("dents[0].kind"));
  CHECK_THAT(message_after([](json& r) { r["dents"][0].erase("diameter_mm"); }),
             ContainsSubstring("dents[0].diameter_mm"));
  CHECK_THAT(message_after([](json& r) { r["dents"][0]["depht_mm"] = 1; }),
             ContainsSubstring("\"dents[0].depht_mm\" is unknown"));
  CHECK_THAT(message_after([](json& r) { r["dents"][0]["depth_mm"]["value"] = 9; }),
             ContainsSubstring("low <= value <= high"));
  CHECK_THAT(message_after([](json& r) { r["dents"][0]["depth_mm"] = 0.3; }),
             ContainsSubstring("dents[0].depth_mm"));
  CHECK_THAT(message_after([](json& r) { r["dents"][0]["inside_of"] = 0; }),
             ContainsSubstring("another dent"));
  CHECK_THAT(message_after([](json& r) {
               r["dents"][0]["outline_mm"][1] = {1, 2, 3};
             }),
             ContainsSubstring("dents[0].outline_mm[1]"));
  CHECK_THAT(message_after([](json& r) { r["dents"][0]["outline_mm"][1][0] = "x"; }),
             ContainsSubstring("dents[0].outline_mm[1][0]"));
  CHECK_THAT(message_after([](json& r) { r["setup"]["tags_found"] = 1.5; }),
             ContainsSubstring("setup.tags_found"));
  CHECK(message_after([](json& r) { r.erase("setup"); }).empty());
  CHECK(message_after([](json& r) { r["dents"][0].erase("notes"); }).empty());
}

TEST_CASE("damaged readings never crash", "[reading_file]") {
  const std::string good = reading_to_json(RandomReading(3).reading()) + reading_to_json(one_dent());
  const std::string text = reading_to_json(one_dent());
  std::mt19937 random(7);
  int refused = 0;
  constexpr int tries = 2000;
  for (int i = 0; i < tries; ++i) {
    std::string damaged = text;
    for (int edit = 0; edit < 4; ++edit) damaged[random() % damaged.size()] = good[random() % good.size()];
    try {
      readings_from_json(damaged, "f");
    } catch (const FileError&) {
      ++refused;
    }
  }
  CHECK(refused > tries / 2);
}
