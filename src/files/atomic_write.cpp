#include "ripplegauge/files/atomic_write.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <string>
#include <utility>

#include "ripplegauge/core/errors.hpp"

namespace ripplegauge {
namespace {

namespace fs = std::filesystem;

[[noreturn]] void fail(const fs::path& target, const std::string& problem) {
  throw FileError(target.string(), problem);
}

std::string remedy(int error_number) {
  switch (error_number) {
    case ENOENT:
    case ENOTDIR:
      return "its folder does not exist; create the folder or choose another";
    case EACCES:
    case EPERM:
      return "no permission to write there; choose another folder";
    case EROFS:
      return "the disk is read-only; choose another folder";
    case ENOSPC:
    case EDQUOT:
      return "the disk is full; free some space or choose another folder";
    case EISDIR:
      return "it is a folder; give a file name";
    case ENAMETOOLONG:
      return "the name is too long; choose a shorter one";
    default:
      return std::strerror(error_number);
  }
}

[[noreturn]] void fail_writing(const fs::path& target, int error_number) {
  fail(target, "cannot be written: " + remedy(error_number));
}

/// A file descriptor that closes itself.
class Descriptor {
 public:
  explicit Descriptor(int number) : number_(number) {}
  ~Descriptor() {
    if (number_ >= 0) ::close(number_);
  }
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;

  bool is_open() const { return number_ >= 0; }
  int number() const { return number_; }
  /// Some network disks report a full disk only here.
  bool close() { return ::close(std::exchange(number_, -1)) == 0; }

 private:
  int number_;
};

bool write_all(int descriptor, std::string_view bytes) {
  while (!bytes.empty()) {
    const ssize_t written = ::write(descriptor, bytes.data(), bytes.size());
    if (written < 0 && errno == EINTR) continue;
    if (written < 0) return false;
    bytes.remove_prefix(static_cast<std::size_t>(written));
  }
  return true;
}

/// The temporary file; it removes itself unless it became the target.
class Temporary {
 public:
  Temporary(fs::path path, int descriptor) : path_(std::move(path)), file_(descriptor) {}
  ~Temporary() {
    if (!path_.empty()) ::unlink(path_.c_str());
  }
  Temporary(const Temporary&) = delete;
  Temporary& operator=(const Temporary&) = delete;

  Descriptor& file() { return file_; }
  bool become(const fs::path& target) {
    if (::rename(path_.c_str(), target.c_str()) != 0) return false;
    path_.clear();
    return true;
  }

  static Temporary beside(const fs::path& target) {
    // 0666 less the umask, like any new file; mkstemp would leave it readable to its owner alone.
    constexpr mode_t mode = 0666;
    for (int attempt = 0;; ++attempt) {
      const std::string name =
          ".ripplegauge-" + std::to_string(::getpid()) + "-" + std::to_string(attempt) + ".tmp";
      fs::path path = target.parent_path() / name;
      const int descriptor = ::open(path.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, mode);
      if (descriptor >= 0) return Temporary(std::move(path), descriptor);
      if (errno != EEXIST || attempt > 1000) fail_writing(target, errno);
    }
  }

 private:
  fs::path path_;
  Descriptor file_;
};

/// The file that a chain of symbolic links leads to, whether it exists or not.
fs::path follow_links(fs::path path) {
  constexpr int max_links = 40;  // as Linux itself
  std::error_code ignored;
  for (int i = 0; i < max_links && fs::is_symlink(path, ignored); ++i) {
    path = path.parent_path() / fs::read_symlink(path, ignored);
  }
  return path;
}

void write_straight(const fs::path& device, std::string_view bytes) {
  const Descriptor file(::open(device.c_str(), O_WRONLY | O_CLOEXEC));
  if (!file.is_open() || !write_all(file.number(), bytes)) fail_writing(device, errno);
}

/// Makes the rename itself survive a power cut. Not every file system can; that is no reason to fail.
void flush_folder(const fs::path& target) {
  const fs::path folder = target.has_parent_path() ? target.parent_path() : fs::path(".");
  const Descriptor descriptor(::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
  if (descriptor.is_open()) ::fsync(descriptor.number());
}

}  // namespace

void write_atomically(const fs::path& given, std::string_view bytes) {
  if (given.empty()) fail("(no name)", "cannot be written: give a file name");

  const fs::path target = follow_links(given);

  struct stat before {};
  const bool exists = ::stat(target.c_str(), &before) == 0;
  if (exists && S_ISDIR(before.st_mode)) fail_writing(given, EISDIR);
  if (exists && !S_ISREG(before.st_mode)) return write_straight(target, bytes);
  // A rename would replace a file that its owner has protected against writing.
  if (exists && ::access(target.c_str(), W_OK) != 0) {
    if (errno == EROFS) fail_writing(given, EROFS);
    fail(given,
         "cannot be written: the file is write-protected; choose another name or remove the protection");
  }

  Temporary temporary = Temporary::beside(target);
  Descriptor& file = temporary.file();
  if (exists && ::fchmod(file.number(), before.st_mode & 07777) != 0) fail_writing(given, errno);
  if (!write_all(file.number(), bytes) || ::fsync(file.number()) != 0 || !file.close())
    fail_writing(given, errno);
  if (!temporary.become(target)) fail_writing(given, errno);
  flush_folder(target);
}

}  // namespace ripplegauge
