// What a file, a folder or an argument holds must not act on the terminal that shows it.
#pragma once

#include <algorithm>
#include <cstdio>
#include <iostream>
#include <ostream>
#include <streambuf>
#include <string>
#include <string_view>

#include "words/units.hpp"

namespace ripplegauge::cli {

/// Passes text on. What a terminal would obey or mislead a reader with becomes the replacement character:
/// control characters but for line feed and tab (so the escape that begins a command, the bell, carriage
/// return), those of Unicode's second row, marks that turn the direction of writing, Unicode's line and
/// paragraph ends, and bytes that are no UTF-8.
class FilterBuffer : public std::streambuf {
 public:
  explicit FilterBuffer(std::streambuf& target) : target_(target) {}
  ~FilterBuffer() override { finish(); }

  /// Why the target took no more, as errno has it; 0: it takes all.
  int error() const { return error_; }

 protected:
  int_type overflow(int_type c) override;
  std::streamsize xsputn(const char* text, std::streamsize count) override;
  int sync() override;

 private:
  void take(char c);
  void finish();
  void put(std::string_view text);

  std::streambuf& target_;
  std::string begun_;  ///< of a character whose other bytes are to come
  int error_ = 0;
};

/// While it lives, what is written to a stream goes through a filter.
class FilteredStream {
 public:
  explicit FilteredStream(std::ostream& stream)
      : stream_(stream), before_(stream.rdbuf()), filter_(*stream.rdbuf()) {
    stream_.rdbuf(&filter_);
  }
  ~FilteredStream() {
    stream_.flush();
    stream_.rdbuf(before_);
  }
  FilteredStream(const FilteredStream&) = delete;
  FilteredStream& operator=(const FilteredStream&) = delete;

 private:
  std::ostream& stream_;
  std::streambuf* before_;
  FilterBuffer filter_;
};

/// Passes lines on in the units that people asked for. While it lives, the stream goes through it.
class LinesInUnits : public std::streambuf {
 public:
  LinesInUnits(std::ostream& stream, const ShownUnits& units)
      : stream_(stream), before_(stream.rdbuf()), units_(units) {
    stream_.rdbuf(this);
  }
  ~LinesInUnits() override {
    stream_.flush();
    stream_.rdbuf(before_);
  }
  const std::streambuf* before() const { return before_; }

 protected:
  int_type overflow(int_type c) override;
  int sync() override;

 private:
  void pass_on();

  std::ostream& stream_;
  std::streambuf* before_;
  ShownUnits units_;
  std::string line_;
};

/// Whether whoever read a filtered stream, such as `head`, has seen enough.
bool reader_left(const std::ostream& stream);

/// As printf, but through the filter of the standard output.
template <class... Values>
void print(const char* pattern, Values... values) {
  static_assert(sizeof...(values) > 0, "plain text goes to std::cout");
  std::string text(static_cast<std::size_t>(std::max(0, std::snprintf(nullptr, 0, pattern, values...))),
                   '\0');
  std::snprintf(text.data(), text.size() + 1, pattern, values...);
  std::cout << text;
}

/// Text on a line of its own: line ends and tabs become blanks, so that a file's name cannot make up lines.
std::string one_line(std::string text);

}  // namespace ripplegauge::cli
