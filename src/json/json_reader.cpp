// Strict reading of JSON on top of a parser: bounded in bytes, depth and objects, keys once, and each value
// asked for with its rule.
#include "ripplegauge/json/json_reader.hpp"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>
#include <sstream>

#include "core/joined.hpp"
#include "json/read_bytes.hpp"
#include "json/shown.hpp"
#include "ripplegauge/core/errors.hpp"

namespace ripplegauge {
namespace {

using nlohmann::json;

std::string shown_json(const json& value) {
  if (value.is_object()) return value.empty() ? "{}" : "an object";
  if (value.is_array()) return "an array of " + std::to_string(value.size());
  return shown(value.dump());
}

std::string number_text(double value) {
  std::ostringstream out;
  out.imbue(std::locale::classic());
  out.precision(12);
  out << value;
  return out.str();
}

std::string element(const std::string& path, std::size_t index) {
  return path + "[" + std::to_string(index) + "]";
}

/// Builds the value and refuses what the grammar allows but nobody means: a key twice, endless nesting.
class Builder : public json::json_sax_t {
 public:
  Builder(const std::string& file, std::string_view text, const JsonLimits& limits)
      : file_(file), text_(text), limits_(limits) {}
  json take() { return std::move(root_); }

  bool null() override { return add(nullptr); }
  bool boolean(bool value) override { return add(value); }
  bool number_integer(number_integer_t value) override { return add(value); }
  bool number_unsigned(number_unsigned_t value) override { return add(value); }
  bool number_float(number_float_t value, const string_t&) override { return add(value); }
  bool string(string_t& value) override { return add(std::move(value)); }
  bool binary(binary_t&) override { return false; }
  bool start_object(std::size_t) override { return open(json::object()); }
  bool start_array(std::size_t) override { return open(json::array()); }
  bool end_object() override { return close(); }
  bool end_array() override { return close(); }

  bool key(string_t& name) override {
    if (open_.back()->contains(name)) {
      throw FileError(file_,
                      "key \"" + shown(path() + name) + "\" stands twice in one object; remove one of them");
    }
    key_ = std::move(name);
    return true;
  }

  bool parse_error(std::size_t position, const std::string&,
                   const nlohmann::detail::exception& error) override {
    throw FileError(file_, "is not valid JSON at " + place(position) + ": " + detail_of(error.what()));
  }

 private:
  bool add(json value) {
    put(std::move(value));
    return true;
  }

  json* put(json value) {
    if (open_.empty()) {
      root_ = std::move(value);
      return &root_;
    }
    json& parent = *open_.back();
    if (parent.is_array()) {
      parent.push_back(std::move(value));
      return &parent.back();
    }
    return &(parent[key_] = std::move(value));
  }

  bool open(json container) {
    if (static_cast<int>(open_.size()) >= limits_.max_depth) {
      throw FileError(file_, "is nested more than " + std::to_string(limits_.max_depth) +
                                 " levels deep; this cannot be the right file");
    }
    if (++containers_ > limits_.max_bytes / JsonLimits::fewest_bytes_a_container)
      throw FileError(file_, "has more than " + std::to_string(containers_ - 1) +
                                 " objects and arrays; this cannot be the right file");
    names_.push_back(key_);
    open_.push_back(put(std::move(container)));
    return true;
  }

  bool close() {
    open_.pop_back();
    names_.pop_back();
    return true;
  }

  /// Of the innermost open object, ready for a key to follow.
  std::string path() const {
    std::string text;
    for (std::size_t i = 1; i < open_.size(); ++i) {
      const json& parent = *open_[i - 1];
      if (parent.is_array())
        text = element(text, parent.size() - 1);
      else
        text += (text.empty() ? "" : ".") + names_[i];
    }
    return text.empty() ? text : text + ".";
  }

  std::string place(std::size_t position) const {
    const std::string_view before = text_.substr(0, position > 0 ? position - 1 : 0);
    const auto line = std::count(before.begin(), before.end(), '\n') + 1;
    const std::size_t column = before.size() - (before.rfind('\n') + 1) + 1;  // npos + 1 is 0
    return "line " + std::to_string(line) + ", column " + std::to_string(column);
  }

  /// The library's own message without its prefix; what it quotes from the file may be no UTF-8.
  static std::string detail_of(std::string message) {
    for (const char* start : {"syntax error", "number overflow"}) {
      if (const auto at = message.find(start); at != std::string::npos) message.erase(0, at);
    }
    for (char& c : message) {
      if (is_control(c) || static_cast<unsigned char>(c) >= 0x80) c = '?';
    }
    constexpr std::size_t max_bytes = 200;
    return message.size() > max_bytes ? message.substr(0, max_bytes) + "..." : message;
  }

  const std::string& file_;
  std::string_view text_;
  const JsonLimits& limits_;
  std::size_t containers_ = 0;
  json root_;
  std::vector<json*> open_;
  std::vector<std::string> names_;  ///< the key each open container stands under; unused below an array
  std::string key_;
};

void refuse_other_encodings(std::string_view text, const std::string& file) {
  const bool starts_like_utf16 =
      text.size() >= 2 && (text[0] == '\0' || text[1] == '\0' || text[0] == '\xff' || text[0] == '\xfe');
  if (starts_like_utf16) throw FileError(file, "is not UTF-8 text; save it with the encoding UTF-8");
}

std::string rule_text(const NumberRule& rule, bool whole) {
  std::string kind = whole ? "it must be a whole number" : "it must be a number";
  const bool has_low = std::isfinite(rule.low), has_high = std::isfinite(rule.high);
  if (has_low && has_high) {
    return kind + (rule.low_allowed ? " from " : " above ") + number_text(rule.low) +
           (rule.low_allowed ? " to " : " and up to ") + number_text(rule.high);
  }
  if (has_low) return kind + (rule.low_allowed ? " of at least " : " above ") + number_text(rule.low);
  if (has_high) return kind + " of at most " + number_text(rule.high);
  return kind;
}

bool allowed(double value, const NumberRule& rule) {
  return (rule.low_allowed ? value >= rule.low : value > rule.low) && value <= rule.high;
}

}  // namespace

NumberRule at_least(double low) { return {.low = low}; }
NumberRule above(double low) { return {.low = low, .low_allowed = false}; }
NumberRule between(double low, double high) { return {.low = low, .high = high}; }

ObjectReader::ObjectReader(std::string file, std::string path, Value object)
    : file_(std::move(file)), path_(std::move(path)), object_(std::move(object)) {}

std::string ObjectReader::path_of(std::string_view key) const {
  return path_.empty() ? std::string(key) : path_ + "." + std::string(key);
}

void ObjectReader::fail_at(const std::string& path, const json& value, const std::string& rule) const {
  throw ConfigError(file_, shown(path), shown_json(value), rule);
}

void ObjectReader::fail(std::string_view key, const std::string& rule) const {
  const auto found = object_->find(std::string(key));
  if (found == object_->end()) throw ConfigError(file_, shown(path_of(key)), "missing", rule);
  fail_at(path_of(key), *found, rule);
}

const json* ObjectReader::find(std::string_view key) {
  asked_.emplace(key);
  const auto found = object_->find(std::string(key));
  return found == object_->end() || found->is_null() ? nullptr : &*found;
}

const json& ObjectReader::get(std::string_view key) {
  asked_.emplace(key);
  const auto found = object_->find(std::string(key));
  if (found == object_->end()) throw ConfigError(file_, shown(path_of(key)), "missing", "it is required");
  return *found;
}

template <>
double ObjectReader::convert<double>(const json& value, const std::string& path,
                                     const NumberRule& rule) const {
  if (!value.is_number() || !allowed(value.get<double>(), rule)) fail_at(path, value, rule_text(rule, false));
  return value.get<double>();
}

template <>
int ObjectReader::convert<int>(const json& value, const std::string& path, const NumberRule& rule) const {
  using Limits = std::numeric_limits<int>;
  const double number = value.is_number() ? value.get<double>() : std::numeric_limits<double>::quiet_NaN();
  if (!(number >= Limits::min() && number <= Limits::max() && number == std::floor(number)) ||
      !allowed(number, rule)) {
    fail_at(path, value, rule_text(rule, true));
  }
  return static_cast<int>(number);
}

template <>
bool ObjectReader::convert<bool>(const json& value, const std::string& path, const NoRule&) const {
  if (!value.is_boolean()) fail_at(path, value, "it must be true or false");
  return value.get<bool>();
}

template <>
std::string ObjectReader::convert<std::string>(const json& value, const std::string& path,
                                               const TextRule& rule) const {
  if (!value.is_string()) fail_at(path, value, "it must be a text in quotes");
  const auto& text = value.get_ref<const std::string&>();
  if (text.size() < rule.min_bytes) fail_at(path, value, "it must not be empty");
  if (text.size() > rule.max_bytes)
    fail_at(path, value, "it must not be longer than " + std::to_string(rule.max_bytes) + " bytes");
  const auto forbidden = [&](char c) { return is_control(c) && (rule.one_line || (c != '\n' && c != '\t')); };
  if (std::any_of(text.begin(), text.end(), forbidden))
    fail_at(path, value,
            rule.one_line ? "it must be one line without control characters"
                          : "control characters are not allowed");
  return text;
}

bool ObjectReader::has(std::string_view key) {
  asked_.emplace(key);
  return object_->contains(std::string(key));
}

template <class T>
T ObjectReader::required(std::string_view key, const JsonRule<T>& rule) {
  return convert<T>(get(key), path_of(key), rule);
}

template <class T>
std::optional<T> ObjectReader::optional(std::string_view key, const JsonRule<T>& rule) {
  const json* value = find(key);
  return value == nullptr ? std::nullopt : std::optional<T>(convert<T>(*value, path_of(key), rule));
}

std::string ObjectReader::convert_choice(const json& value, const std::string& path,
                                         const std::vector<std::string>& choices) const {
  const auto fits = [&value](const std::string& choice) { return value == choice; };
  if (std::none_of(choices.begin(), choices.end(), fits))
    fail_at(path, value, "it must be one of: " + joined(choices));
  return value.get<std::string>();
}

std::string ObjectReader::required_choice(std::string_view key, const std::vector<std::string>& choices) {
  return convert_choice(get(key), path_of(key), choices);
}

std::optional<std::string> ObjectReader::optional_choice(std::string_view key,
                                                         const std::vector<std::string>& choices) {
  const json* value = find(key);
  return value == nullptr ? std::nullopt : std::optional(convert_choice(*value, path_of(key), choices));
}

void ObjectReader::require_array(const json& value, const std::string& path, CountRule count) const {
  if (!value.is_array()) fail_at(path, value, "it must be an array");
  if (value.size() < count.min) fail_at(path, value, "it must have at least " + std::to_string(count.min));
  if (value.size() > count.max) fail_at(path, value, "it must have at most " + std::to_string(count.max));
}

template <class T>
std::vector<T> ObjectReader::convert_list(const json& value, const std::string& path, CountRule count,
                                          const JsonRule<T>& rule) const {
  require_array(value, path, count);
  std::vector<T> list;
  list.reserve(value.size());
  for (const json& item : value) list.push_back(convert<T>(item, element(path, list.size()), rule));
  return list;
}

template <class T>
std::vector<T> ObjectReader::required_list(std::string_view key, CountRule count, const JsonRule<T>& rule) {
  return convert_list<T>(get(key), path_of(key), count, rule);
}

template <class T>
std::vector<T> ObjectReader::optional_list(std::string_view key, CountRule count, const JsonRule<T>& rule) {
  const json* value = find(key);
  return value == nullptr ? std::vector<T>{} : convert_list<T>(*value, path_of(key), count, rule);
}

std::vector<std::pair<double, double>> ObjectReader::optional_pairs(std::string_view key, CountRule count) {
  std::vector<std::pair<double, double>> pairs;
  const json* value = find(key);
  if (value == nullptr) return pairs;
  require_array(*value, path_of(key), count);
  pairs.reserve(value->size());
  for (const json& item : *value) {
    const std::string path = element(path_of(key), pairs.size());
    if (!item.is_array() || item.size() != 2) fail_at(path, item, "it must be a pair of numbers");
    pairs.emplace_back(convert<double>(item[0], element(path, 0), {}),
                       convert<double>(item[1], element(path, 1), {}));
  }
  return pairs;
}

ObjectReader ObjectReader::child(const json& value, const std::string& path) const {
  if (!value.is_object()) fail_at(path, value, "it must be an object in braces");
  return {file_, path, Value(object_, &value)};
}

std::vector<ObjectReader> ObjectReader::children(const json& value, const std::string& path,
                                                 CountRule count) const {
  require_array(value, path, count);
  std::vector<ObjectReader> readers;
  readers.reserve(value.size());
  for (const json& item : value) readers.push_back(child(item, element(path, readers.size())));
  return readers;
}

ObjectReader ObjectReader::required_object(std::string_view key) { return child(get(key), path_of(key)); }

std::optional<ObjectReader> ObjectReader::optional_object(std::string_view key) {
  const json* value = find(key);
  return value == nullptr ? std::nullopt : std::optional(child(*value, path_of(key)));
}

std::vector<ObjectReader> ObjectReader::required_objects(std::string_view key, CountRule count) {
  return children(get(key), path_of(key), count);
}

std::vector<ObjectReader> ObjectReader::optional_objects(std::string_view key, CountRule count) {
  const json* value = find(key);
  return value == nullptr ? std::vector<ObjectReader>{} : children(*value, path_of(key), count);
}

std::vector<std::string> ObjectReader::keys() const {
  std::vector<std::string> names;
  for (const auto& item : object_->items()) names.push_back(item.key());
  return names;
}

void ObjectReader::require_schema(int number) {
  asked_.insert("program");  // which version wrote it: for people, whatever it says
  const std::string rule = "this program reads schema " + std::to_string(number);
  const json& value = get("schema");
  if (!value.is_number_integer() || value != number) fail_at(path_of("schema"), value, rule);
}

void ObjectReader::finish() const {
  for (const std::string& key : keys()) {
    if (asked_.contains(key)) continue;
    throw ConfigError(file_, shown(path_of(key)), "unknown",
                      "only these may stand here: " + joined({asked_.begin(), asked_.end()}));
  }
}

JsonFile JsonFile::read(const std::filesystem::path& file, const JsonLimits& limits) {
  return parse(read_bytes(file, limits.max_bytes), file.string(), limits);
}

JsonFile JsonFile::parse(std::string_view text, const std::string& name, const JsonLimits& limits) {
  if (text.size() > limits.max_bytes)
    throw FileError(
        name, "is larger than " + std::to_string(limits.max_bytes) + " bytes; this cannot be the right file");
  if (text.find_first_not_of(" \t\r\n") == std::string_view::npos)
    throw FileError(name, "is empty; it must hold JSON");
  refuse_other_encodings(text, name);
  Builder builder(name, text, limits);
  json::sax_parse(text.begin(), text.end(), &builder);
  return {name, std::make_shared<const json>(builder.take())};
}

ObjectReader JsonFile::object() const {
  if (!root_->is_object())
    throw FileError(name_, "holds " + shown_json(*root_) + "; it must hold one object in braces");
  return {name_, "", root_};
}

std::vector<ObjectReader> JsonFile::objects() const {
  if (!root_->is_array()) return {object()};
  std::vector<ObjectReader> readers;
  readers.reserve(root_->size());
  for (const json& item : *root_) {
    const std::string path = element("", readers.size());
    if (!item.is_object()) throw ConfigError(name_, path, shown_json(item), "it must be an object in braces");
    readers.push_back({name_, path, ObjectReader::Value(root_, &item)});
  }
  return readers;
}

#define RIPPLEGAUGE_JSON_TYPE(T)                                                                           \
  template T ObjectReader::required<T>(std::string_view, const JsonRule<T>&);                              \
  template std::optional<T> ObjectReader::optional<T>(std::string_view, const JsonRule<T>&);               \
  template std::vector<T> ObjectReader::required_list<T>(std::string_view, CountRule, const JsonRule<T>&); \
  template std::vector<T> ObjectReader::optional_list<T>(std::string_view, CountRule, const JsonRule<T>&);
RIPPLEGAUGE_JSON_TYPE(double)
RIPPLEGAUGE_JSON_TYPE(int)
RIPPLEGAUGE_JSON_TYPE(bool)
RIPPLEGAUGE_JSON_TYPE(std::string)
#undef RIPPLEGAUGE_JSON_TYPE

}  // namespace ripplegauge
