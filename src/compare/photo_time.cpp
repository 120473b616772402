// EXIF's "2025:03:14 09:26:53" as a time. It has no zone, so only differences mean something.
#include "compare/photo_time.hpp"

#include <charconv>

namespace ripplegauge {

namespace {

/// The digits text[from, from + count) as a number; absent if one of them is none.
std::optional<int> digits(const std::string& text, std::size_t from, std::size_t count) {
  int value = 0;
  const char* end = text.data() + from + count;
  const auto result = std::from_chars(text.data() + from, end, value);
  if (result.ec != std::errc() || result.ptr != end || value < 0) return std::nullopt;
  return value;
}

}  // namespace

std::optional<std::chrono::sys_seconds> photo_time(const std::string& date_taken) {
  using namespace std::chrono;
  if (date_taken.size() != 19) return std::nullopt;
  const auto y = digits(date_taken, 0, 4), m = digits(date_taken, 5, 2), d = digits(date_taken, 8, 2);
  const auto hour = digits(date_taken, 11, 2), minute = digits(date_taken, 14, 2),
             second = digits(date_taken, 17, 2);
  if (!y || !m || !d || !hour || !minute || !second) return std::nullopt;
  const year_month_day date(year(*y), month(static_cast<unsigned>(*m)), day(static_cast<unsigned>(*d)));
  if (!date.ok() || *hour > 23 || *minute > 59 || *second > 60) return std::nullopt;
  return sys_days(date) + hours(*hour) + minutes(*minute) + seconds(*second);
}

std::optional<double> minutes_between(const std::string& earlier, const std::string& later) {
  const auto from = photo_time(earlier), to = photo_time(later);
  if (!from || !to) return std::nullopt;
  return std::chrono::duration<double, std::ratio<60>>(*to - *from).count();
}

}  // namespace ripplegauge
