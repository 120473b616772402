// The one place where everything that the program prints goes by.
#include "output_filter.hpp"

#include <algorithm>
#include <cerrno>
#include <cstdint>

namespace ripplegauge::cli {
namespace {

constexpr std::string_view replacement = "\uFFFD";

/// How many bytes a character has that begins with this one (Unicode Standard, table 3-7); 0 for none.
std::size_t length_of(unsigned char first) {
  if (first < 0x80) return 1;
  if (first >= 0xC2 && first <= 0xDF) return 2;
  if (first >= 0xE0 && first <= 0xEF) return 3;
  return first >= 0xF0 && first <= 0xF4 ? 4 : 0;
}

/// Whether the byte can follow those that have begun a character: no longer way than needed of writing one,
/// no halves of UTF-16 pairs, nothing beyond U+10FFFF.
bool can_follow(std::string_view begun, unsigned char next) {
  if (next < 0x80 || next > 0xBF) return false;
  if (begun.size() > 1) return true;
  switch (static_cast<unsigned char>(begun[0])) {
    case 0xE0:
      return next >= 0xA0;
    case 0xED:
      return next <= 0x9F;
    case 0xF0:
      return next >= 0x90;
    case 0xF4:
      return next <= 0x8F;
    default:
      return true;
  }
}

std::uint32_t code_point(std::string_view character) {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(character[i]); };
  if (character.size() == 1) return byte(0);
  std::uint32_t code = byte(0) & (0xFFu >> (character.size() + 1));
  for (std::size_t i = 1; i < character.size(); ++i) code = code << 6 | (byte(i) & 0x3Fu);
  return code;
}

bool is_harmless(std::uint32_t code) {
  const auto between = [code](std::uint32_t first, std::uint32_t last) {
    return code >= first && code <= last;
  };
  if (code == '\n' || code == '\t') return true;
  if (code < 0x20 || between(0x7F, 0x9F)) return false;
  const bool turns_direction =
      code == 0x061C || between(0x200E, 0x200F) || between(0x202A, 0x202E) || between(0x2066, 0x2069);
  return !turns_direction && !between(0x2028, 0x2029);
}

}  // namespace

FilterBuffer::int_type FilterBuffer::overflow(int_type c) {
  if (!traits_type::eq_int_type(c, traits_type::eof())) take(traits_type::to_char_type(c));
  return error_ == 0 ? traits_type::not_eof(c) : traits_type::eof();
}

std::streamsize FilterBuffer::xsputn(const char* text, std::streamsize count) {
  const std::string_view all(text, static_cast<std::size_t>(count));
  const auto is_plain = [](char c) { return (c >= 0x20 && c < 0x7F) || c == '\n'; };
  if (begun_.empty() && std::all_of(all.begin(), all.end(), is_plain))
    put(all);
  else
    for (const char c : all) take(c);
  return error_ == 0 ? count : 0;
}

int FilterBuffer::sync() {
  finish();
  errno = 0;
  if (target_.pubsync() != 0 && error_ == 0) error_ = errno != 0 ? errno : EIO;
  return error_ == 0 ? 0 : -1;
}

void FilterBuffer::take(char c) {
  if (!begun_.empty() && !can_follow(begun_, static_cast<unsigned char>(c))) finish();
  begun_ += c;
  const std::size_t length = length_of(static_cast<unsigned char>(begun_[0]));
  if (begun_.size() < length) return;
  put(length > 0 && is_harmless(code_point(begun_)) ? std::string_view(begun_) : replacement);
  begun_.clear();
}

/// What has begun a character is none without its other bytes.
void FilterBuffer::finish() {
  if (!begun_.empty()) put(replacement);
  begun_.clear();
}

void FilterBuffer::put(std::string_view text) {
  const auto size = static_cast<std::streamsize>(text.size());
  errno = 0;
  if (target_.sputn(text.data(), size) != size && error_ == 0) error_ = errno != 0 ? errno : EIO;
}

LinesInUnits::int_type LinesInUnits::overflow(int_type c) {
  if (traits_type::eq_int_type(c, traits_type::eof())) return traits_type::not_eof(c);
  line_ += traits_type::to_char_type(c);
  if (line_.back() == '\n') pass_on();
  return c;
}

int LinesInUnits::sync() {
  pass_on();
  return before_->pubsync();
}

void LinesInUnits::pass_on() {
  const std::string text = units_.any() ? in_units(line_, units_) : line_;
  before_->sputn(text.data(), static_cast<std::streamsize>(text.size()));
  line_.clear();
}

bool reader_left(const std::ostream& stream) {
  const auto* lines = dynamic_cast<const LinesInUnits*>(stream.rdbuf());
  const auto* filter = dynamic_cast<const FilterBuffer*>(lines != nullptr ? lines->before() : stream.rdbuf());
  return filter != nullptr && filter->error() == EPIPE;
}

std::string one_line(std::string text) {
  std::replace_if(
      text.begin(), text.end(), [](char c) { return c == '\n' || c == '\r' || c == '\t'; }, ' ');
  return text;
}

}  // namespace ripplegauge::cli
