// Reading the words and ranges that kit and rules share.
#pragma once

#include <algorithm>

#include "advice/kit.hpp"
#include "core/enum_words.hpp"
#include "core/joined.hpp"
#include "ripplegauge/json/json_reader.hpp"

namespace ripplegauge {

inline const TextRule name_rule{1, 200};
inline const TextRule reason_rule{1, 2000};

template <class E>
E required_word(ObjectReader& object, std::string_view key) {
  return *from_word<E>(object.required_choice(key, all_words<E>()));
}

template <class E>
std::vector<E> optional_word_list(ObjectReader& object, std::string_view key) {
  std::vector<E> values;
  for (const std::string& text : object.optional_list<std::string>(key)) {
    const auto value = from_word<E>(text);
    if (!value) object.fail(key, "each entry must be one of " + joined(all_words<E>()));
    values.push_back(*value);
  }
  return values;
}

/// Glue without its name: kit and rules say the same things of it.
inline Glue read_glue_temperatures(ObjectReader& object) {
  const NumberRule plausible = between(-60, 300);
  const auto range = [&plausible](ObjectReader&& reader) {
    TemperatureRange result;
    result.low_c = reader.required<double>("low", plausible);
    result.high_c = reader.required<double>("high", plausible);
    if (!(result.low_c < result.high_c)) reader.fail("high", "it must be above \"low\"");
    reader.finish();
    return result;
  };
  Glue glue;
  glue.cold = object.optional_choice("kind", {"hot", "cold"}).value_or("hot") == "cold";
  if (glue.cold) {
    glue.press_s = object.required<double>("press_s", between(0, 3600));
  } else {
    glue.gun_c = object.required<double>("gun_c", between(60, 300));
    glue.warm_panel_c = object.required<double>("warm_panel_c", between(0, 90));
  }
  glue.pull = range(object.required_object("pull_c"));
  glue.air = range(object.required_object("air_c"));
  if (!glue.cold && glue.warm_panel_c < glue.pull.high_c)
    object.fail("warm_panel_c", "it must not be below the pull's \"high\": the panel cools down to it");
  return glue;
}

}  // namespace ripplegauge
