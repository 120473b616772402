// Text in columns, for terminals and plain files.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace ripplegauge {

/// How many terminal cells UTF-8 text takes: combining marks none, wide East Asian characters two.
int display_width(std::string_view text);

bool is_utf8(std::string_view text);

/// Bytes of UTF-16; what is none becomes the replacement character.
std::string utf8_from_utf16(std::string_view bytes, bool big_endian);

/// Without control characters, which would act on a terminal and which no file of ours may hold: each becomes
/// the replacement character. File names may have them.
std::string printable(std::string_view text);

/// Filled with spaces up to `width` cells; longer text is left as it is.
std::string padded_right(std::string text, int width);  // text stands left
std::string padded_left(std::string text, int width);   // text stands right

/// Lines of at most `width` cells, broken at spaces; a word longer than a line is cut, never inside a
/// character.
std::vector<std::string> wrapped(std::string_view text, int width);

}  // namespace ripplegauge
