// Texts with names in braces. Without ICU, since the page has none: what only ICU knows of a country comes in
// LocaleRules.
#include "words/wording.hpp"

#include <algorithm>
#include <optional>
#include <stdexcept>

#include "embedded_texts.hpp"
#include "ripplegauge/core/errors.hpp"
#include "words/text.hpp"

namespace ripplegauge {

namespace {

/// A part of a text in braces: a name, or a name with the forms of a plural.
struct Slot {
  std::string_view name;
  std::vector<std::pair<std::string_view, std::string_view>> forms;  ///< category, text
};

[[noreturn]] void malformed(std::string_view text) {
  throw UsageError("the text \"" + std::string(text) + "\" has braces that do not fit together");
}

/// The place of the brace that closes the one at `open`.
std::size_t closing(std::string_view text, std::size_t open) {
  int depth = 0;
  for (std::size_t i = open; i < text.size(); ++i) {
    if (text[i] == '{') ++depth;
    if (text[i] == '}' && --depth == 0) return i;
  }
  malformed(text);
}

std::string_view bare(std::string_view text) {
  const auto first = text.find_first_not_of(' ');
  if (first == std::string_view::npos) return {};
  return text.substr(first, text.find_last_not_of(' ') - first + 1);
}

Slot slot_from(std::string_view inner, std::string_view text) {
  Slot slot;
  const std::size_t comma = inner.find(',');
  slot.name = bare(inner.substr(0, comma));
  if (slot.name.empty()) malformed(text);
  if (comma == std::string_view::npos) return slot;
  const std::size_t second = inner.find(',', comma + 1);
  if (second == std::string_view::npos || bare(inner.substr(comma + 1, second - comma - 1)) != "plural")
    malformed(text);
  for (std::size_t at = second + 1; !bare(inner.substr(at)).empty();) {
    const std::size_t open = inner.find('{', at);
    if (open == std::string_view::npos) malformed(text);
    const std::size_t close = closing(inner, open);
    slot.forms.emplace_back(bare(inner.substr(at, open - at)), inner.substr(open + 1, close - open - 1));
    at = close + 1;
  }
  const auto is_other = [](const auto& form) { return form.first == "other"; };
  if (std::none_of(slot.forms.begin(), slot.forms.end(), is_other)) malformed(text);
  return slot;
}

/// Calls `plain` with what stands between slots and `slot` with each of them.
template <class Plain, class TakeSlot>
void for_each_part(std::string_view text, Plain&& plain, TakeSlot&& take_slot) {
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t open = text.find_first_of("{}", at);
    if (open == std::string_view::npos) return plain(text.substr(at));
    if (text[open] == '}') malformed(text);
    plain(text.substr(at, open - at));
    const std::size_t close = closing(text, open);
    take_slot(slot_from(text.substr(open + 1, close - open - 1), text));
    at = close + 1;
  }
}

void collect_names(std::string_view text, std::set<std::string>& names) {
  for_each_part(
      text, [](std::string_view) {},
      [&](const Slot& slot) {
        names.emplace(slot.name);
        for (const auto& [category, form] : slot.forms) collect_names(form, names);
      });
}

/// Whether a character of a script that runs from right to left is in it (blocks of the Unicode Standard:
/// Hebrew to Arabic Extended-A, their presentation forms, the supplementary ones).
bool runs_from_right(std::string_view text) {
  const auto byte = [&](std::size_t i) { return i < text.size() ? static_cast<unsigned char>(text[i]) : 0u; };
  for (std::size_t i = 0; i < text.size(); ++i) {
    const unsigned b0 = byte(i), b1 = byte(i + 1), b2 = byte(i + 2);
    if (b0 >= 0xD6 && b0 <= 0xDF && (b0 > 0xD6 || b1 >= 0x90)) return true;  // U+0590 to U+07FF
    if (b0 == 0xE0 && b1 >= 0xA0 && b1 <= 0xA3) return true;                 // U+0800 to U+08FF
    if (b0 == 0xEF &&
        ((b1 == 0xAC && b2 >= 0x9D) || (b1 >= 0xAD && b1 <= 0xB7) || (b1 >= 0xB9 && b1 <= 0xBB)))
      return true;  // U+FB1D to U+FDFF, U+FE40 to U+FEBF
    if (b0 == 0xF0 && ((b1 == 0x90 && b2 >= 0xA0) || (b1 == 0x9E && b2 >= 0xA0))) return true;
  }
  return false;
}

std::string isolated(const std::string& text) {
  return runs_from_right(text) ? "\u2068" + text + "\u2069" : text;
}

std::string category_of(const LocaleRules& rules, std::int64_t count) {
  if (rules.plural) return rules.plural(count);
  return count == 1 ? "one" : "other";
}

/// Year, month and day at the beginning, as files and cameras write them.
struct Day {
  std::string year, month, day;
};
std::optional<Day> day_of(std::string_view iso) {
  if (iso.size() < 10) return std::nullopt;
  for (std::size_t i = 0; i < 10; ++i) {
    const bool mark = i == 4 || i == 7;
    if (mark ? iso[i] != '-' && iso[i] != ':' : iso[i] < '0' || iso[i] > '9') return std::nullopt;
  }
  return Day{std::string(iso.substr(0, 4)), std::string(iso.substr(5, 2)), std::string(iso.substr(8, 2))};
}

std::string without_zero(const std::string& number) { return number[0] == '0' ? number.substr(1) : number; }

}  // namespace

Texts texts_from(std::string_view lines) {
  Texts texts;
  int number = 0;
  while (!lines.empty()) {
    const std::size_t end = std::min(lines.find('\n'), lines.size());
    const std::string line = trimmed(lines.substr(0, end));
    lines.remove_prefix(std::min(end + 1, lines.size()));
    ++number;
    if (line.empty() || line.front() == '#') continue;
    const std::string where = "line " + std::to_string(number) + ": ";
    const std::size_t sign = line.find('=');
    const std::string key = trimmed(line.substr(0, std::min(sign, line.size())));
    if (sign == std::string::npos || key.empty()) throw UsageError(where + "it must be: key = text");
    const std::string text = trimmed(line.substr(sign + 1));
    std::set<std::string> names;
    collect_names(text, names);  // braces that do not fit are found here, not when it is said
    if (!texts.emplace(key, text).second) throw UsageError(where + "the key " + key + " stands there twice");
  }
  return texts;
}

const Texts* texts_of_language(std::string_view language) {
  static const std::map<std::string, Texts, std::less<>> all = [] {
    std::map<std::string, Texts, std::less<>> read;
    for (const EmbeddedText& one : embedded_texts()) read.emplace(one.language, texts_from(one.lines));
    return read;
  }();
  const auto found = all.find(language);
  return found == all.end() ? nullptr : &found->second;
}

std::vector<std::string> languages() {
  std::vector<std::string> names;
  for (const EmbeddedText& one : embedded_texts()) names.emplace_back(one.language);
  return names;
}

std::vector<std::string> problems_of(const Texts& texts) {
  std::vector<std::string> problems;
  const Texts& english = *texts_of_language("en");
  for (const auto& [key, text] : english) {
    const auto found = texts.find(key);
    if (found == texts.end()) {
      problems.push_back(key + " is missing");
      continue;
    }
    std::set<std::string> known, used;
    collect_names(text, known);
    collect_names(found->second, used);
    for (const std::string& name : used)
      if (!known.contains(name)) problems.push_back(key + " has {" + name + "}, which nobody fills in");
  }
  for (const auto& [key, text] : texts)
    if (!english.contains(key)) problems.push_back(key + " is no key");
  return problems;
}

const Wording& Wording::plain() {
  static const Wording english(*texts_of_language("en"), {});
  return english;
}

Wording::Wording(Texts texts, LocaleRules rules)
    : inside_(std::make_shared<const Inside>(Inside{std::move(texts), std::move(rules)})) {}

bool Wording::has(std::string_view key) const { return inside_->texts.contains(key); }

std::string Wording::operator()(std::string_view key, std::initializer_list<TextArgument> arguments) const {
  const auto text = inside_->texts.find(key);
  if (text == inside_->texts.end()) throw std::logic_error("no text has the key " + std::string(key));
  std::string said;
  const auto argument_of = [&](std::string_view name) -> const TextArgument& {
    for (const TextArgument& argument : arguments)
      if (argument.name == name) return argument;
    throw std::logic_error(std::string(key) + " needs {" + std::string(name) + "}");
  };
  const auto add_value = [&](const TextArgument& argument) {
    const auto* count = std::get_if<std::int64_t>(&argument.value);
    said += count != nullptr ? std::to_string(*count) : isolated(std::get<std::string>(argument.value));
  };
  const std::function<void(std::string_view, const TextArgument*)> fill = [&](std::string_view part,
                                                                              const TextArgument* counted) {
    for_each_part(
        part,
        [&](std::string_view plain) {
          for (const char c : plain)
            if (c == '#' && counted != nullptr)
              add_value(*counted);
            else
              said += c;
        },
        [&](const Slot& slot) {
          const TextArgument& argument = argument_of(slot.name);
          if (slot.forms.empty()) return add_value(argument);
          const std::string category = category_of(inside_->rules, std::get<std::int64_t>(argument.value));
          const auto form = std::find_if(slot.forms.begin(), slot.forms.end(),
                                         [&](const auto& one) { return one.first == category; });
          const auto other = std::find_if(slot.forms.begin(), slot.forms.end(),
                                          [](const auto& one) { return one.first == "other"; });
          fill(form == slot.forms.end() ? other->second : form->second, &argument);
        });
  };
  fill(text->second, nullptr);
  return said;
}

std::string Wording::number(double value, int decimals) const {
  return with_decimal_mark(figure(value, decimals));
}

std::string Wording::with_decimal_mark(std::string text) const {
  const std::string& mark = inside_->rules.decimal_mark;
  if (mark == ".") return text;
  const auto is_digit = [&](std::size_t i) { return i < text.size() && text[i] >= '0' && text[i] <= '9'; };
  for (std::size_t i = 1; i + 1 < text.size(); ++i)
    if (text[i] == '.' && is_digit(i - 1) && is_digit(i + 1)) text.replace(i, 1, mark);
  return text;
}

std::string Wording::date(std::string_view iso) const {
  const auto day = day_of(iso);
  const std::string& pattern = inside_->rules.date_pattern;
  if (!day) return std::string(iso);
  if (pattern.empty()) return day->year + "-" + day->month + "-" + day->day;
  std::string text;
  for (std::size_t at = 0; at < pattern.size();) {
    const char c = pattern[at];
    std::size_t length = 1;
    while (at + length < pattern.size() && pattern[at + length] == c) ++length;
    if (c == 'y')
      text += day->year;
    else if (c == 'M')
      text += length > 1 ? day->month : without_zero(day->month);
    else if (c == 'd')
      text += length > 1 ? day->day : without_zero(day->day);
    else
      text += pattern.substr(at, length);
    at += length;
  }
  return text;
}

std::string Wording::date_and_time(std::string_view iso) const {
  const std::string day = date(iso);
  if (!day_of(iso) || iso.size() < 16) return day;
  const std::string_view time = iso.substr(11, inside_->rules.date_pattern.empty() ? iso.size() - 11 : 5);
  return day + " " + std::string(time.substr(0, time.find('Z')));
}

std::string Wording::finding(const std::string& code, const std::string& message) const {
  const std::string key = "finding." + code;
  return has(key) ? (*this)(key, {{"message", message}}) : message;
}

std::string Wording::grade(const std::string& name) const {
  const std::string key = "grade." + name;
  return has(key) ? (*this)(key) : name;
}

Wording Wording::on(PagePaper paper) const {
  LocaleRules rules = inside_->rules;
  rules.paper = paper;
  return {inside_->texts, std::move(rules)};
}

Wording Wording::in(const ShownUnits& units) const {
  LocaleRules rules = inside_->rules;
  rules.units = units;
  return {inside_->texts, std::move(rules)};
}

Wording Wording::with_plain_numbers() const {
  LocaleRules rules;
  rules.language = inside_->rules.language;
  rules.plural = inside_->rules.plural;
  rules.units = inside_->rules.units;
  return {inside_->texts, std::move(rules)};
}

}  // namespace ripplegauge
