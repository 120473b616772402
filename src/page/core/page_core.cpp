// What the page's worker asks of the core: one photo at a time is held here, and every question and answer is
// JSON. Files that the page keeps (profile, board, readings, facts) lie in the module's own file system,
// under the names that the program would read, so that they are checked by the same code.
#include <algorithm>
#include <cstdint>
#include <exception>
#include <filesystem>
#include <new>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgproc.hpp>
#include <string>
#include <vector>

#include "advice/brief.hpp"
#include "app/request.hpp"
#include "card/tag_detector.hpp"
#include "compare/words.hpp"
#include "core/no_dent_words.hpp"
#include "files/advice_file.hpp"
#include "files/camera_profile_file.hpp"
#include "files/check_file.hpp"
#include "files/compare_file.hpp"
#include "files/severity_file.hpp"
#include "files/workshop_file.hpp"
#include "json/json_write.hpp"
#include "panel/bundle.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/json/board_file.hpp"
#include "ripplegauge/json/card_file.hpp"
#include "ripplegauge/json/json_reader.hpp"
#include "ripplegauge/json/reading_file.hpp"
#include "ripplegauge/measure/measure.hpp"
#include "ripplegauge/measure/photo_check.hpp"
#include "ripplegauge/photo/photo.hpp"

namespace ripplegauge::page {
namespace {

constexpr const char* data_folder = "/data";
constexpr const char* profile_file = "/workshop/workshop.json";
constexpr const char* facts_file = "/workshop/facts.json";

/// What the next question may be about.
struct Held {
  Photo photo;
  Relief relief;
  std::vector<std::uint8_t> picture;
  std::string answer;
};

Held& held() {
  static Held all;
  return all;
}

WorkshopProfile profile() { return read_workshop(profile_file, data_folder); }

PanelFacts facts() {
  PanelFacts facts = read_panel_facts(facts_file);
  facts.validate();
  return facts;
}

AdviceData advice_data(const WorkshopProfile& profile) {
  return read_advice_data(data_folder, profile.kit_file, profile.coin_country.value_or(""),
                          profile.locale.value_or(""));
}

MeasureRequest request() {
  try {
    return request_for({.profile_file = profile_file}, 0, 1, data_folder);
  } catch (const PitchMissing& missing) {
    throw UsageError(std::string(missing.what()) + ": choose or describe your board in the set-up");
  }
}

/// The page's words are the program's, also where the text is itself JSON.
OrderedJson parsed(const std::string& json) { return OrderedJson::parse(json); }

OrderedJson corners_json(const SeenTag& tag) {
  OrderedJson corners = OrderedJson::array();
  for (const cv::Point2d& corner : tag.corners_px)
    corners.push_back({json_number(corner.x), json_number(corner.y)});
  return corners;
}

/// Where the card's tags are in the photo, and from them where any point of the panel is, taken as flat: good
/// enough to look at.
OrderedJson card_in_photo(const CardDefinition& card, double bar_length_mm) {
  OrderedJson tags = OrderedJson::array();
  std::vector<cv::Point2d> panel_mm, photo_px;
  const double scale = bar_length_mm / card.bar_nominal_mm;
  for (const SeenTag& seen : find_tags(held().photo.grey)) {
    tags.push_back({{"id", seen.id}, {"corners_px", corners_json(seen)}});
    const auto tag = std::find_if(card.tags.begin(), card.tags.end(),
                                  [&](const CardTag& printed) { return printed.id == seen.id; });
    if (tag == card.tags.end()) continue;
    for (const auto& corner : tag_corners_mm(*tag, card.tag_side_mm, scale, 0.0))
      panel_mm.emplace_back(corner[0], corner[1]);
    photo_px.insert(photo_px.end(), seen.corners_px.begin(), seen.corners_px.end());
  }
  OrderedJson json{{"tags", tags}, {"photo_from_panel", nullptr}};
  if (panel_mm.empty()) return json;
  const cv::Mat map = cv::findHomography(panel_mm, photo_px);
  if (map.empty()) return json;
  json["photo_from_panel"] = OrderedJson::array();
  for (int i = 0; i < 9; ++i) json["photo_from_panel"].push_back(map.at<double>(i / 3, i % 3));
  return json;
}

OrderedJson relief_json(const Relief& relief) {
  if (relief.empty()) return nullptr;
  return {{"x0_mm", relief.x0_mm},     {"y0_mm", relief.y0_mm},
          {"step_mm", relief.step_mm}, {"columns", relief.columns},
          {"rows", relief.rows},       {"at", reinterpret_cast<std::uintptr_t>(relief.height_mm.data())}};
}

/// In the order of the reading's dents: what stands beside the sizes.
OrderedJson spots_json(const Reading& reading, const PanelFacts& facts, const AdviceData& data) {
  OrderedJson spots = OrderedJson::array();
  for (const Dent& dent : reading.dents) {
    const SeverityAssessment severity = assess_severity(dent, facts, data.severity);
    spots.push_back({{"severity", severity.spoken},
                     {"grade", severity.grade ? OrderedJson(*severity.grade) : OrderedJson(nullptr)},
                     {"grades", data.severity.grades.size()},
                     {"pulling", word(severity.pulling)},
                     {"crease", severity.is_long},
                     {"coin", in_coins(data.coins, dent.diameter_mm.value)}});
  }
  return spots;
}

OrderedJson measure_photo(ObjectReader& question) {
  const std::string sha256 = question.optional<std::string>("sha256").value_or("");
  question.finish();
  const MeasureRequest asked = request();
  Measurement measured = measure(held().photo, asked);
  grade(measured.reading, facts(), advice_data(profile()).severity);
  measured.reading.photo.sha256 = sha256;
  held().relief = std::move(measured.relief);
  return {{"reading", reading_to_json(measured.reading)},
          {"relief", relief_json(held().relief)},
          {"card", card_in_photo(asked.card, asked.bar_length_mm)}};
}

/// The quickest look: which of the card's tags are in the picture, and where.
OrderedJson look(ObjectReader& question) {
  question.finish();
  const CardDefinition card = card_for({.profile_file = profile_file}, data_folder);
  OrderedJson json = card_in_photo(card, card.bar_nominal_mm);
  json["tags_on_card"] = card.tags.size();
  json["width_px"] = held().photo.grey.cols;
  json["height_px"] = held().photo.grey.rows;
  return json;
}

OrderedJson check(ObjectReader& question) {
  question.finish();
  const MeasureRequest asked = request();
  OrderedJson json = parsed(photo_checks_to_json({check_photo(held().photo, asked)}));
  json["card"] = card_in_photo(asked.card, asked.bar_length_mm);
  return json;
}

Reading reading_in(ObjectReader& question, const char* key) {
  const std::string file = question.required<std::string>(key);
  std::vector<Reading> readings = read_readings(file);
  if (readings.size() != 1) throw FileError(file, "holds several readings; one is needed");
  return std::move(readings.front());
}

/// What a reading says in words, told anew: facts, kit and units may have changed since it was measured.
OrderedJson plan(ObjectReader& question) {
  const Reading reading = reading_in(question, "reading");
  question.finish();
  const WorkshopProfile workshop = profile();
  const AdviceData data = advice_data(workshop);
  const PanelFacts panel = facts();
  const Plan made = make_plan(reading, panel, data);
  OrderedJson brief = OrderedJson::array();
  for (const BriefLine& line : brief_plan(made))
    brief.push_back({{"label", line.label}, {"text", line.text}});
  return {{"brief", brief},
          {"plan", parsed(plans_to_json({made}))},
          {"full", plan_to_text(made, true)},
          {"spots", spots_json(reading, panel, data)},
          {"no_dent", reading.status == Status::no_dent ? no_dent_headline(reading.setup) : ""},
          {"visible", reading.status == Status::no_dent ? smallest_visible_words(reading.setup) : ""}};
}

/// The numbers of a relief in the module's memory, where the page has put them.
Relief relief_in(ObjectReader& question, const char* key) {
  auto said = question.optional_object(key);
  if (!said) return {};
  Relief relief{said->required<double>("x0_mm"),
                said->required<double>("y0_mm"),
                said->required<double>("step_mm"),
                said->required<int>("columns", between(1, 100000)),
                said->required<int>("rows", between(1, 100000)),
                {}};
  const auto at = static_cast<std::uintptr_t>(said->required<double>("at"));
  said->finish();
  const auto* const from = reinterpret_cast<const float*>(at);
  relief.height_mm.assign(
      from, from + static_cast<std::size_t>(relief.columns) * static_cast<std::size_t>(relief.rows));
  return relief;
}

OrderedJson compare(ObjectReader& question) {
  const std::string card = question.required_choice("card", {"not_sure", "same", "moved"});
  CompareInput input;
  input.shots.push_back({reading_in(question, "before"), relief_in(question, "relief_before")});
  input.shots.push_back({reading_in(question, "after"), relief_in(question, "relief_after")});
  question.finish();
  CompareOptions options;
  if (card == "same") options.alignment.placement = CardPlacement::same;
  if (card == "moved") options.alignment.placement = CardPlacement::moved;
  const WorkshopProfile workshop = profile();
  const Reading &before = input.first().reading, &after = input.last().reading;
  input.series = compare_series(input.shots, options);
  const NextStep next = next_step(before, after, input.comparison(), facts(), advice_data(workshop));
  OrderedJson marks = OrderedJson::array();
  for (const NewMark& mark : input.comparison().new_marks) marks.push_back(new_mark_words(mark, after));
  const CardMotion& motion = input.comparison().alignment.motion;
  return {{"comparison", parsed(comparison_to_json(input))},
          {"new_marks", marks},
          {"motion", {{"turn_deg", motion.turn_deg}, {"dx_mm", motion.dx_mm}, {"dy_mm", motion.dy_mm}}},
          {"next", parsed(next_to_json(next))},
          {"next_text", next_to_text(next, true)}};
}

/// Refuses, by the reader's own words, whatever measuring would refuse later.
OrderedJson settings(ObjectReader& question) {
  question.finish();
  const WorkshopProfile workshop = profile();
  const CardDefinition card = card_for({.profile_file = profile_file}, data_folder);
  OrderedJson json{{"card", card.name}, {"bar_nominal_mm", card.bar_nominal_mm}};
  if (workshop.board_file) {
    const BoardDefinition board = read_board(*workshop.board_file);
    json["board"] = {{"name", board.name}, {"pitch_mm", board.pitch_mm}, {"tags", board.tags.size()}};
  }
  if (workshop.camera_file) read_camera_profile(*workshop.camera_file);
  json["kit"] = advice_data(workshop).kit.name;
  facts();
  return json;
}

OrderedJson coin_countries(ObjectReader& question) {
  question.finish();
  OrderedJson names = OrderedJson::array();
  for (const CoinSet& set : read_coins(std::filesystem::path(data_folder) / "coins.json"))
    names.push_back(set.country);
  return {{"countries", names}};
}

/// A photo seen squarely, in four bytes a pixel, from a picture that the page has put into memory.
OrderedJson square_view(ObjectReader& question) {
  const int width = question.required<int>("width", between(1, 20000)),
            height = question.required<int>("height", between(1, 20000)),
            side = question.required<int>("side", between(16, 4000));
  const auto at = static_cast<std::uintptr_t>(question.required<double>("at"));
  const std::vector<double> map = question.required_list<double>("picture_from_view", {9, 9});
  question.finish();
  const cv::Mat picture(height, width, CV_8UC4, reinterpret_cast<void*>(at));
  held().picture.resize(4 * static_cast<std::size_t>(side) * static_cast<std::size_t>(side));
  cv::Mat view(side, side, CV_8UC4, held().picture.data());
  const cv::Mat picture_from_view(3, 3, CV_64F, const_cast<double*>(map.data()));
  cv::warpPerspective(picture, view, picture_from_view, view.size(), cv::INTER_LINEAR | cv::WARP_INVERSE_MAP,
                      cv::BORDER_CONSTANT, cv::Scalar(200, 200, 200, 255));
  return {{"at", reinterpret_cast<std::uintptr_t>(view.data)}};
}

/// When a panel that cools may be pulled, from two readings of its thermometer or more.
OrderedJson pull_window(ObjectReader& question) {
  std::vector<TemperatureReading> readings;
  for (ObjectReader& one : question.required_objects("readings", {2, 100})) {
    const auto at_s = one.required<double>("at_s", between(0, 1e5));
    readings.push_back({at_s, one.required<double>("celsius", between(-50, 200))});
    one.finish();
  }
  const auto air_c = question.required<double>("air_c", between(-40, 60));
  ObjectReader range = question.required_object("between_c");
  const auto low_c = range.required<double>("low", between(-50, 200));
  const TemperatureRange pull{low_c, range.required<double>("high", between(-50, 200))};
  range.finish();
  question.finish();
  return OrderedJson::parse(
      pull_window_to_json(fit_cooling(readings, air_c, pull), readings, air_c, pull, {}));
}

OrderedJson version(ObjectReader& question) {
  question.finish();
  return {{"version", RIPPLEGAUGE_VERSION}};
}

struct Question {
  const char* name;
  OrderedJson (*answer)(ObjectReader&);
};
constexpr Question questions[] = {{"measure", measure_photo},
                                  {"look", look},
                                  {"check", check},
                                  {"plan", plan},
                                  {"compare", compare},
                                  {"settings", settings},
                                  {"pull_window", pull_window},
                                  {"coin_countries", coin_countries},
                                  {"square_view", square_view},
                                  {"version", version}};

OrderedJson answer_to(const std::string& text) {
  ObjectReader question = JsonFile::parse(text, "the page's question").object();
  const std::string name = question.required<std::string>("do");
  for (const Question& known : questions)
    if (name == known.name) return known.answer(question);
  throw UsageError("the page asks for \"" + name + "\", which this core does not know; load the page again");
}

OrderedJson error_json(const char* kind, const std::string& message) {
  return {{"error", {{"kind", kind}, {"message", message}}}};
}

/// Nothing leaves the module as an exception: the page shows what went wrong.
template <class Work>
const char* answered(const Work& work) {
  OrderedJson json;
  try {
    json = work();
  } catch (const FileError& error) {
    json = error_json("file", error.what());
  } catch (const UsageError& error) {
    json = error_json("usage", error.what());
  } catch (const std::bad_alloc&) {
    json = error_json("memory", "this phone has not enough memory for it; set the camera to a smaller photo");
  } catch (const std::exception& error) {
    json = error_json("fault", error.what());
  }
  held().answer = json.dump(-1, ' ', false, OrderedJson::error_handler_t::replace);
  return held().answer.c_str();
}

OrderedJson photo_json(const Photo& photo) {
  return {{"width_px", photo.grey.cols},
          {"height_px", photo.grey.rows},
          {"date_taken", photo.date_taken},
          {"focal_35mm_mm", json_number(photo.focal_35mm_mm)}};
}

}  // namespace
}  // namespace ripplegauge::page

// Called by the worker; pointers are into the module's memory, and an answer holds until the next call.
extern "C" {

/// The bytes of a photo's file. What was held before is let go first: two large photos need not fit.
const char* take_file(const char* bytes, std::size_t size, const char* name) {
  using namespace ripplegauge::page;
  return answered([&] {
    held().photo = {};
    held().photo = ripplegauge::decode_photo({bytes, size}, name);
    return photo_json(held().photo);
  });
}

/// Upright grey pixels, from one who decoded a photo that the module cannot.
const char* take_grey(const std::uint8_t* pixels, int width_px, int height_px, const char* name) {
  using namespace ripplegauge::page;
  return answered([&] {
    held().photo = {};
    held().photo.name = name;
    cv::Mat(height_px, width_px, CV_8UC1, const_cast<std::uint8_t*>(pixels)).copyTo(held().photo.grey);
    return photo_json(held().photo);
  });
}

const char* answer(const char* question) {
  using namespace ripplegauge::page;
  return answered([&] { return answer_to(question); });
}

}  // extern "C"
