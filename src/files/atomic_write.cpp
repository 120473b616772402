// Files that are there as a whole or not at all.
#include "files/atomic_write.hpp"

#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <optional>
#include <string>
#include <utility>

#include "files/dash.hpp"
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
    case EFBIG:
      return "it would be larger than a file may be here (see `ulimit -f`); raise that limit or choose "
             "another disk";
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
  /// Some network disks report a full disk only when a file is closed: a twin is, so that this one keeps its
  /// lock.
  bool would_close() const {
    const int twin = ::dup(number_);
    return twin >= 0 && ::close(twin) == 0;
  }

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

constexpr std::string_view temporary_begin = ".ripplegauge-", temporary_end = ".tmp";

bool is_same_file(const struct stat& a, const struct stat& b) {
  return a.st_dev == b.st_dev && a.st_ino == b.st_ino;
}

/// Removes a temporary file if whoever wrote it was ended before it could: the system has let go of its lock
/// then. One that is being written is locked; one that was just made and not locked yet is made once more by
/// its writer, see Temporary::made().
void remove_if_left_over(const fs::path& path) {
  const Descriptor file(::open(path.c_str(), O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC));
  struct stat opened {
  }, there{};
  if (!file.is_open() || ::fstat(file.number(), &opened) != 0 || !S_ISREG(opened.st_mode)) return;
  if (::flock(file.number(), LOCK_EX | LOCK_NB) != 0) return;
  if (::lstat(path.c_str(), &there) == 0 && is_same_file(opened, there)) ::unlink(path.c_str());
}

void remove_left_overs(const fs::path& folder) {
  std::error_code error;
  for (fs::directory_iterator entry(folder, error), end; !error && entry != end; entry.increment(error)) {
    const std::string name = entry->path().filename().string();
    if (name.starts_with(temporary_begin) && name.ends_with(temporary_end))
      remove_if_left_over(entry->path());
  }
}

fs::path folder_of(const fs::path& file) {
  return file.has_parent_path() ? file.parent_path() : fs::path(".");
}

/// The temporary file, locked; it removes itself unless it became the target.
class Temporary {
 public:
  Temporary(fs::path path, int descriptor) : path_(std::move(path)), file_(descriptor) {}
  ~Temporary() {
    if (!path_.empty()) ::unlink(path_.c_str());
  }
  Temporary(Temporary&&) = delete;
  Temporary& operator=(Temporary&&) = delete;

  const Descriptor& file() const { return file_; }
  bool become(const fs::path& target) {
    if (::rename(path_.c_str(), target.c_str()) != 0) return false;
    path_.clear();
    return true;
  }

  static Temporary beside(const fs::path& target) {
    for (int attempt = 0;; ++attempt) {
      fs::path path = target.parent_path() / (std::string(temporary_begin) + std::to_string(::getpid()) +
                                              "-" + std::to_string(attempt) + std::string(temporary_end));
      const int descriptor = made(path);
      if (descriptor >= 0) return Temporary(std::move(path), descriptor);
      if (errno != EEXIST || attempt > 1000) fail_writing(target, errno);
    }
  }

 private:
  /// A new locked file, or -1 with errno; EEXIST, too, when another program took it for a left-over.
  static int made(const fs::path& path) {
    // 0666 less the umask, like any new file; mkstemp would leave it readable to its owner alone.
    constexpr mode_t mode = 0666;
    const int descriptor = ::open(path.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, mode);
    if (descriptor < 0) return -1;
    struct stat status {};
    // Some network disks have no locks: there nothing is taken for a left-over either.
    const bool taken = ::flock(descriptor, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK;
    if (!taken && ::fstat(descriptor, &status) == 0 && status.st_nlink > 0) return descriptor;
    ::close(descriptor);
    errno = EEXIST;
    return -1;
  }

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
  const Descriptor descriptor(::open(folder_of(target).c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
  if (descriptor.is_open()) ::fsync(descriptor.number());
}

/// Into a temporary file that takes the target's place; `mode` is that of the file it replaces.
void replace(const fs::path& target, const fs::path& given, std::optional<mode_t> mode,
             std::string_view bytes) {
  remove_left_overs(folder_of(target));
  Temporary temporary = Temporary::beside(target);
  const Descriptor& file = temporary.file();
  if (mode && ::fchmod(file.number(), *mode) != 0) fail_writing(given, errno);
  if (!write_all(file.number(), bytes) || ::fsync(file.number()) != 0 || !file.would_close())
    fail_writing(given, errno);
  if (!temporary.become(target)) fail_writing(given, errno);
  flush_folder(target);
}

/// Whatever has the name is replaced, unless it is no file at all.
void write_beside_links(const fs::path& target, std::string_view bytes) {
  struct stat before {};
  if (::lstat(target.c_str(), &before) == 0 && !S_ISREG(before.st_mode) && !S_ISLNK(before.st_mode))
    fail(target, "cannot be written: its name is taken by something that is no file; remove that");
  replace(target, target, std::nullopt, bytes);
}

void write_through_links(const fs::path& given, std::string_view bytes) {
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
  replace(target, given, exists ? std::optional(before.st_mode & 07777) : std::nullopt, bytes);
}

}  // namespace

int& descriptor_for_dash() {
  static int descriptor = STDOUT_FILENO;
  return descriptor;
}

void write_atomically(const fs::path& target, std::string_view bytes, Links links) {
  if (target.empty()) fail("(no name)", "cannot be written: give a file name");
  if (target == "-" && links == Links::followed) {
    if (!write_all(descriptor_for_dash(), bytes)) fail_writing("standard output", errno);
    return;
  }
  if (links == Links::followed)
    write_through_links(target, bytes);
  else
    write_beside_links(target, bytes);
}

}  // namespace ripplegauge
