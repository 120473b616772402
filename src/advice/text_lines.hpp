// Wrapped text for terminals. Not part of the library's interface.
#pragma once

#include <string>
#include <string_view>

namespace ripplegauge {

/// Collects lines of at most `width` characters (UTF-8 code points); continuation lines are indented.
class TextLines {
 public:
  explicit TextLines(int width) : width_(width) {}

  /// `first` starts the first line, later ones start with as many spaces as it has characters.
  void add(const std::string& first, std::string_view text);
  void blank() { text_ += '\n'; }
  const std::string& text() const { return text_; }

 private:
  int width_;
  std::string text_;
};

}  // namespace ripplegauge
