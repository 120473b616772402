// Checks the endings of file names that a user gave.
#include "file_names.hpp"

#include "ripplegauge/core/errors.hpp"

namespace ripplegauge::cli {

void require_ending(const char* option, const std::string& file, std::initializer_list<const char*> endings) {
  if (file.empty() || file == "-") return;
  std::string lower = file, listed;
  for (char& c : lower)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  for (const char* ending : endings) {
    if (lower.ends_with(ending)) return;
    listed += (listed.empty() ? "" : " or ") + std::string(ending);
  }
  throw UsageError(std::string(option) + " " + file + ": the name must end in " + listed);
}

}  // namespace ripplegauge::cli
