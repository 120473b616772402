// Clean text, its width and its lines. What a character is, how wide it shows and where a line may end is
// ICU's knowledge; ASCII, which is nearly all that is written here, does without it.
#include "words/text.hpp"

#include <fmt/format.h>
#include <unicode/ubrk.h>
#include <unicode/uchar.h>
#include <unicode/unistr.h>
#include <unicode/utf8.h>

#include <algorithm>
#include <memory>

#include "words/icu_memory.hpp"

namespace ripplegauge {

namespace {

constexpr std::string_view replacement = "\uFFFD", blanks = " \t\r\n";

int cells(UChar32 character) {
  if (character < 0) return 1;  // no UTF-8: shown as a replacement character
  switch (u_charType(character)) {
    case U_NON_SPACING_MARK:
    case U_ENCLOSING_MARK:
    case U_FORMAT_CHAR:
    case U_CONTROL_CHAR:
      return 0;
    default:
      break;
  }
  const int width = u_getIntPropertyValue(character, UCHAR_EAST_ASIAN_WIDTH);
  return width == U_EA_WIDE || width == U_EA_FULLWIDTH ? 2 : 1;
}

bool is_ascii(std::string_view text) {
  return std::all_of(text.begin(), text.end(), [](char c) { return static_cast<unsigned char>(c) < 0x80; });
}

/// Calls `take` with every character, or with a negative number for a byte that is none, and its place.
template <class Take>
void for_each_character(std::string_view text, Take&& take) {
  const auto size = static_cast<int32_t>(text.size());
  for (int32_t at = 0; at < size;) {
    const int32_t start = at;
    UChar32 character = 0;
    U8_NEXT(text.data(), at, size, character);
    take(character, text.substr(static_cast<std::size_t>(start), static_cast<std::size_t>(at - start)));
  }
}

/// ICU's search for places where a line may end. Opening it costs much more than a search, so each thread
/// keeps one.
class LineEnds {
 public:
  LineEnds() {
    UErrorCode error = U_ZERO_ERROR;
    finder_.reset(ubrk_open(UBRK_LINE, "", nullptr, 0, &error));
    require_memory(error);
  }

  /// Places inside the word, in bytes, in order, between two characters that are no ASCII.
  std::vector<std::size_t> inside(std::string_view word) const {
    std::vector<std::size_t> ends;
    UErrorCode error = U_ZERO_ERROR;
    const std::unique_ptr<UText, Close> text(
        utext_openUTF8(nullptr, word.data(), static_cast<int64_t>(word.size()), &error));
    if (!finder_ || U_FAILURE(error)) return ends;
    ubrk_setUText(finder_.get(), text.get(), &error);
    if (U_FAILURE(error)) return ends;
    for (int32_t at = ubrk_next(finder_.get()); at != UBRK_DONE; at = ubrk_next(finder_.get())) {
      const auto place = static_cast<std::size_t>(at);
      if (place < word.size() && !is_ascii(word.substr(place - 1, 1)) && !is_ascii(word.substr(place, 1)))
        ends.push_back(place);
    }
    return ends;
  }

 private:
  struct Close {
    void operator()(UBreakIterator* finder) const { ubrk_close(finder); }
    void operator()(UText* text) const { utext_close(text); }
  };
  std::unique_ptr<UBreakIterator, Close> finder_;
};

/// What stays together on a line.
struct Piece {
  std::string_view text;
  bool after_blank = false;
};

std::vector<Piece> pieces_of(std::string_view text) {
  std::vector<Piece> pieces;
  for (std::size_t start = text.find_first_not_of(blanks); start != std::string_view::npos;) {
    const std::size_t end = std::min(text.find_first_of(blanks, start), text.size());
    const std::string_view word = text.substr(start, end - start);
    std::size_t from = 0;
    if (!is_ascii(word)) {
      thread_local const LineEnds line_ends;
      for (const std::size_t place : line_ends.inside(word)) {
        pieces.push_back({word.substr(from, place - from), from == 0});
        from = place;
      }
    }
    pieces.push_back({word.substr(from), from == 0});
    start = text.find_first_not_of(blanks, end);
  }
  return pieces;
}

/// The longest beginning that is no wider than `room`, at least one character; its bytes.
std::size_t bytes_within(std::string_view text, double room,
                         const std::function<double(std::string_view)>& width_of) {
  std::size_t fits = 0, end = 0;
  bool full = false;
  for_each_character(text, [&](UChar32, std::string_view character) {
    end += character.size();
    if (full) return;
    full = fits > 0 && width_of(text.substr(0, end)) > room;
    if (!full) fits = end;
  });
  return fits;
}

/// Fills lines with pieces, from left to right.
class LineFiller {
 public:
  LineFiller(double first_room, double room, const std::function<double(std::string_view)>& width_of,
             LongWords long_words)
      : room_(first_room),
        later_room_(room),
        width_of_(width_of),
        blank_(width_of(" ")),
        long_words_(long_words) {}

  void add(const Piece& piece) {
    std::string_view text = piece.text;
    double width = width_of_(text);
    const double blank = piece.after_blank ? blank_ : 0;
    if (!line_.empty() && width_ + blank + width > room_) end_line();
    while (long_words_ == LongWords::cut && width > room_) {
      const std::size_t cut = bytes_within(text, room_, width_of_);
      if (cut == text.size()) break;  // one character, wider than the line
      line_ = text.substr(0, cut);
      end_line();
      text.remove_prefix(cut);
      width = width_of_(text);
    }
    if (!line_.empty() && piece.after_blank) {
      line_ += ' ';
      width_ += blank_;
    }
    line_ += text;
    width_ += width;
  }

  std::vector<std::string> lines() {
    if (!line_.empty()) end_line();
    return std::move(lines_);
  }

 private:
  void end_line() {
    lines_.push_back(std::move(line_));
    line_.clear();
    width_ = 0;
    room_ = later_room_;
  }

  double room_, later_room_;
  const std::function<double(std::string_view)>& width_of_;
  double blank_;
  LongWords long_words_;
  std::vector<std::string> lines_;
  std::string line_;
  double width_ = 0;
};

}  // namespace

int display_width(std::string_view text) {
  if (is_ascii(text))
    return static_cast<int>(
        std::count_if(text.begin(), text.end(), [](char c) { return c >= 0x20 && c != 0x7f; }));
  int width = 0;
  for_each_character(text, [&](UChar32 character, std::string_view) { width += cells(character); });
  return width;
}

bool is_utf8(std::string_view text) {
  bool good = true;
  for_each_character(text, [&](UChar32 character, std::string_view) { good = good && character >= 0; });
  return good;
}

std::string utf8_from_utf16(std::string_view bytes, bool big_endian) {
  const auto unit = [&](std::size_t i) {
    const auto first = static_cast<unsigned char>(bytes[i]);
    const auto second = static_cast<unsigned char>(bytes[i + 1]);
    return static_cast<char16_t>(big_endian ? first * 256 + second : second * 256 + first);
  };
  icu::UnicodeString units;
  for (std::size_t i = 0; i + 1 < bytes.size(); i += 2) units.append(unit(i));
  std::string text;
  return units.toUTF8String(text);
}

std::string printable(std::string_view text) {
  std::string clean;
  for_each_character(text, [&](UChar32 character, std::string_view bytes) {
    const bool control = character < 0x20 || (character >= 0x7f && character <= 0x9f);
    // Embeddings, overrides and isolates of a stated direction (Unicode Standard Annex 9, 2.1 to 2.4).
    const bool turns =
        (character >= 0x202a && character <= 0x202e) || character == 0x2066 || character == 0x2067;
    clean += control || turns ? replacement : bytes;
  });
  return clean;
}

std::string padded_right(std::string text, int width) {
  text.append(static_cast<std::size_t>(std::max(0, width - display_width(text))), ' ');
  return text;
}

std::string padded_left(std::string text, int width) {
  text.insert(0, static_cast<std::size_t>(std::max(0, width - display_width(text))), ' ');
  return text;
}

std::vector<std::string> broken(std::string_view text, double first_room, double room,
                                const std::function<double(std::string_view)>& width_of,
                                LongWords long_words) {
  LineFiller filler(first_room, room, width_of, long_words);
  for (const Piece& piece : pieces_of(text)) filler.add(piece);
  return filler.lines();
}

std::vector<std::string> wrapped(std::string_view text, int width) {
  return broken(text, width, width, display_width, LongWords::cut);
}

std::string_view without_last_character(std::string_view text) {
  std::size_t cut = 0, at = 0;
  for_each_character(text, [&](UChar32 character, std::string_view bytes) {
    if (cells(character) > 0) cut = at;
    at += bytes.size();
  });
  return text.substr(0, cut);
}

}  // namespace ripplegauge
