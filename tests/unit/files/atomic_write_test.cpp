#include "files/atomic_write.hpp"

#include <fcntl.h>
#include <sys/file.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

#include <atomic>
#include <csignal>
#include <string>
#include <thread>
#include <vector>

#include "catch.hpp"
#include "ripplegauge/core/errors.hpp"
#include "scratch_folder.hpp"

using namespace ripplegauge;
using Catch::Matchers::ContainsSubstring;

TEST_CASE("a file is written whole and replaces what stood there", "[atomic_write]") {
  const ScratchFolder folder;
  const std::string bytes("zero \0 byte\n", 12);
  write_atomically(folder / "räksmörgås.bin", bytes);
  CHECK(ScratchFolder::read(folder / "räksmörgås.bin") == bytes);
  write_atomically(folder / "räksmörgås.bin", "");
  CHECK(ScratchFolder::read(folder / "räksmörgås.bin").empty());
  CHECK(folder.file_count() == 1);
}

TEST_CASE("permissions of a replaced file stay, those of a new one follow the umask", "[atomic_write]") {
  const ScratchFolder folder;
  const auto old_file = folder.write("old.txt", "old");
  ::chmod(old_file.c_str(), 0640);
  write_atomically(old_file, "new");
  namespace fs = std::filesystem;
  CHECK(static_cast<int>(fs::status(old_file).permissions()) == 0640);

  const mode_t mask = ::umask(022);
  write_atomically(folder / "new.txt", "new");
  ::umask(mask);
  CHECK(static_cast<int>(fs::status(folder / "new.txt").permissions()) == 0644);
}

TEST_CASE("a symbolic link is followed, not replaced", "[atomic_write]") {
  const ScratchFolder folder;
  const auto real = folder.write("real.txt", "old");
  std::filesystem::create_symlink("real.txt", folder / "link.txt");
  write_atomically(folder / "link.txt", "new");
  CHECK(std::filesystem::is_symlink(folder / "link.txt"));
  CHECK(ScratchFolder::read(real) == "new");

  std::filesystem::create_symlink("not-yet.txt", folder / "dangling.txt");
  write_atomically(folder / "dangling.txt", "new");
  CHECK(std::filesystem::is_symlink(folder / "dangling.txt"));
  CHECK(ScratchFolder::read(folder / "not-yet.txt") == "new");
}

TEST_CASE("a device is written straight", "[atomic_write]") {
  CHECK_NOTHROW(write_atomically("/dev/null", "anything"));
  CHECK(std::filesystem::is_character_file("/dev/null"));
}

TEST_CASE("errors say what to do", "[atomic_write]") {
  const ScratchFolder folder;
  const auto message = [](const std::filesystem::path& target) {
    return message_of<FileError>([&] { write_atomically(target, "x"); });
  };
  CHECK_THAT(message(""), ContainsSubstring("give a file name"));
  CHECK_THAT(message(folder.path()), ContainsSubstring("is a folder"));
  CHECK_THAT(message(folder / "missing/file.txt"),
             ContainsSubstring("missing/file.txt") && ContainsSubstring("create the folder"));
  CHECK_THAT(message(folder.write("file", "") / "x"), ContainsSubstring("folder"));
  CHECK_THAT(message(folder / std::string(300, 'n')), ContainsSubstring("too long"));
}

TEST_CASE("a full disk leaves the old file alone and no temporary behind", "[atomic_write]") {
  const ScratchFolder folder;
  const auto target = folder.write("kept.txt", "old");
  // A file size limit fails the write as a full disk would.
  rlimit before{};
  REQUIRE(::getrlimit(RLIMIT_FSIZE, &before) == 0);
  const auto old_handler = std::signal(SIGXFSZ, SIG_IGN);
  const rlimit tight{1000, before.rlim_max};
  REQUIRE(::setrlimit(RLIMIT_FSIZE, &tight) == 0);
  const std::string message =
      message_of<FileError>([&] { write_atomically(target, std::string(5000, 'x')); });
  REQUIRE(::setrlimit(RLIMIT_FSIZE, &before) == 0);
  std::signal(SIGXFSZ, old_handler);

  CHECK_THAT(message, ContainsSubstring("kept.txt") && ContainsSubstring("cannot be written"));
  CHECK(ScratchFolder::read(target) == "old");
  CHECK(folder.file_count() == 1);
}

TEST_CASE("where links are not followed, one that has the file's name is replaced", "[atomic_write]") {
  const ScratchFolder folder;
  const auto precious = folder.write("precious.txt", "mine");
  std::filesystem::create_symlink("precious.txt", folder / "picture.jpg");
  write_atomically(folder / "picture.jpg", "new", Links::replaced);
  CHECK(ScratchFolder::read(precious) == "mine");
  CHECK_FALSE(std::filesystem::is_symlink(folder / "picture.jpg"));
  CHECK(ScratchFolder::read(folder / "picture.jpg") == "new");
  std::filesystem::create_symlink("nowhere", folder / "dangling.jpg");
  write_atomically(folder / "dangling.jpg", "new", Links::replaced);
  CHECK(ScratchFolder::read(folder / "dangling.jpg") == "new");
  CHECK_FALSE(std::filesystem::exists(folder / "nowhere"));
  std::filesystem::create_directory(folder / "folder.jpg");
  CHECK_THAT(message_of<FileError>([&] { write_atomically(folder / "folder.jpg", "new", Links::replaced); }),
             ContainsSubstring("folder.jpg") && ContainsSubstring("remove that"));
}

TEST_CASE("what a killed run left half written is cleared, what another writes now is not",
          "[atomic_write]") {
  const ScratchFolder folder;
  const auto left = folder.write(".ripplegauge-123-0.tmp", "hal"),
             busy = folder.write(".ripplegauge-124-0.tmp", "hal"),
             other = folder.write(".ripplegauge-notes.txt", "mine"),
             precious = folder.write("precious", "mine");
  std::filesystem::create_symlink("precious", folder / ".ripplegauge-125-0.tmp");
  const int lock = ::open(busy.c_str(), O_RDONLY);
  REQUIRE(::flock(lock, LOCK_EX | LOCK_NB) == 0);
  write_atomically(folder / "a.json", "new");
  CHECK_FALSE(std::filesystem::exists(left));
  CHECK(std::filesystem::exists(busy));
  CHECK(std::filesystem::exists(other));
  CHECK(std::filesystem::exists(precious));
  ::close(lock);
  write_atomically(folder / "a.json", "new");
  CHECK_FALSE(std::filesystem::exists(busy));
}

TEST_CASE("many writers in one folder do not clear each other's files", "[atomic_write]") {
  const ScratchFolder folder;
  std::vector<std::thread> writers;
  std::atomic<int> failed{0};
  for (int i = 0; i < 4; ++i)
    writers.emplace_back([&, i] {
      for (int n = 0; n < 40; ++n) try {
          write_atomically(folder / ("f" + std::to_string(i)), std::to_string(n));
        } catch (const FileError&) {
          ++failed;
        }
    });
  for (std::thread& writer : writers) writer.join();
  CHECK(failed == 0);
  CHECK(folder.file_count() == 4);
  for (int i = 0; i < 4; ++i) CHECK(ScratchFolder::read(folder / ("f" + std::to_string(i))) == "39");
}
