// Amounts and numbers as people of a country write them, and the language that a quote is read in. Files for
// machines never go through here.
#pragma once

#include <memory>
#include <string>

#include "quote/money.hpp"
#include "ripplegauge/core/quantity.hpp"
#include "words/wording.hpp"

namespace ripplegauge {

/// Whether the ISO 4217 code is that of a currency in use or once in use; its decimals are 2 for euro, 0 for
/// yen.
bool is_known_currency(const std::string& code);
int decimals_of_currency(const std::string& code);

class Display {
 public:
  /// In the locale of `words`; without one plain, with a decimal point, no thousands separators and the
  /// currency's letters.
  Display(const Currency& currency, Wording words);
  /// English in a locale such as "de-DE" or "de_DE.UTF-8". Throws UsageError for one that nobody knows.
  Display(const Currency& currency, const std::string& locale);
  ~Display();
  Display(Display&&) noexcept;

  const Wording& words() const { return words_; }

  std::string money(std::int64_t amount_minor) const;   ///< with the currency's sign: "1.234,50 €"
  std::string amount(std::int64_t amount_minor) const;  ///< without: "1.234,50"
  std::string number(double value, int decimals) const;
  std::string percent(Rate rate) const;
  std::string count(int number) const;

  /// "21.4 mm (20.6–22.2)"; without the interval where it is the value itself. "–" for a NaN.
  std::string millimetres(const Quantity& quantity, int decimals = 1) const;
  /// The same with two decimals, or three where the interval is narrower than two can show.
  std::string fine_millimetres(const Quantity& quantity) const;

 private:
  struct Formats;
  Wording words_;
  std::unique_ptr<Formats> formats_;
};

}  // namespace ripplegauge
