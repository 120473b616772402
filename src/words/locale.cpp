// What ICU knows of how a country writes: decimal mark, date, paper, and a language's plurals.
#include <unicode/datefmt.h>
#include <unicode/dcfmtsym.h>
#include <unicode/dtptngen.h>
#include <unicode/locid.h>
#include <unicode/plurrule.h>
#include <unicode/ulocdata.h>

#include "ripplegauge/core/errors.hpp"
#include "words/icu_memory.hpp"
#include "words/wording.hpp"

namespace ripplegauge {

namespace {

std::string utf8(const icu::UnicodeString& text) {
  std::string result;
  return text.toUTF8String(result);
}

/// The root locale formats any name: only one whose language has data is known.
bool has_data(const icu::Locale& locale) {
  int32_t count = 0;
  const icu::Locale* known = icu::Locale::getAvailableLocales(count);
  for (int32_t i = 0; i < count; ++i)
    if (std::string_view(known[i].getLanguage()) == locale.getLanguage()) return true;
  return false;
}

/// Numeric and with the whole year: "dd.MM.yyyy".
std::string date_pattern_of(const icu::Locale& locale) {
  UErrorCode status = U_ZERO_ERROR;
  const std::unique_ptr<icu::DateTimePatternGenerator> generator(
      icu::DateTimePatternGenerator::createInstance(locale, status));
  require_memory(status);
  if (U_FAILURE(status) != 0 || !generator) return "";
  const std::string pattern = utf8(generator->getBestPattern("yyyyMMdd", status));
  // Quoted letters and other calendars' fields would need more than Wording::date knows.
  const bool simple = U_SUCCESS(status) != 0 && pattern.find_first_of("'GLEeuU") == std::string::npos;
  return simple ? pattern : "";
}

PagePaper paper_of(const icu::Locale& locale) {
  UErrorCode status = U_ZERO_ERROR;
  int32_t height_mm = 0, width_mm = 0;
  ulocdata_getPaperSize(locale.getName(), &height_mm, &width_mm, &status);
  return U_SUCCESS(status) != 0 && height_mm == 279 ? PagePaper::letter : PagePaper::a4;
}

std::function<std::string(std::int64_t)> plurals_of(const icu::Locale& language) {
  UErrorCode status = U_ZERO_ERROR;
  const std::shared_ptr<const icu::PluralRules> rules(icu::PluralRules::forLocale(language, status));
  require_memory(status);
  if (U_FAILURE(status) != 0 || !rules) return {};
  return [rules](std::int64_t count) { return utf8(rules->select(static_cast<int32_t>(count))); };
}

LocaleRules rules_for(const std::string& language, const std::string& name) {
  LocaleRules rules;
  rules.language = language;
  rules.plural = plurals_of(icu::Locale(language.c_str()));
  if (name.empty()) return rules;
  const icu::Locale locale = icu::Locale::createCanonical(name.c_str());
  if (!has_data(locale))
    throw UsageError("locale \"" + name +
                     "\" is not known; give a language and a country, such as de-DE or en-GB");
  UErrorCode status = U_ZERO_ERROR;
  const icu::DecimalFormatSymbols symbols(locale, status);
  require_memory(status);
  rules.name = name;
  // Other marks go with other digits than the program writes.
  if (utf8(symbols.getConstSymbol(icu::DecimalFormatSymbols::kDecimalSeparatorSymbol)) == ",")
    rules.decimal_mark = ",";
  rules.date_pattern = date_pattern_of(locale);
  rules.paper = paper_of(locale);
  return rules;
}

}  // namespace

Wording wording_for(std::string_view language, const std::string& locale) {
  const Texts* texts = texts_of_language(language);
  if (texts == nullptr)
    throw UsageError("there are no texts in the language \"" + std::string(language) + "\"");
  return {*texts, rules_for(std::string(language), locale)};
}

Wording wording_for(Texts texts, const std::string& locale) {
  const auto language = texts.find("language");
  std::string name = language == texts.end() ? "en" : language->second;
  return {std::move(texts), rules_for(name, locale)};
}

}  // namespace ripplegauge
