#include "ripplegauge/json/json_reader.hpp"

#include <random>

#include "catch.hpp"
#include "ripplegauge/core/errors.hpp"
#include "scratch_folder.hpp"

using namespace ripplegauge;
using Catch::Matchers::ContainsSubstring;

namespace {

ObjectReader object_of(const std::string& text) { return JsonFile::parse(text, "test.json").object(); }

std::string parse_message(const std::string& text, const JsonLimits& limits = {}) {
  return message_of<FileError>([&] { JsonFile::parse(text, "test.json", limits); });
}

}  // namespace

TEST_CASE("values of the right kind are read", "[json_reader]") {
  ObjectReader object = object_of(R"({"d": 1.5, "i": 40, "f": 3.0, "s": "grün", "b": true, "n": null,
                                      "l": [1, 2.5], "o": {"x": 1}, "a": [{"x": 1}, {"x": 2}], "w": "low"})");
  CHECK(object.required<double>("d") == 1.5);
  CHECK(object.required<double>("i") == 40.0);
  CHECK(object.required<int>("i") == 40);
  CHECK(object.required<int>("f") == 3);  // other programs write whole numbers with a point
  CHECK(object.required<std::string>("s") == "grün");
  CHECK(object.required<bool>("b"));
  CHECK(object.optional<double>("n") == std::nullopt);
  CHECK(object.optional<double>("absent") == std::nullopt);
  CHECK(object.required_list<double>("l") == std::vector<double>{1, 2.5});
  CHECK(object.required_object("o").required<int>("x") == 1);
  CHECK(object.required_choice("w", {"low", "high"}) == "low");
  std::vector<ObjectReader> children = object.required_objects("a");
  REQUIRE(children.size() == 2);
  CHECK(children[1].required<int>("x") == 2);
  CHECK_NOTHROW(object.finish());
  CHECK_THROWS_AS(children[0].finish(), ConfigError);
}

TEST_CASE("a child outlives the file and its parent", "[json_reader]") {
  std::optional<ObjectReader> child = object_of(R"({"o": {"x": 7}})").optional_object("o");
  REQUIRE(child);
  CHECK(child->required<int>("x") == 7);
}

TEST_CASE("errors name file, key, value and rule", "[json_reader]") {
  ObjectReader object = object_of(R"({"tags": [{"x_mm": 1}, {"x_mm": "left", "id": 1.5, "side_mm": 0}],
                                      "name": "a\u0007b", "kind": "lwo", "huge": 4e9, "n": null,
                                      "list": [1, "two"]})");
  std::vector<ObjectReader> tags = object.required_objects("tags");
  REQUIRE(tags.size() == 2);
  const auto message = [](auto&& action) { return message_of<ConfigError>(action); };

  CHECK(message([&] { tags[1].required<double>("x_mm"); }) ==
        "test.json: key \"tags[1].x_mm\" is \"left\", but it must be a number");
  CHECK(message([&] { tags[1].required<double>("side_mm", above(0)); }) ==
        "test.json: key \"tags[1].side_mm\" is 0, but it must be a number above 0");
  CHECK(message([&] { tags[1].required<int>("id", between(0, 586)); }) ==
        "test.json: key \"tags[1].id\" is 1.5, but it must be a whole number from 0 to 586");
  CHECK(message([&] { tags[0].required<int>("id"); }) ==
        "test.json: key \"tags[0].id\" is missing, but it is required");
  CHECK(message([&] { object.required<int>("huge"); }) ==
        "test.json: key \"huge\" is 4000000000.0, but it must be a whole number");
  CHECK_THAT(message([&] { object.required<std::string>("name"); }), ContainsSubstring("control characters"));
  CHECK_THAT(message([&] {
               object.required_choice("kind", {"low", "high"});
             }),
             ContainsSubstring("\"lwo\"") && ContainsSubstring("one of: low, high"));
  CHECK_THAT(message([&] { object.required<double>("n"); }),
             ContainsSubstring("null") && ContainsSubstring("a number"));
  CHECK_THAT(message([&] { object.required_list<double>("list"); }), ContainsSubstring("list[1]"));
  CHECK_THAT(message([&] { object.required_objects("list"); }),
             ContainsSubstring("list[0]") && ContainsSubstring("in braces"));
  CHECK_THAT(message([&] { object.required_objects("tags", {.min = 3}); }),
             ContainsSubstring("an array of 2"));
  CHECK_THAT(message([&] { object.required_object("kind"); }), ContainsSubstring("in braces"));
  CHECK_THAT(message([&] { object.require_schema(1); }),
             ContainsSubstring("schema") && ContainsSubstring("missing"));
  CHECK_THAT(message([&] { object.fail("kind", "it must suit"); }),
             ContainsSubstring("\"lwo\", but it must suit"));
}

TEST_CASE("keys that nobody asked for are refused by name", "[json_reader]") {
  ObjectReader object = object_of(R"({"pitch_mm": 16, "pich": 3})");
  object.required<double>("pitch_mm");
  object.optional<std::string>("name");
  CHECK(message_of<ConfigError>([&] { object.finish(); }) ==
        "test.json: key \"pich\" is unknown, but only these may stand here: name, pitch_mm");
}

TEST_CASE("a schema of another number is refused", "[json_reader]") {
  for (const char* value : {"2", "1.5", "\"1\"", "null", "[1]"}) {
    ObjectReader object = object_of(std::string("{\"schema\": ") + value + "}");
    CHECK_THROWS_AS(object.require_schema(1), ConfigError);
  }
  ObjectReader object = object_of(R"({"schema": 1})");
  CHECK_NOTHROW(object.require_schema(1));
  CHECK_NOTHROW(object.finish());
}

TEST_CASE("an array of objects can be read as well as a single one", "[json_reader]") {
  std::vector<ObjectReader> one = JsonFile::parse(R"({"x": 1})", "f").objects();
  std::vector<ObjectReader> two = JsonFile::parse(R"([{"x": 1}, {"x": "b"}])", "f").objects();
  CHECK(one.size() == 1);
  REQUIRE(two.size() == 2);
  CHECK_THAT(message_of<ConfigError>([&] { two[1].required<int>("x"); }), ContainsSubstring("\"[1].x\""));
  CHECK_THROWS_AS(JsonFile::parse("[1]", "f").objects(), ConfigError);
  CHECK_THROWS_AS(JsonFile::parse("[]", "f").object(), FileError);
  CHECK_THROWS_AS(JsonFile::parse("3", "f").objects(), FileError);
}

TEST_CASE("text that is no JSON is refused with its place", "[json_reader]") {
  CHECK_THAT(parse_message(""), ContainsSubstring("is empty"));
  CHECK_THAT(parse_message(" \n "), ContainsSubstring("is empty"));
  CHECK_THAT(parse_message("{\n  \"a\": 1,\n}"), ContainsSubstring("line 3, column 1"));
  CHECK_THAT(parse_message("{\"a\": NaN}"), ContainsSubstring("line 1"));
  CHECK_THAT(parse_message("{\"a\": Infinity}"), ContainsSubstring("line 1"));
  CHECK_THAT(parse_message("{\"a\": 1e999}"), ContainsSubstring("overflow"));
  CHECK_THAT(parse_message("{\"a\": \"\xff\xfe\"}"), ContainsSubstring("UTF-8"));
  CHECK_THAT(parse_message(std::string("{\0\"\0a\0", 6)), ContainsSubstring("UTF-8"));
  CHECK_THAT(parse_message("{} trailing"), ContainsSubstring("line 1"));
  CHECK_THAT(parse_message("\x89PNG\r\n\x1a\n"), ContainsSubstring("not valid JSON"));
  CHECK(parse_message("\xef\xbb\xbf{}").empty());  // some editors set a byte order mark
}

TEST_CASE("a key that stands twice is refused with its path", "[json_reader]") {
  CHECK_THAT(parse_message(R"({"a": 1, "a": 2})"), ContainsSubstring("\"a\" stands twice"));
  CHECK_THAT(parse_message(R"({"tags": [{"id": 1}, {"id": 1, "id": 2}]})"),
             ContainsSubstring("\"tags[1].id\" stands twice"));
  CHECK_THAT(parse_message(R"({"o": {"p": {"a": [[{"q": 1, "q": 1}]]}}})"),
             ContainsSubstring("\"o.p.a[0][0].q\""));
  CHECK(parse_message(R"({"a": {"x": 1}, "b": {"x": 1}, "c": [{"x": 1}, {"x": 1}]})").empty());
}

TEST_CASE("more objects than a file of ours can hold are refused before they fill the memory",
          "[json_reader]") {
  std::string many = "[{}";
  for (int i = 0; i < 1000; ++i) many += ",{}";
  CHECK_THAT(parse_message(many + "]", {.max_bytes = 20'000}), ContainsSubstring("objects and arrays"));
  CHECK(parse_message(many + "]", {.max_bytes = 30'000}).empty());
}

TEST_CASE("deep nesting and large files are refused", "[json_reader]") {
  for (const char* bracket : {"[", "{\"a\":"}) {
    std::string text;
    for (int i = 0; i < 100000; ++i) text += bracket;
    CHECK_THAT(parse_message(text), ContainsSubstring("nested"));
  }
  CHECK_THAT(parse_message("{\"a\": \"" + std::string(2000, 'x') + "\"}", {.max_bytes = 1000}),
             ContainsSubstring("larger"));

  const ScratchFolder folder;
  const auto large = folder.write("large.json", std::string(2000, ' '));
  CHECK_THAT(message_of<FileError>([&] { JsonFile::read(large, {.max_bytes = 1000}); }),
             ContainsSubstring("large.json") && ContainsSubstring("larger"));
  CHECK_THAT(message_of<FileError>([&] { JsonFile::read(folder / "none.json"); }),
             ContainsSubstring("no such file"));
  CHECK_THAT(message_of<FileError>([&] { JsonFile::read(folder.path()); }), ContainsSubstring("is a folder"));
}

TEST_CASE("messages stay short and printable whatever the file holds", "[json_reader]") {
  ObjectReader object = object_of("{\"" + std::string(3000, 'k') + "\": 1, \"v\": \"" +
                                  std::string(500, 'v') + "\\u001b[31m\"}");
  CHECK(message_of<ConfigError>([&] { object.required<double>("v"); }).size() < 300);
  const std::string message = message_of<ConfigError>([&] { object.finish(); });
  CHECK(!message.empty());
  CHECK(message.size() < 300);
}

TEST_CASE("damaged text never crashes the reader", "[json_reader]") {
  const std::string good =
      R"({"schema": 1, "name": "Brett", "pitch_mm": 16.5, "tags": [{"id": 40, "x_mm": -2e2}]})";
  std::mt19937 random(1);
  int refused = 0;
  constexpr int tries = 3000;
  for (int i = 0; i < tries; ++i) {
    std::string text = good;
    for (int edit = 0; edit < 3; ++edit) {
      const std::size_t at = random() % text.size();
      if (random() % 2)
        text[at] = static_cast<char>(random() % 256);
      else
        text.erase(at, 1 + random() % 5);
      if (text.empty()) break;
    }
    try {
      ObjectReader object = object_of(text);
      object.required<std::string>("name");
      object.required<double>("pitch_mm", above(0));
      for (ObjectReader& tag : object.required_objects("tags")) tag.required<int>("id", between(0, 586));
    } catch (const FileError&) {
      ++refused;
    }
  }
  CHECK(refused > tries / 2);  // most edits break the grammar or a rule
}
