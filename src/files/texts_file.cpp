// Reads a translation that somebody wrote, with limits, and says which texts it lacks.
#include "files/texts_file.hpp"

#include "core/joined.hpp"
#include "json/read_bytes.hpp"
#include "ripplegauge/core/errors.hpp"
#include "words/text.hpp"

namespace ripplegauge {

namespace {

Texts texts_of_file(const std::string& file) {
  constexpr std::size_t most_bytes = 1u << 20;
  const std::string lines = read_bytes(file, most_bytes);
  if (!is_utf8(lines)) throw FileError(file, "is no UTF-8 text");
  Texts texts;
  try {
    texts = texts_from(lines);
  } catch (const UsageError& error) {
    throw FileError(file, error.what());
  }
  std::vector<std::string> problems = problems_of(texts);
  constexpr std::size_t most_named = 5;
  if (problems.size() > most_named) {
    problems.resize(most_named);
    problems.emplace_back("and more");
  }
  if (!problems.empty()) throw FileError(file, "is no whole translation: " + joined(problems));
  return texts;
}

}  // namespace

Texts texts_named(const std::string& language_or_file) {
  if (language_or_file.ends_with(".txt")) return texts_of_file(language_or_file);
  if (const Texts* texts = texts_of_language(language_or_file)) return *texts;
  throw UsageError("there are no texts in the language \"" + printable(language_or_file) + "\"; there are " +
                   joined(languages()) + ", and a file of your own, whose name ends in .txt");
}

}  // namespace ripplegauge
