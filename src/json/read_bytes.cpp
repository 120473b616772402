// A whole file into memory, up to a limit; pipes and standard input, too.
#include "json/read_bytes.hpp"

#include <cerrno>
#include <cstdio>
#include <cstring>
#include <memory>

#include "ripplegauge/core/errors.hpp"

namespace ripplegauge {
namespace {

std::string why_not_opened(int error_number) {
  switch (error_number) {
    case ENOENT:
    case ENOTDIR:
      return "there is no such file; check its name and folder";
    case EACCES:
      return "no permission to read it";
    default:
      return std::string("cannot be opened: ") + std::strerror(error_number);
  }
}

}  // namespace

std::string read_bytes(const std::filesystem::path& file, std::size_t max_bytes) {
  const bool from_standard_input = file == "-";
  const std::string name = from_standard_input ? "standard input" : file.string();
  std::error_code ignored;
  if (std::filesystem::is_directory(file, ignored)) throw FileError(name, "is a folder; give a file");

  struct Close {
    void operator()(std::FILE* stream) const { std::fclose(stream); }
  };
  const std::unique_ptr<std::FILE, Close> stream(
      std::fopen(from_standard_input ? "/dev/stdin" : file.c_str(), "rb"));
  if (!stream) throw FileError(name, why_not_opened(errno));

  // Read until the end instead of asking for the size: a pipe has none.
  std::string bytes;
  char block[65536];
  while (const std::size_t count = std::fread(block, 1, sizeof block, stream.get())) {
    bytes.append(block, count);
    if (bytes.size() > max_bytes)
      throw FileError(
          name, "is larger than " + std::to_string(max_bytes) + " bytes; this cannot be the right file");
  }
  if (std::ferror(stream.get()))
    throw FileError(name, std::string("reading failed: ") + std::strerror(errno));
  return bytes;
}

}  // namespace ripplegauge
