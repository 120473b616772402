#!/usr/bin/env python3
"""Style that clang-format does not see: line length, spelling of constants, statements glued by commas.

    python3 .ci/style.py src/core/*.cpp      prints FILE:LINE: what is wrong; ends with 1 if anything is
"""
import re
import sys

LONGEST = 110  # ColumnLimit in .clang-format, which leaves long words and literals alone

# Layers whose statements are still to be parted: being rebuilt, and a change of every line would cost more than it gives.
STILL_GLUED = re.compile(r"^(?:src|include/ripplegauge)/(?:card|camera|panel|stripes|relief|dents|measure)/")

DECLARED_CONSTANT = re.compile(
    r"\b(?:constexpr|const)\b[^=;(){}]*?\b(k[A-Z]\w*|[A-Z][A-Z0-9]*_[A-Z0-9_]*|[A-Z][A-Z0-9]{2,})\s*(?:\[[^\]]*\])?\s*[={]")
# A statement that starts with a value rather than a type: assigned to, counted or called.
EXPRESSION = re.compile(
    r"^(?:(?:\+\+|--)[\w.:]+|\*?[\w.:]+(?:->[\w.]+|\[[^\]]*\])*\s*(?:[-+*/|&^%]?=(?!=)|\+\+|--|<<=|>>=|\())")
KEYWORD = re.compile(r"^(?:if|for|while|switch|catch|return|case|template|using|namespace|class|struct|enum|static_assert|else|do)\b")


def without_words(text):
    """The source with comments and literals blanked, so that only code is left; line breaks stay."""
    pattern = re.compile(r'//[^\n]*|/\*.*?\*/|R"\((?:.|\n)*?\)"|"(?:\\.|[^"\\\n])*"|(?<![0-9a-fA-F])\'(?:\\.|[^\'\\\n])+\'', re.S)
    return pattern.sub(lambda m: "".join(c if c == "\n" else "_" for c in m.group()) if not m.group().startswith("/")
                       else "".join("\n" if c == "\n" else " " for c in m.group()), text)


def statements(code):
    """(line, text) of everything that ends with a semicolon outside parentheses, from the last ; { or } on."""
    start = depth = 0
    for at, c in enumerate(code):
        if c in "([":
            depth += 1
        elif c in ")]":
            depth -= 1
        elif depth == 0 and c in ";{}":
            if c == ";":
                text = code[start:at]
                lead = len(text) - len(text.lstrip())
                yield code.count("\n", 0, start + lead) + 1, text.strip()
            start = at + 1


def has_bare_comma(text):
    depth = 0
    for c in text:
        depth += c in "([{"
        depth -= c in ")]}"
        if c == "," and depth == 0:
            return True
    return False


def wrongs(name):
    with open(name, encoding="utf-8") as file:
        text = file.read()
    for number, line in enumerate(text.split("\n"), 1):
        if len(line) > LONGEST:
            yield number, f"{len(line)} characters, more than {LONGEST}"
    code = "\n".join("" if line.lstrip().startswith("#") else line for line in without_words(text).split("\n"))
    for match in DECLARED_CONSTANT.finditer(code):
        yield code.count("\n", 0, match.start(1)) + 1, f"constants are spelled like_this, not {match.group(1)}"
    if STILL_GLUED.match(name):
        return
    for number, statement in statements(code):
        # What an `if (...)` or a label in front of it guards is a statement, too.
        while (guard := re.match(r"^(?:else\s+)?(?:if|for|while)\s*\((?:[^()]|\((?:[^()]|\([^()]*\))*\))*\)\s*|^else\s+|^case [^:]+:\s*|^default:\s*", statement)):
            statement = statement[guard.end():]
        if EXPRESSION.match(statement) and not KEYWORD.match(statement) and has_bare_comma(statement):
            yield number, "statements glued by a comma: one statement each"


bad = 0
for file_name in sys.argv[1:]:
    for number, what in sorted(wrongs(file_name)):
        print(f"{file_name}:{number}: {what}")
        bad = 1
sys.exit(bad)
