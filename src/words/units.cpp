// Numbers are found by the units behind them, one or two before one unit ("34 to 40 °C").
#include "words/units.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <regex>

#include "words/text.hpp"

namespace ripplegauge {
namespace {

constexpr double mm_per_inch = 25.4;

// with a point or, in other languages, a comma
constexpr const char* number = R"(([-+]?[0-9]+(?:[.,][0-9]+)?))";
constexpr const char* joint = R"(( to | bis |–| and | × ))";
// what is told in brackets shares the unit in front of them: "17.2 mm (17.1 to 17.3)"
constexpr const char* bracket =
    R"((?: \(([-+]?[0-9]+(?:[.,][0-9]+)?)( to | bis |–)([-+]?[0-9]+(?:[.,][0-9]+)?)\))?)";

double value_of(std::string text) {
  std::replace(text.begin(), text.end(), ',', '.');
  double value = 0;
  const char* begin = text.data() + (text.starts_with('+') ? 1 : 0);
  std::from_chars(begin, text.data() + text.size(), value);
  return value;
}

std::string fahrenheit(const std::string& celsius) { return figure(1.8 * value_of(celsius) + 32, 0); }

std::string inches(const std::string& mm) {
  const double value_mm = value_of(mm), size_mm = std::abs(value_mm);
  if (value_mm == 0) return "0";
  std::string text = figure(value_mm / mm_per_inch, size_mm < 1 ? 4 : size_mm < 10 ? 3 : 2);
  if (mm.find(',') != std::string::npos) std::replace(text.begin(), text.end(), '.', ',');
  return text;
}

/// `told` makes what stands in the place of a match.
template <class Told>
std::string replaced(const std::string& text, const std::regex& pattern, Told told) {
  std::string result;
  auto from = text.begin();
  for (std::sregex_iterator match(text.begin(), text.end(), pattern), end; match != end; ++match) {
    result.append(from, (*match)[0].first);
    result += told(*match);
    from = (*match)[0].second;
  }
  return result.append(from, text.end());
}

}  // namespace

AxisUnit length_unit(const ShownUnits& units) {
  return units.inches ? AxisUnit{"in", 1 / mm_per_inch} : AxisUnit{"mm", 1};
}

std::string in_units(std::string_view text, const ShownUnits& units) {
  const std::string range = std::string(number) + "(?:" + joint + number + ")?";
  std::string result(text);
  if (units.fahrenheit) {
    static const std::regex celsius(range + " °C");
    result = replaced(result, celsius, [](const std::smatch& m) {
      return fahrenheit(m[1]) + (m[3].matched ? m[2].str() + fahrenheit(m[3]) : "") + " °F";
    });
  }
  if (units.inches) {
    static const std::regex millimetres(range + " mm(?![a-zA-Z0-9]|²|³| in a metre)" + bracket);
    result = replaced(result, millimetres, [](const std::smatch& m) {
      return m[0].str() + " [" + inches(m[1]) + (m[3].matched ? m[2].str() + inches(m[3]) : "") +
             (m[4].matched ? " (" + inches(m[4]) + m[5].str() + inches(m[6]) + ")" : "") + " in]";
    });
  }
  return result;
}

}  // namespace ripplegauge
