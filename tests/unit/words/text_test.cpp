// Text as terminals and pages show it: width, lines, clean characters, figures.
#include "words/text.hpp"

#include <cmath>

#include "catch.hpp"

using namespace ripplegauge;

using Lines = std::vector<std::string>;

TEST_CASE("text takes as many cells as a terminal gives it", "[words]") {
  CHECK(display_width("bonnet") == 6);
  CHECK(display_width("Kotflügel") == 9);
  CHECK(display_width("u\xCC\x88") == 1);     // u with a combining diaeresis
  CHECK(display_width("\xE5\xB1\x8B") == 2);  // a wide ideograph
  CHECK(display_width("\xFF\xFE") == 2);      // no UTF-8: two replacement characters
  CHECK(padded_left("Tür", 5) == "  Tür");
  CHECK(padded_right("Tür", 5) == "Tür  ");
}

TEST_CASE("text wraps at spaces and inside words only when it must", "[words]") {
  CHECK(wrapped("left front door", 10) == std::vector<std::string>{"left front", "door"});
  CHECK(wrapped("", 10).empty());
  CHECK(wrapped("abcdefghij klm", 4) == std::vector<std::string>{"abcd", "efgh", "ij", "klm"});
  for (const std::string& line : wrapped("Kotflügelöffnungen überall", 5)) CHECK(display_width(line) <= 5);
  CHECK(wrapped("\xE5\xB1\x8B\xE5\xB1\x8B", 1).size() ==
        2);  // wider than the line: one a line, no endless loop
}

TEST_CASE("scripts without blanks are broken where they allow it", "[words]") {
  // UAX 14: no line starts with a full stop (IDEOGRAPHIC FULL STOP, class CL).
  CHECK(wrapped("测量凹痕。完成", 8) == Lines{"测量凹", "痕。完成"});
  CHECK(wrapped("car 测量凹痕 done", 8) == Lines{"car 测量", "凹痕", "done"});
}

TEST_CASE("options, file names and ranges stay whole while there is room", "[words]") {
  CHECK(wrapped("give --board-pitch now", 15) == Lines{"give", "--board-pitch", "now"});
  CHECK(wrapped("97 mm (87\u2013108) wide", 10) == Lines{"97 mm", "(87\u2013108)", "wide"});
}

TEST_CASE("the first line may have less room, and long words may stand out", "[words]") {
  const auto lines = [](LongWords long_words) {
    return broken("ab cd estate/bonnet/1.jpg", 4, 8, display_width, long_words);
  };
  CHECK(lines(LongWords::stand_out) == Lines{"ab", "cd", "estate/bonnet/1.jpg"});
  CHECK(lines(LongWords::cut) == Lines{"ab", "cd", "estate/b", "onnet/1.", "jpg"});
}

TEST_CASE("blanks and line ends in a row count as one blank", "[words]") {
  CHECK(wrapped("  a \n\tb  ", 10) == Lines{"a b"});
}

TEST_CASE("what cannot be shown becomes the replacement character", "[words]") {
  CHECK(printable("door\x1b[2J.jpg") == "door\uFFFD[2J.jpg");
  CHECK(printable("a\nb\x7f") == "a\uFFFDb\uFFFD");
  CHECK(printable("a\xFF\xE5z") == "a\uFFFD\uFFFDz");
  CHECK(printable("Kotflügel שלום") == "Kotflügel שלום");
  CHECK(printable("a\u202Egpj.exe\u202C \u2067b\u2069") == "a\uFFFDgpj.exe\uFFFD \uFFFDb\u2069");
  CHECK(printable("a\u0085\u2068b\u200F") == "a\uFFFD\u2068b\u200F");
  CHECK(is_utf8(printable("\xC0\x80\xED\xA0\x80")));
}

TEST_CASE("figures have the decimals asked for and no sign before nothing", "[words]") {
  CHECK(figure(1.25, 1) == "1.2");
  CHECK(figure(-0.04, 1) == "0.0");
  CHECK(figure(-0.05001, 1) == "-0.1");
  CHECK(figure(-3, 0) == "-3");
  CHECK(figure(std::nan(""), 2) == "nan");
}

TEST_CASE("blanks around text go", "[words]") {
  CHECK(trimmed(" \ta b\r\n") == "a b");
  CHECK(trimmed(" \t").empty());
}

TEST_CASE("a character goes with its marks", "[words]") {
  CHECK(without_last_character("au\u0308") == "a");
  CHECK(without_last_character("屋屋") == "屋");
  CHECK(without_last_character("a").empty());
  CHECK(without_last_character("").empty());
}

TEST_CASE("capitals of ASCII become small, other letters stay", "[words]") {
  CHECK(lower_case("Door EDGE 2_ÄÖ") == "door edge 2_ÄÖ");
}
