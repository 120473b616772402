// What the program says in the language of its reader: texts are data, one file a language, and numbers,
// dates and paper are as the reader's country has them.
#pragma once

#include <cstdint>
#include <functional>
#include <initializer_list>
#include <map>
#include <memory>
#include <set>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "words/units.hpp"

namespace ripplegauge {

/// What stands for a name in braces: text, or a count that may choose between singular and plural.
struct TextArgument {
  TextArgument(std::string_view argument, std::string text) : name(argument), value(std::move(text)) {}
  TextArgument(std::string_view argument, std::int64_t count) : name(argument), value(count) {}
  TextArgument(std::string_view argument, std::size_t count)
      : name(argument), value(static_cast<std::int64_t>(count)) {}
  TextArgument(std::string_view argument, int count)
      : name(argument), value(static_cast<std::int64_t>(count)) {}

  std::string_view name;
  std::variant<std::string, std::int64_t> value;
};

enum class PagePaper { a4, letter };

/// Texts of a language by their keys. A text may hold names in braces, and of a count its forms by the
/// plural categories of Unicode's CLDR: "{count, plural, one {# spot} other {# spots}}", # being the count.
using Texts = std::map<std::string, std::string, std::less<>>;

/// "key = text", a line each; a line may be empty or begin with #. Throws UsageError naming the line.
Texts texts_from(std::string_view lines);

/// A language that comes with the program ("en", "de"); null for another.
const Texts* texts_of_language(std::string_view language);
std::vector<std::string> languages();

/// What a language's texts lack beside English, have too much, or say with other names in braces; empty when
/// nothing.
std::vector<std::string> problems_of(const Texts& texts);

/// How a country writes.
struct LocaleRules {
  std::string name;                ///< "de-DE"; empty: decimal point, no thousands separators
  std::string language = "en";     ///< for pages
  std::string decimal_mark = ".";  ///< in figures
  std::string date_pattern;        ///< of CLDR, of d, dd, M, MM, y, yyyy; empty: year-month-day
  PagePaper paper = PagePaper::a4;
  ShownUnits units{};                                 ///< of drawings and pages
  std::function<std::string(std::int64_t)> plural{};  ///< CLDR's category; empty: one and other
};

/// Cheap to copy.
class Wording {
 public:
  /// English, numbers with a decimal point, dates as in files.
  static const Wording& plain();
  Wording(Texts texts, LocaleRules rules);

  /// Names of right-to-left scripts in arguments do not move the text round them. Throws std::logic_error for
  /// a key that there is not.
  std::string operator()(std::string_view key, std::initializer_list<TextArgument> arguments = {}) const;
  bool has(std::string_view key) const;

  /// With so many decimals, as figure() but with the locale's decimal mark.
  std::string number(double value, int decimals) const;
  /// Of a text whose figures have decimal points.
  std::string with_decimal_mark(std::string text) const;
  /// "2026-04-02", "2026:04:02" and what follows them; any other text as it is.
  std::string date(std::string_view iso) const;
  /// The date with hours and minutes, where they are known.
  std::string date_and_time(std::string_view iso) const;

  /// What a refusal or warning says: the photo's own words in English, else the language's for its code.
  std::string finding(const std::string& code, const std::string& message) const;

  /// A grade of severity; one that only a workshop's own files have stays as it is.
  std::string grade(const std::string& name) const;

  const std::string& locale() const { return inside_->rules.name; }
  const std::string& language() const { return inside_->rules.language; }
  PagePaper paper() const { return inside_->rules.paper; }
  Wording on(PagePaper paper) const;
  /// Drawings and pages tell lengths and temperatures so. Sentences stay in millimetres and °C until somebody
  /// draws them, `with_units`; the terminal has a filter of its own.
  Wording in(const ShownUnits& units) const;
  const ShownUnits& units() const { return inside_->rules.units; }
  std::string with_units(std::string_view text) const { return in_units(text, units()); }
  /// The same language, numbers and dates as in files.
  Wording with_plain_numbers() const;

 private:
  struct Inside {
    Texts texts;
    LocaleRules rules;
  };
  std::shared_ptr<const Inside> inside_;
};

/// In a language of the program, numbers and dates as the locale has them ("de-DE"; empty: as in files).
/// Throws UsageError for either that nobody knows.
Wording wording_for(std::string_view language, const std::string& locale);
/// The same with texts from elsewhere, of the language that they say with the key `language`.
Wording wording_for(Texts texts, const std::string& locale);

}  // namespace ripplegauge
