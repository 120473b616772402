// The errors that leave the library as exceptions. A photo that cannot be measured is not one of them: that
// is an expected result, see Refusal in core/reading.hpp.
#pragma once

#include <stdexcept>
#include <string>

namespace ripplegauge {

/// A file cannot be opened, read, written or decoded. `what()` names the file, what is wrong and what to do.
class FileError : public std::runtime_error {
 public:
  FileError(const std::string& file, const std::string& problem)
      : std::runtime_error(file + ": " + problem), file_(file) {}
  const std::string& file() const { return file_; }

 private:
  std::string file_;
};

/// A file was read but says something that its rules forbid. `what()` names file, key, value and rule.
class ConfigError : public FileError {
 public:
  ConfigError(const std::string& file, const std::string& key, const std::string& value,
              const std::string& rule)
      : FileError(file, "key \"" + key + "\" is " + value + ", but " + rule) {}
};

/// The command line, or an option given to a function, makes no sense. Exit code 2.
class UsageError : public std::invalid_argument {
 public:
  using std::invalid_argument::invalid_argument;
};

}  // namespace ripplegauge
