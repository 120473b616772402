// The one way in which this program reads JSON: strictly. A file is data from somebody's disk, so anything
// may stand in it; whatever is wrong ends in a FileError that names file, key, value and rule, and never in a
// crash or a guess.
//
//   const JsonFile file = JsonFile::read("board.json");
//   ObjectReader board = file.object();
//   board.require_schema(1);
//   const double pitch_mm = board.required<double>("pitch_mm", above(0));
//   const auto name = board.optional<std::string>("name");
//   for (ObjectReader& tag : board.required_objects("tags")) {
//     const int id = tag.required<int>("id", between(0, 586));  // an error says: key "tags[3].id" is -4, but
//     ... tag.finish();
//   }
//   board.finish();                                             // refuses every key that nobody asked for
#pragma once

#include <cstddef>
#include <filesystem>
#include <limits>
#include <memory>
#include <nlohmann/json_fwd.hpp>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace ripplegauge {

struct JsonLimits {
  std::size_t max_bytes = 8u << 20;  ///< a reading with fifty dents has about half a megabyte
  int max_depth = 24;                ///< our deepest format nests 6 levels
  /// In memory an empty object takes seventy times the three bytes that it takes in a file: of a file of
  /// max_bytes no more objects and arrays are built than if each had as many bytes. Ours have a hundred.
  static constexpr std::size_t fewest_bytes_a_container = 24;
};

/// Which numbers are allowed.
struct NumberRule {
  double low = -std::numeric_limits<double>::infinity();
  double high = std::numeric_limits<double>::infinity();
  bool low_allowed = true;  ///< false: the number must be above `low`
};
NumberRule at_least(double low);
NumberRule above(double low);
NumberRule between(double low, double high);

/// Which strings are allowed, in bytes of UTF-8. Control characters, but for line feed and tab, never are.
struct TextRule {
  std::size_t min_bytes = 0, max_bytes = 2000;
  bool one_line = false;  ///< neither line feed nor tab, so that a name cannot make up lines of output
};

/// How many elements an array may have.
struct CountRule {
  std::size_t min = 0, max = 100000;
};

struct NoRule {};

namespace detail {
template <class T>
struct RuleOf;
template <>
struct RuleOf<double> {
  using type = NumberRule;
};
template <>
struct RuleOf<int> {
  using type = NumberRule;
};
template <>
struct RuleOf<std::string> {
  using type = TextRule;
};
template <>
struct RuleOf<bool> {
  using type = NoRule;
};
}  // namespace detail

/// T is double, int, std::string or bool.
template <class T>
using JsonRule = typename detail::RuleOf<T>::type;

/// One JSON object, read key by key. An optional key that is null counts as absent.
class ObjectReader {
 public:
  template <class T>
  T required(std::string_view key, const JsonRule<T>& rule = {});
  template <class T>
  std::optional<T> optional(std::string_view key, const JsonRule<T>& rule = {});

  /// Whether the key stands there, if only with null.
  bool has(std::string_view key);
  /// Refuses an absent key; null is allowed.
  void require(std::string_view key) { get(key); }

  /// One of a few words.
  std::string required_choice(std::string_view key, const std::vector<std::string>& choices);
  std::optional<std::string> optional_choice(std::string_view key, const std::vector<std::string>& choices);

  /// An array of plain values.
  template <class T>
  std::vector<T> required_list(std::string_view key, CountRule count = {}, const JsonRule<T>& rule = {});
  template <class T>
  std::vector<T> optional_list(std::string_view key, CountRule count = {}, const JsonRule<T>& rule = {});

  /// An array of points: pairs of numbers.
  std::vector<std::pair<double, double>> optional_pairs(std::string_view key, CountRule count = {});

  ObjectReader required_object(std::string_view key);
  std::optional<ObjectReader> optional_object(std::string_view key);

  /// An array of objects.
  std::vector<ObjectReader> required_objects(std::string_view key, CountRule count = {});
  std::vector<ObjectReader> optional_objects(std::string_view key, CountRule count = {});

  /// All keys in alphabetical order, for an object whose keys are names rather than fixed words.
  std::vector<std::string> keys() const;

  /// The key "schema" must be this number: a file of another version means something else.
  void require_schema(int number);

  /// Refuses every key that has not been asked for, by name.
  void finish() const;

  /// For rules between values: throws a ConfigError that shows the key's value.
  [[noreturn]] void fail(std::string_view key, const std::string& rule) const;

  const std::string& file() const { return file_; }

 private:
  friend class JsonFile;
  using Value = std::shared_ptr<const nlohmann::json>;

  ObjectReader(std::string file, std::string path, Value object);
  const nlohmann::json* find(std::string_view key);
  const nlohmann::json& get(std::string_view key);
  std::string path_of(std::string_view key) const;
  [[noreturn]] void fail_at(const std::string& path, const nlohmann::json& value,
                            const std::string& rule) const;
  template <class T>
  T convert(const nlohmann::json& value, const std::string& path, const JsonRule<T>& rule) const;
  template <class T>
  std::vector<T> convert_list(const nlohmann::json& value, const std::string& path, CountRule count,
                              const JsonRule<T>& rule) const;
  std::string convert_choice(const nlohmann::json& value, const std::string& path,
                             const std::vector<std::string>& choices) const;
  ObjectReader child(const nlohmann::json& value, const std::string& path) const;
  std::vector<ObjectReader> children(const nlohmann::json& value, const std::string& path,
                                     CountRule count) const;
  void require_array(const nlohmann::json& value, const std::string& path, CountRule count) const;

  std::string file_;
  std::string path_;  ///< empty for the outermost object
  Value object_;
  std::set<std::string, std::less<>> asked_;
};

/// A whole JSON file: checked for size, encoding, syntax, depth and keys that stand twice.
class JsonFile {
 public:
  static JsonFile read(const std::filesystem::path& file, const JsonLimits& limits = {});
  /// `name` stands for the file in error messages.
  static JsonFile parse(std::string_view text, const std::string& name, const JsonLimits& limits = {});

  /// The outermost object; an array is refused.
  ObjectReader object() const;
  /// The outermost object, or the objects of the outermost array.
  std::vector<ObjectReader> objects() const;

 private:
  JsonFile(std::string name, ObjectReader::Value root) : name_(std::move(name)), root_(std::move(root)) {}

  std::string name_;
  ObjectReader::Value root_;
};

}  // namespace ripplegauge
