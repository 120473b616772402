// Text that people read: clean, as wide as it shows, in columns and in lines. Numbers in sentences are
// written with fmt::format.
#pragma once

#include <functional>
#include <string>
#include <string_view>
#include <vector>

namespace ripplegauge {

/// How many terminal cells UTF-8 text takes: combining marks none, wide East Asian characters two.
int display_width(std::string_view text);

bool is_utf8(std::string_view text);

/// Bytes of UTF-16; what is none becomes the replacement character.
std::string utf8_from_utf16(std::string_view bytes, bool big_endian);

/// Without control characters, which would act on a terminal and which no file of ours may hold, without
/// those that turn the text behind them round, so that it is read as what it is not, and without bytes that
/// are no UTF-8, at which a drawing would end: each becomes the replacement character. File names may have
/// them. Isolates stay: they end with their paragraph.
std::string printable(std::string_view text);

/// Without blanks, tabs and line ends around it.
std::string trimmed(std::string_view text);

/// With small letters for the capitals of ASCII: what people type for words that are known.
std::string lower_case(std::string_view text);

/// With a capital for the first letter, of ASCII or Latin-1.
std::string capitalised(std::string text);

/// A sentence with a full stop, unless it ends with a mark of its own.
std::string with_full_stop(std::string sentence);

/// With so many decimals; a value that rounds to nothing has no sign.
std::string figure(double value, int decimals);

/// Filled with spaces up to `width` cells; longer text is left as it is.
std::string padded_right(std::string text, int width);  // text stands left
std::string padded_left(std::string text, int width);   // text stands right

/// What becomes of a word that is wider than a line.
enum class LongWords {
  cut,       ///< it goes on in the next line, never cut inside a character
  stand_out  ///< it is kept whole: a path or a command that somebody copies
};

/// The one line breaker. Lines that `width_of` finds no wider than `first_room` and, from the second on,
/// `room`. They end at blanks and where the script allows it (Unicode Standard Annex 14), but not within
/// words of ASCII: options, file names and figures stay together. Blanks in a row and line ends count as one
/// blank.
std::vector<std::string> broken(std::string_view text, double first_room, double room,
                                const std::function<double(std::string_view)>& width_of,
                                LongWords long_words);

/// Lines of at most `width` cells; long words are cut.
std::vector<std::string> wrapped(std::string_view text, int width);

/// The beginning of `text` without its last character and what belongs to that; empty for one character.
std::string_view without_last_character(std::string_view text);

}  // namespace ripplegauge
