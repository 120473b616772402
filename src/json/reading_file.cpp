// Readings as JSON. Each struct is described once, and the description serves for writing and for reading.
#include "ripplegauge/json/reading_file.hpp"

#include <cmath>
#include <concepts>
#include <fstream>
#include <limits>
#include <type_traits>

#include "json/field_rules.hpp"
#include "json/json_write.hpp"
#include "json/reading_json.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/json/json_reader.hpp"

namespace ripplegauge {
namespace {

constexpr int schema = 1;
constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr TextRule any_text{.max_bytes =
                                16384};  // a path has up to 4096 bytes, each of which may grow to three
constexpr JsonLimits limits{.max_bytes = 64u << 20};  // an array of readings of a hail-damaged car

template <class T, class Struct>
concept Is = std::same_as<std::remove_const_t<T>, Struct>;

// The format, once for both directions: `fields` is a Writer or a Reader, and calls come in the order of the
// file.

template <class Fields, Is<Quantity> T>
void describe(Fields& fields, T& quantity) {
  fields("value", quantity.value);
  fields("low", quantity.low);
  fields("high", quantity.high);
}

template <class Fields, Is<PointMm> T>
void describe(Fields& fields, T& point) {
  fields("x_mm", point.x_mm);
  fields("y_mm", point.y_mm);
}

template <class Fields, Is<FlattenedLine> T>
void describe(Fields& fields, T& line) {
  fields("length_mm", line.length_mm);
  fields("depth_mm", line.depth_mm);
}

template <class Fields, Is<Dent> T>
void describe(Fields& fields, T& dent) {
  fields.choice("kind", dent.kind, {Kind::low, Kind::high});
  fields("x_mm", dent.x_mm);
  fields("y_mm", dent.y_mm);
  fields("diameter_mm", dent.diameter_mm);
  fields("length_mm", dent.length_mm);
  fields("width_mm", dent.width_mm);
  fields("half_diameter_mm", dent.half_diameter_mm);
  fields("angle_deg", dent.angle_deg);
  fields("depth_mm", dent.depth_mm);
  fields("max_slope_mrad", dent.max_slope_mrad);
  fields("min_radius_mm", dent.min_radius_mm);
  fields("bend_radius_mm", dent.bend_radius_mm);
  fields("volume_mm3", dent.volume_mm3);
  fields("stretch", dent.stretch);
  fields("agreement", dent.agreement);
  fields("inside_of", dent.inside_of);
  fields("flattened_line", dent.flattened_line);
  fields("panel_end_mm", dent.panel_end_mm);
  fields("severity", dent.severity);
  fields("severity_reason", dent.severity_reason);
  fields("notes", dent.notes);
  fields("outline_mm", dent.outline);
  fields("deepest", dent.deepest);
  fields("section_mm", dent.section);
  fields("cross_section_mm", dent.cross_section);
}

template <class Fields, Is<BudgetTerm> T>
void describe(Fields& fields, T& term) {
  fields("name", term.name);
  fields("diameter_percent", term.diameter_percent);
  fields("depth_percent", term.depth_percent);
  fields("note", term.note);
}

template <class Fields, Is<Refusal> T>
void describe(Fields& fields, T& refusal) {
  fields("code", refusal.code);
  fields("message", refusal.message);
  fields("remedy", refusal.remedy);
}

template <class Fields, Is<Warning> T>
void describe(Fields& fields, T& warning) {
  fields("code", warning.code);
  fields("message", warning.message);
}

template <class Fields, Is<PhotoInfo> T>
void describe(Fields& fields, T& info) {  // its name stands under "photo"
  fields("date_taken", info.date_taken);
  fields("sha256", info.sha256);
  fields("width_px", info.width_px);
  fields("height_px", info.height_px);
}

template <class Fields, Is<PhotoOfSet> T>
void describe(Fields& fields, T& of_set) {
  fields("photo", of_set.photo.name);
  fields("date_taken", of_set.photo.date_taken);
  fields("sha256", of_set.photo.sha256);
  fields("left_out", of_set.left_out);
}

template <class Fields, Is<JudgedArea> T>
void describe(Fields& fields, T& area) {
  fields("x0_mm", area.x0_mm);
  fields("y0_mm", area.y0_mm);
  fields("x1_mm", area.x1_mm);
  fields("y1_mm", area.y1_mm);
  fields("area_mm2", area.area_mm2);
  fields("cell_mm", area.cell_mm);
  fields("rows", area.rows);
  fields("share", area.share);
}

template <class Fields, Is<PixelOutline> T>
void describe(Fields& fields, T& outline) {
  fields("points_px", outline.points_px);
}

template <class Fields, Is<VisibleDent> T>
void describe(Fields& fields, T& dent) {
  fields("width_mm", dent.width_mm);
  fields("depth_mm", dent.depth_mm);
}

template <class Fields, Is<BodyLine> T>
void describe(Fields& fields, T& line) {
  fields("x_mm", line.x_mm);
  fields("y_mm", line.y_mm);
  fields("angle_deg", line.angle_deg);
  fields("turn_deg", line.turn_deg);
  fields("width_mm", line.width_mm);
}

template <class Fields, Is<Setup> T>
void describe(Fields& fields, T& setup) {
  fields("board_pitch_mm", setup.board_pitch_mm);
  fields("board_distance_given_mm", setup.board_distance_given_mm);
  fields("bar_length_mm", setup.bar_length_mm);
  fields("card_name", setup.card_name);
  fields("tags_found", setup.tags_found);
  fields("pixels_per_mm", setup.pixels_per_mm);
  fields("focal_px", setup.focal_px);
  fields("camera_distance_mm", setup.camera_distance_mm);
  fields("camera_tilt_deg", setup.camera_tilt_deg);
  fields("board_distance_mm", setup.board_distance_mm);
  fields("board_tilt_deg", setup.board_tilt_deg);
  fields("crown_x_per_m", setup.crown_x_per_m);
  fields("crown_y_per_m", setup.crown_y_per_m);
  fields("body_line", setup.body_line);
  fields("second_body_line", setup.second_body_line);
  fields("stripe_period_mm", setup.stripe_period_mm);
  fields("visible_slope_mrad", setup.visible_slope_mrad);
  fields("judged", setup.judged);
  fields("smallest_visible", setup.smallest_visible);
}

class Writer {
 public:
  template <class T>
  void operator()(const char* key, const T& value) {
    json_[key] = to_json(value);
  }
  template <class T>
  void operator()(const char* key, const std::optional<T>& value) {
    json_[key] = value ? to_json(*value) : OrderedJson(nullptr);
  }
  template <class T>
  void choice(const char* key, T value, std::initializer_list<T>) {
    json_[key] = to_string(value);
  }

  OrderedJson& json() { return json_; }

  template <class T>
  static OrderedJson object(const T& value) {
    Writer writer;
    describe(writer, value);
    return std::move(writer.json_);
  }

 private:
  static OrderedJson to_json(double value) { return json_number(value); }
  static OrderedJson to_json(int value) { return value; }
  static OrderedJson to_json(const std::string& value) { return without_control_characters(value); }
  static OrderedJson to_json(const Quantity& value) {
    return std::isfinite(value.value) ? object(value) : OrderedJson(nullptr);
  }
  static OrderedJson to_json(const std::vector<PointMm>& points) {
    OrderedJson array = OrderedJson::array();
    for (const PointMm& point : points) add_pair(array, point.x_mm, point.y_mm);
    return array;
  }
  static OrderedJson to_json(const std::vector<ProfilePoint>& points) {
    OrderedJson array = OrderedJson::array();
    for (const ProfilePoint& point : points) add_pair(array, point.along_mm, point.height_mm);
    return array;
  }
  static OrderedJson to_json(const std::vector<std::pair<double, double>>& points) {
    OrderedJson array = OrderedJson::array();
    for (const auto& [x, y] : points) add_pair(array, x, y);
    return array;
  }
  template <class T>
  static OrderedJson to_json(const std::vector<T>& values) {
    OrderedJson array = OrderedJson::array();
    for (const T& value : values) array.push_back(to_json(value));
    return array;
  }
  template <class T>
  static OrderedJson to_json(const T& value) {
    return object(value);
  }
  /// A point that was not measured is left out.
  static void add_pair(OrderedJson& array, double first, double second) {
    if (!std::isfinite(first) || !std::isfinite(second)) return;
    array.push_back(OrderedJson::array({json_number(first), json_number(second)}));
  }

  OrderedJson json_ = OrderedJson::object();
};

/// An absent key leaves what the struct's default says; null is NaN.
class Reader {
 public:
  explicit Reader(ObjectReader& object) : object_(object) {}

  void operator()(const char* key, double& value) {
    if (object_.has(key)) value = object_.optional<double>(key).value_or(nan);
  }
  void operator()(const char* key, int& value) {
    if (const auto given = object_.optional<int>(key)) value = *given;
  }
  void operator()(const char* key, std::string& value) {
    if (auto given = object_.optional<std::string>(key, any_text)) value = std::move(*given);
  }
  void operator()(const char* key, std::optional<double>& value) { value = object_.optional<double>(key); }
  void operator()(const char* key, std::optional<int>& value) { value = object_.optional<int>(key); }
  void operator()(const char* key, std::vector<std::string>& value) {
    value = object_.optional_list<std::string>(key, {}, any_text);
  }
  void operator()(const char* key, Quantity& value) {
    if (auto child = object_.optional_object(key)) value = quantity(key, *child);
  }
  void operator()(const char* key, std::optional<Quantity>& value) {
    if (auto child = object_.optional_object(key)) value = quantity(key, *child);
  }
  void operator()(const char* key, std::optional<JudgedArea>& value) {
    if (auto child = object_.optional_object(key)) value = object<JudgedArea>(*child);
  }
  void operator()(const char* key, std::optional<BodyLine>& value) {
    if (auto child = object_.optional_object(key)) value = object<BodyLine>(*child);
  }
  void operator()(const char* key, std::optional<FlattenedLine>& value) {
    if (auto child = object_.optional_object(key)) value = object<FlattenedLine>(*child);
  }
  void operator()(const char* key, std::optional<PointMm>& value) {
    if (auto child = object_.optional_object(key)) value = object<PointMm>(*child);
  }
  void operator()(const char* key, std::vector<VisibleDent>& dents) {
    for (ObjectReader& child : object_.optional_objects(key)) dents.push_back(object<VisibleDent>(child));
  }
  void operator()(const char* key, std::vector<std::pair<double, double>>& points) {
    points = object_.optional_pairs(key);
  }
  void operator()(const char* key, std::vector<PointMm>& points) {
    for (const auto& [x, y] : object_.optional_pairs(key)) points.push_back({x, y});
  }
  void operator()(const char* key, std::vector<ProfilePoint>& points) {
    for (const auto& [along, height] : object_.optional_pairs(key)) points.push_back({along, height});
  }
  template <class T>
  void choice(const char* key, T& value, std::initializer_list<T> all) {
    std::vector<std::string> words;
    for (const T option : all) words.emplace_back(to_string(option));
    const std::string word = object_.required_choice(key, words);
    for (const T option : all) {
      if (word == to_string(option)) value = option;
    }
  }

  template <class T>
  static T object(ObjectReader& object) {
    T value;
    Reader reader(object);
    describe(reader, value);
    object.finish();
    return value;
  }

 private:
  Quantity quantity(const char* key, ObjectReader& child) const {
    const Quantity value = object<Quantity>(child);
    if (value.low > value.value || value.value > value.high)
      object_.fail(key, "it must have low <= value <= high");
    return value;
  }

  ObjectReader& object_;
};

OrderedJson to_json(const Reading& reading) {
  Writer writer;
  writer("schema", schema);
  writer("photo", reading.photo.name);
  writer.choice("status", reading.status, {});
  if (reading.refusal) writer("refusal", *reading.refusal);
  OrderedJson dents = OrderedJson::array();
  for (std::size_t i = 0; i < reading.dents.size(); ++i) {
    Writer dent;
    describe(dent, reading.dents[i]);
    if (i < reading.outlines_px.size() && !reading.outlines_px[i].empty())
      dent("outline_px", reading.outlines_px[i]);
    if (i < reading.budgets.size() && !reading.budgets[i].empty()) dent("budget", reading.budgets[i]);
    dents.push_back(std::move(dent.json()));
  }
  writer.json()["dents"] = std::move(dents);
  writer("warnings", reading.warnings);
  writer("photo_info", reading.photo);
  writer("setup", reading.setup);
  if (!reading.body_line_px.empty()) writer("body_line_px", reading.body_line_px);
  if (!reading.second_body_line_px.empty()) writer("second_body_line_px", reading.second_body_line_px);
  if (!reading.judged_px.empty()) writer("judged_px", reading.judged_px);
  if (!reading.set.empty()) writer("set", reading.set);
  return std::move(writer.json());
}

void read_dents(ObjectReader& object, Reading& reading) {
  std::vector<ObjectReader> dents = object.required_objects("dents");
  for (std::size_t i = 0; i < dents.size(); ++i) {
    ObjectReader& dent = dents[i];
    for (const char* key : {"x_mm", "y_mm", "diameter_mm"}) dent.require(key);
    if (dent.has("outline_px")) {
      reading.outlines_px.resize(dents.size());
      reading.outlines_px[i] = dent.optional_pairs("outline_px");
    }
    if (dent.has("budget")) {
      reading.budgets.resize(dents.size());
      for (ObjectReader& term : dent.optional_objects("budget"))
        reading.budgets[i].push_back(Reader::object<BudgetTerm>(term));
    }
    reading.dents.push_back(Reader::object<Dent>(dent));
    const std::optional<int> outer = reading.dents.back().inside_of;
    if (outer && (*outer < 0 || *outer >= static_cast<int>(dents.size()) || *outer == static_cast<int>(i)))
      dent.fail("inside_of", "it must be the index of another dent in this file");
  }
}

/// A status that contradicts the rest would mislead every later step.
void check_status(const ObjectReader& object, const Reading& reading) {
  if (reading.status == Status::refused && !reading.refusal)
    object.fail("refusal", "a refused photo needs its reason");
  if (reading.status != Status::refused && reading.refusal)
    object.fail("refusal", "only a refused photo has one");
  if ((reading.status == Status::measured) != !reading.dents.empty())
    object.fail("dents", "a measured photo has at least one, any other has none");
}

Reading reading_from(ObjectReader& object) {
  Reading reading;
  object.require_schema(schema);
  Reader reader(object);
  reader.choice("status", reading.status, {Status::measured, Status::no_dent, Status::refused});
  if (auto info = object.optional_object("photo_info")) reading.photo = Reader::object<PhotoInfo>(*info);
  reading.photo.name = object.required<std::string>("photo", any_text);
  if (auto refusal = object.optional_object("refusal")) reading.refusal = Reader::object<Refusal>(*refusal);
  if (auto setup = object.optional_object("setup")) reading.setup = Reader::object<Setup>(*setup);
  reading.body_line_px = object.optional_pairs("body_line_px");
  reading.second_body_line_px = object.optional_pairs("second_body_line_px");
  for (ObjectReader& outline : object.optional_objects("judged_px"))
    reading.judged_px.push_back(Reader::object<PixelOutline>(outline));
  for (ObjectReader& photo : object.optional_objects("set"))
    reading.set.push_back(Reader::object<PhotoOfSet>(photo));
  for (ObjectReader& warning : object.optional_objects("warnings"))
    reading.warnings.push_back(Reader::object<Warning>(warning));
  read_dents(object, reading);
  object.finish();
  check_status(object, reading);
  return reading;
}

std::vector<Reading> readings_from(const JsonFile& file, const std::string& name) {
  std::vector<Reading> readings;
  for (ObjectReader& object : file.objects()) readings.push_back(reading_from(object));
  if (readings.empty()) throw FileError(name, "holds no reading; measure a photo first");
  return readings;
}

}  // namespace

std::string without_control_characters(const std::string& text) {
  std::string clean;
  for (const char c : text) {
    const bool control = (static_cast<unsigned char>(c) < 0x20 && c != '\n' && c != '\t') || c == 0x7f;
    if (control)
      clean += "\xef\xbf\xbd";  // U+FFFD, the replacement character
    else
      clean += c;
  }
  return clean;
}

OrderedJson json_of(const PhotoInfo& info) { return Writer::object(info); }
OrderedJson json_of(const Refusal& refusal) { return Writer::object(refusal); }
OrderedJson json_of(const Warning& warning) { return Writer::object(warning); }
OrderedJson json_of(const Setup& setup) { return Writer::object(setup); }

std::string reading_to_json(const Reading& reading) { return json_text(to_json(reading)); }

std::string reading_list_to_json(const std::vector<Reading>& readings) {
  OrderedJson array = OrderedJson::array();
  for (const Reading& reading : readings) array.push_back(to_json(reading));
  return json_text(array);
}

std::string readings_to_json(const std::vector<Reading>& readings) {
  return readings.size() == 1 ? reading_to_json(readings.front()) : reading_list_to_json(readings);
}

namespace {

/// By its first bytes: JPEG (ITU-T T.81, B.1.1.3), PNG (ISO/IEC 15948, 5.2) or HEIF (ISO/IEC 14496-12, 4.3).
bool is_photo(const std::filesystem::path& file) {
  std::error_code unreadable;
  if (!std::filesystem::is_regular_file(file, unreadable)) return false;  // a pipe can be read only once
  std::string head(8, '\0');
  std::ifstream(file, std::ios::binary).read(head.data(), static_cast<std::streamsize>(head.size()));
  return head.starts_with("\xff\xd8\xff") || head.starts_with("\x89PNG") || head.ends_with("ftyp");
}

}  // namespace

std::vector<Reading> read_readings(const std::filesystem::path& file) {
  if (is_photo(file)) throw PhotoForReading(file.string());
  return readings_from(JsonFile::read(file, limits), file.string());
}

std::optional<std::vector<PanelReadings>> read_vehicle(const std::filesystem::path& file) {
  if (is_photo(file)) throw PhotoForReading(file.string());
  std::vector<ObjectReader> objects = JsonFile::read(file, limits).objects();
  if (objects.size() != 1 || !objects.front().has("panels")) return std::nullopt;
  ObjectReader& vehicle = objects.front();
  vehicle.require_schema(1);
  vehicle.optional<std::string>("vehicle", label_rule);  // for the reader of the file
  const TextRule panel_name{.min_bytes = 1, .max_bytes = 200, .one_line = true};
  std::vector<PanelReadings> panels;
  for (ObjectReader& panel : vehicle.required_objects("panels", {.min = 1})) {
    panels.push_back({panel.required<std::string>("panel", panel_name), {}});
    for (ObjectReader& reading : panel.required_objects("readings"))
      panels.back().readings.push_back(reading_from(reading));
    panel.finish();
  }
  vehicle.finish();
  return panels;
}

Reading reading_from_object(ObjectReader& object) { return reading_from(object); }

std::vector<Reading> readings_from_json(std::string_view text, const std::string& name) {
  return readings_from(JsonFile::parse(text, name, limits), name);
}

}  // namespace ripplegauge
