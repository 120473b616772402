#pragma once

#include <string>

#include "words/wording.hpp"

namespace ripplegauge {

/// Texts of the program's language of that name ("en", "de"), or of a file whose name ends in .txt. Throws
/// UsageError for a language that nobody knows, FileError for a file that is not whole: it names the first
/// keys that are missing.
Texts texts_named(const std::string& language_or_file);

}  // namespace ripplegauge
