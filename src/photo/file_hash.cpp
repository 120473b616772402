// SHA-256 of files and bytes, by OpenSSL.
#include "photo/file_hash.hpp"

#include <openssl/evp.h>

#include <array>
#include <cerrno>
#include <cstdio>
#include <cstring>
#include <memory>
#include <stdexcept>

#include "ripplegauge/core/errors.hpp"

namespace ripplegauge {
namespace {

class Sha256 {
 public:
  Sha256() : context_(EVP_MD_CTX_new(), EVP_MD_CTX_free) {
    check(context_ != nullptr && EVP_DigestInit_ex(context_.get(), EVP_sha256(), nullptr) == 1);
  }

  void add(const void* data, std::size_t size) { check(EVP_DigestUpdate(context_.get(), data, size) == 1); }

  std::string hex() {
    std::array<unsigned char, EVP_MAX_MD_SIZE> digest{};
    unsigned size = 0;
    check(EVP_DigestFinal_ex(context_.get(), digest.data(), &size) == 1);
    std::string text;
    for (unsigned i = 0; i < size; ++i) {
      text += "0123456789abcdef"[digest[i] >> 4];
      text += "0123456789abcdef"[digest[i] & 15];
    }
    return text;
  }

 private:
  static void check(bool ok) {
    if (!ok) throw std::runtime_error("SHA-256 is not available from the system's libcrypto");
  }

  std::unique_ptr<EVP_MD_CTX, decltype(&EVP_MD_CTX_free)> context_;
};

struct Close {
  void operator()(std::FILE* file) const { std::fclose(file); }
};

}  // namespace

std::string sha256_of_bytes(std::string_view bytes) {
  Sha256 hash;
  hash.add(bytes.data(), bytes.size());
  return hash.hex();
}

std::string sha256_of_file(const std::filesystem::path& path) {
  const std::unique_ptr<std::FILE, Close> file(std::fopen(path.c_str(), "rb"));
  if (!file) throw FileError(path.string(), std::string("cannot be opened (") + std::strerror(errno) + ")");
  Sha256 hash;
  std::array<char, 1 << 16> piece;
  while (const std::size_t count = std::fread(piece.data(), 1, piece.size(), file.get()))
    hash.add(piece.data(), count);
  if (std::ferror(file.get()) != 0)
    throw FileError(path.string(), std::string("cannot be read (") + std::strerror(errno) + ")");
  return hash.hex();
}

}  // namespace ripplegauge
