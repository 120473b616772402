// Reads a photo's file and tells formats by their first bytes, those that are no photos, too, to name them.
#include "photo_file.hpp"

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstdio>
#include <cstring>
#include <memory>

#include "decode.hpp"
#include "ripplegauge/core/errors.hpp"

namespace ripplegauge::photo_detail {
namespace {

using namespace std::string_view_literals;

/// Enough to tell every format below.
constexpr std::size_t head_size = 512;

bool holds(std::string_view bytes, std::size_t at, std::string_view what) {
  return bytes.size() >= at + what.size() && bytes.substr(at, what.size()) == what;
}

struct Signature {
  std::size_t at;
  std::string_view bytes;
  const char* means;
};

constexpr std::array other_formats = {
    Signature{0, "%PDF"sv, "a PDF document"},
    Signature{0, "GIF8"sv, "a GIF picture"},
    Signature{8, "WEBP"sv, "a WebP picture"},
    Signature{0, "II*\0"sv, "a TIFF picture or a camera's raw file"},
    Signature{0, "MM\0*"sv, "a TIFF picture or a camera's raw file"},
    Signature{4, "ftypavif"sv, "an AVIF picture"},
    Signature{4, "ftypcrx "sv, "a camera's raw file"},
    Signature{4, "ftyp"sv, "a film"},
    Signature{0, "\x1A\x45\xDF\xA3"sv, "a film"},
    Signature{8, "AVI "sv, "a film"},
    Signature{0, "BM"sv, "a BMP picture"},
    Signature{0, "\xFF\x0A"sv, "a JPEG XL picture"},
    Signature{4, "JXL "sv, "a JPEG XL picture"},
    Signature{4, "jP  "sv, "a JPEG 2000 picture"},
    Signature{0, "PK\x03\x04"sv, "a zip archive or an office document"},
    Signature{0, "<svg"sv, "an SVG drawing"},
};

constexpr std::array heif_brands = {"heic"sv, "heix"sv, "heim"sv, "heis"sv, "hevc"sv, "mif1"sv, "msf1"sv};

bool is_heif(std::string_view bytes) {
  return holds(bytes, 4, "ftyp") && std::any_of(heif_brands.begin(), heif_brands.end(),
                                                [&](std::string_view b) { return holds(bytes, 8, b); });
}

bool is_text(std::string_view bytes) {
  return std::all_of(bytes.begin(), bytes.end(), [](char c) {
    const auto u = static_cast<unsigned char>(c);
    return u >= 0x20 ? u != 0x7F : c == '\n' || c == '\r' || c == '\t' || c == '\f';
  });
}

std::string seems_to_be(std::string_view bytes) {
  for (const Signature& signature : other_formats)
    if (holds(bytes, signature.at, signature.bytes)) return signature.means;
  return is_text(bytes.substr(0, head_size)) ? "text" : "something unknown";
}

struct Close {
  void operator()(std::FILE* file) const { std::fclose(file); }
};

}  // namespace

Format format_of(std::string_view bytes) {
  if (bytes.empty()) throw DecodeError("is empty; copy it from the phone again");
  if (holds(bytes, 0, "\xFF\xD8\xFF")) return Format::jpeg;
  if (holds(bytes, 0, "\x89PNG\r\n\x1A\n")) return Format::png;
  if (is_heif(bytes)) return Format::heif;
  throw DecodeError("is not a photo but " + seems_to_be(bytes) + "; give a JPEG, PNG or HEIC file");
}

std::string load_photo_file(const std::filesystem::path& path, const PhotoLimits& limits) {
  const std::string name = path.string();
  std::error_code error;
  const auto status = std::filesystem::status(path, error);
  if (status.type() == std::filesystem::file_type::not_found)
    throw FileError(name, "does not exist; check the name");
  if (error) throw FileError(name, "cannot be opened (" + error.message() + "); check the permissions");
  if (std::filesystem::is_directory(status)) throw FileError(name, "is a folder; name the photos in it");
  if (!std::filesystem::is_regular_file(status))
    throw FileError(name, "is a device or a pipe; give a JPEG, PNG or HEIC file");

  const std::unique_ptr<std::FILE, Close> file(std::fopen(path.c_str(), "rb"));
  if (!file)
    throw FileError(name,
                    std::string("cannot be opened (") + std::strerror(errno) + "); check the permissions");
  const auto size = std::filesystem::file_size(path, error);
  if (error) throw FileError(name, "cannot be read (" + error.message() + ")");

  std::string bytes(std::min<std::uintmax_t>(size, head_size), '\0');
  bytes.resize(std::fread(bytes.data(), 1, bytes.size(), file.get()));
  try {
    format_of(bytes);
  } catch (const DecodeError& problem) {
    throw FileError(name, problem.what());
  }
  if (static_cast<double>(size) > limits.max_megabytes * 1e6)
    throw FileError(name, "has " + std::to_string(size / 1'000'000) + " MB; photos of up to " +
                              std::to_string(static_cast<int>(limits.max_megabytes)) + " MB are read");
  const std::size_t head = bytes.size();
  bytes.resize(size);
  bytes.resize(head + std::fread(bytes.data() + head, 1, bytes.size() - head, file.get()));
  if (std::ferror(file.get()) != 0)
    throw FileError(
        name, std::string("cannot be read (") + std::strerror(errno) + "); copy it from the phone again");
  return bytes;
}

}  // namespace ripplegauge::photo_detail
