// Money and numbers by ICU, as a locale writes them.
#include "quote/display.hpp"

#include <unicode/locid.h>
#include <unicode/numberformatter.h>
#include <unicode/ucurr.h>

#include <cmath>

#include "ripplegauge/core/errors.hpp"
#include "words/icu_memory.hpp"

namespace ripplegauge {

namespace {

using icu::number::LocalizedNumberFormatter;
using icu::number::NumberFormatter;
using icu::number::Precision;

icu::UnicodeString utf16(const std::string& text) { return icu::UnicodeString::fromUTF8(text); }

/// Throws std::bad_alloc or std::runtime_error rather than leave a number out.
std::string text_of(const icu::number::FormattedNumber& number, UErrorCode status) {
  const icu::UnicodeString characters = number.toString(status);
  require_memory(status);
  if (U_FAILURE(status) != 0) throw std::runtime_error(std::string("number format: ") + u_errorName(status));
  if (characters.isEmpty() != 0) throw std::bad_alloc();  // a string of ICU's that could not be made
  std::string text;
  characters.toUTF8String(text);
  return text;
}

std::string formatted(const LocalizedNumberFormatter& format, const std::string& decimal) {
  UErrorCode status = U_ZERO_ERROR;
  const auto number = format.formatDecimal(decimal, status);
  return text_of(number, status);
}

}  // namespace

bool is_known_currency(const std::string& code) {
  UErrorCode status = U_ZERO_ERROR;
  const icu::UnicodeString wanted = utf16(code);
  UEnumeration* codes = ucurr_openISOCurrencies(UCURR_ALL, &status);
  bool found = false;
  int32_t length = 0;
  while (const UChar* known = uenum_unext(codes, &length, &status)) {
    if (wanted == icu::UnicodeString(known, length)) found = true;
  }
  uenum_close(codes);
  require_memory(status);
  return found && U_SUCCESS(status) != 0;
}

int decimals_of_currency(const std::string& code) {
  UErrorCode status = U_ZERO_ERROR;
  const int decimals = ucurr_getDefaultFractionDigits(utf16(code).getTerminatedBuffer(), &status);
  require_memory(status);
  return U_SUCCESS(status) != 0 ? decimals : 2;
}

struct Display::Formats {
  int decimals;
  LocalizedNumberFormatter money, amount, number, percent;
};

Display::Display(const Currency& currency, const std::string& locale)
    : Display(currency, wording_for("en", locale)) {}

Display::Display(const Currency& currency, Wording words) : words_(std::move(words)) {
  const std::string& name = words_.locale();
  const icu::Locale locale =
      name.empty() ? icu::Locale::getRoot() : icu::Locale::createCanonical(name.c_str());
  const auto plain =
      NumberFormatter::withLocale(locale).grouping(name.empty() ? UNUM_GROUPING_OFF : UNUM_GROUPING_AUTO);
  const auto amount = plain.precision(Precision::fixedFraction(currency.decimals));
  UErrorCode status = U_ZERO_ERROR;
  const icu::CurrencyUnit unit(utf16(currency.code).getTerminatedBuffer(), status);
  if (U_FAILURE(status) != 0) throw UsageError("currency \"" + currency.code + "\" is not three letters");
  formats_ = std::make_unique<Formats>(Formats{
      currency.decimals,
      name.empty() ? amount.unit(unit).unitWidth(UNUM_UNIT_WIDTH_ISO_CODE) : amount.unit(unit),
      amount,
      plain,
      plain.unit(icu::NoUnit::percent()).precision(Precision::maxFraction(4)),
  });
}

Display::~Display() = default;
Display::Display(Display&&) noexcept = default;

std::string Display::money(std::int64_t amount_minor) const {
  return formatted(formats_->money, decimal_from_minor(amount_minor, formats_->decimals));
}

std::string Display::amount(std::int64_t amount_minor) const {
  return formatted(formats_->amount, decimal_from_minor(amount_minor, formats_->decimals));
}

std::string Display::number(double value, int decimals) const {
  if (!std::isfinite(value)) return "–";
  UErrorCode status = U_ZERO_ERROR;
  const auto written =
      formats_->number.precision(Precision::fixedFraction(decimals)).formatDouble(value, status);
  return text_of(written, status);
}

std::string Display::percent(Rate rate) const { return formatted(formats_->percent, percent_text(rate)); }

std::string Display::count(int number) const { return formatted(formats_->number, std::to_string(number)); }

std::string Display::millimetres(const Quantity& quantity, int decimals) const {
  std::string value = number(quantity.value, decimals) + " mm";
  if (!(quantity.low < quantity.high)) return value;
  return value + " (" + number(quantity.low, decimals) + "–" + number(quantity.high, decimals) + ")";
}

std::string Display::fine_millimetres(const Quantity& quantity) const {
  const bool narrow = quantity.low < quantity.high && quantity.half_width() < 0.02;
  return millimetres(quantity, narrow ? 3 : 2);
}

}  // namespace ripplegauge
