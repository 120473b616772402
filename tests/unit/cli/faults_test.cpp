// What a shell, a disk or a colleague's process may do to the program while it works.
#include <sys/mount.h>
#include <unistd.h>

#include "../compare/scene.hpp"
#include "catch.hpp"
#include "files/job_file.hpp"
#include "files/training_log.hpp"
#include "ripplegauge/json/reading_file.hpp"
#include "run_program.hpp"

namespace fs = std::filesystem;
using namespace ripplegauge;
using Catch::Matchers::ContainsSubstring;

namespace {

const std::string program = "'" RIPPLEGAUGE_PROGRAM "'";
const std::string clocks = " pullwindow --ambient 18 --at 50@0:00 --at 45@0:25 --between 34..40";

struct ShellRun {
  int exit_code = -1;
  std::string err;
};

/// A line for the shell; its standard error is kept.
ShellRun shell(const TemporaryFolder& folder, const std::string& line) {
  const int status = std::system(("( " + line + " ) 2>'" + folder.file("err") + "' </dev/null").c_str());
  ShellRun run{WIFEXITED(status) ? WEXITSTATUS(status) : -1, folder.read("err")};
  fs::remove(folder.file("err"));
  return run;
}

/// A small disk in memory, gone afterwards. Only root can make one.
class SmallDisk {
 public:
  explicit SmallDisk(const TemporaryFolder& folder) : path_(folder.file("disk")) {
    fs::create_directories(path_);
    is_there_ = ::mount("none", path_.c_str(), "tmpfs", 0, "size=64k") == 0;
    if (!is_there_) WARN("no small disk can be made here: not tested");
  }
  ~SmallDisk() {
    if (is_there_) ::umount(path_.c_str());
  }
  SmallDisk(const SmallDisk&) = delete;
  SmallDisk& operator=(const SmallDisk&) = delete;

  bool is_there() const { return is_there_; }
  const std::string& path() const { return path_; }
  std::string file(const std::string& name) const { return path_ + "/" + name; }
  std::size_t file_count() const {
    return static_cast<std::size_t>(std::distance(fs::directory_iterator(path_), {}));
  }
  /// All but `pages` pages of memory, which is what such a disk counts in.
  void fill(const TemporaryFolder& folder, int pages) const {
    shell(folder, "cat /dev/zero >'" + file("fill") + "'");
    fs::resize_file(file("fill"), fs::file_size(file("fill")) - static_cast<std::uintmax_t>(pages) * page());
  }
  void free_space() const { fs::remove(file("fill")); }
  bool make_read_only() const {
    return ::mount("none", path_.c_str(), "tmpfs", MS_REMOUNT | MS_RDONLY, "size=64k") == 0;
  }

 private:
  static std::uintmax_t page() { return static_cast<std::uintmax_t>(::sysconf(_SC_PAGESIZE)); }

  std::string path_;
  bool is_there_ = false;
};

/// `count` photos of a roof that are refused in a fifth of a second, and the command that measures them.
std::string folder_command(const TemporaryFolder& folder, int count, const std::string& job) {
  const std::string bytes =
      ScratchFolder::read(fs::path(RIPPLEGAUGE_SOURCE_DIR) / "samples/photos/refused-no-card.jpg");
  fs::create_directories(folder.path() / "car/roof");
  for (int i = 0; i < count; ++i) {
    const std::string number = std::to_string(100 + i);
    folder.write("car/roof/" + number + ".jpg",
                 bytes + number);  // bytes after a JPEG's end make it another file
  }
  return program + " measure '" + folder.file("car") + "' --job '" + job +
         "' --board-pitch 14 --board-distance 288 --bar-length 98.4";
}

/// The comparison of two readings, which adds a row to this log.
std::string log_command(const TemporaryFolder& folder, const std::string& log) {
  Reading before = test::reading({test::spot(Kind::low, 40, 50, 0.5, 20)});
  Reading after = test::reading({test::spot(Kind::low, 40, 50, 0.2, 18)});
  before.photo.name = "before.jpg";
  after.photo.name = "after.jpg";
  return " compare '" + folder.write("before.json", reading_to_json(before)) + "' '" +
         folder.write("after.json", reading_to_json(after)) + "' --log '" + log +
         "' --who 'bay 2' --exercise door";
}

std::size_t lines_about_photos(const std::string& text) {
  std::size_t count = 0;
  for (std::size_t at = text.find("] roof/"); at != std::string::npos; at = text.find("] roof/", at + 1))
    ++count;
  return count;
}

/// Permissions do not bind root: then as somebody who owns nothing.
std::string as_a_user() {
  return ::geteuid() == 0 ? "setpriv --reuid=65534 --regid=65534 --clear-groups " : "";
}

}  // namespace

TEST_CASE("output that cannot be written is no success", "[cli][faults]") {
  const TemporaryFolder folder;
  REQUIRE(shell(folder, program + clocks + " >/dev/null").exit_code == 0);
  for (const std::string& arguments : {clocks, std::string(" --help"), std::string(" measure --help")}) {
    INFO(arguments);
    const ShellRun full = shell(folder, program + arguments + " >/dev/full");
    CHECK(full.exit_code == 4);
    CHECK_THAT(full.err, ContainsSubstring("the output cannot be written"));
  }
}

TEST_CASE("a reader that has seen enough ends the program without noise", "[cli][faults]") {
  const TemporaryFolder folder;
  // By the signal, as every tool in a pipe; the pause lets `true` close its end first.
  const ShellRun piped = shell(
      folder, "{ { sleep 0.2; " + program + clocks + "; echo $? >'" + folder.file("code") + "'; } | true; }");
  CHECK(piped.exit_code == 0);
  CHECK(piped.err.empty());
  CHECK(folder.read("code") == "141\n");  // 128 + SIGPIPE
  // Where the signal is switched off, the error is told once.
  const ShellRun deaf = shell(folder, "trap '' PIPE; { { sleep 0.2; " + program + clocks + "; echo $? >'" +
                                          folder.file("code") + "'; } | true; }");
  CHECK_THAT(deaf.err, ContainsSubstring("the output cannot be written"));
  CHECK(folder.read("code") == "4\n");
}

TEST_CASE("a reader that has seen enough costs no file", "[cli][faults]") {
  const TemporaryFolder folder;
  const std::string photo = RIPPLEGAUGE_SOURCE_DIR "/samples/photos/refused-no-card.jpg";
  const ShellRun run =
      shell(folder, "{ " + program + " measure '" + photo + "' '" + photo + "' --board-pitch 14 --json '" +
                        folder.file("r.json") + "'; echo $? >'" + folder.file("code") + "'; } | true");
  CHECK(run.exit_code == 0);
  CHECK(folder.read("code") == "141\n");
  CHECK(read_readings(folder.file("r.json")).size() == 2);
}

TEST_CASE("a file that may not grow further is told like a full disk", "[cli][faults]") {
  const TemporaryFolder folder;
  const ShellRun run = shell(
      folder, "ulimit -f 1; " + program + " sheet card --out '" + folder.file("card.pdf") + "' >/dev/null");
  CHECK(run.exit_code == 4);
  CHECK_THAT(run.err, ContainsSubstring("card.pdf") && ContainsSubstring("larger than a file may be"));
  CHECK(folder.file_count() == 0);
}

#ifndef __SANITIZE_ADDRESS__  // which reserves more than any of these limits
TEST_CASE("too little memory is told in a sentence, wherever it runs out", "[cli][faults]") {
  const TemporaryFolder folder;
  const std::string photo = RIPPLEGAUGE_SOURCE_DIR "/samples/photos/refused-no-card.jpg";
  int told = 0;
  for (int megabytes = 115; megabytes <= 250; megabytes += 15) {
    const ShellRun run = shell(folder, "ulimit -v " + std::to_string(1024 * megabytes) + "; " + program +
                                           " measure '" + photo + "' --board-pitch 14 >/dev/null");
    INFO(megabytes << " MB: " << run.err);
    if (run.exit_code == 127) continue;  // not even the libraries could be loaded
    CHECK((run.exit_code == 3 || run.exit_code == 4));
    if (run.exit_code == 4) CHECK_THAT(run.err, ContainsSubstring("memory"));
    told += run.exit_code == 4 ? 1 : 0;
  }
  CHECK(told > 0);
}
#endif

TEST_CASE("text whose font cannot be opened is told, not drawn as boxes", "[cli][faults]") {
  const TemporaryFolder folder;
  const std::string none = folder.write("fonts.conf", "<fontconfig></fontconfig>");
  fs::create_directories(folder.path() / "out");
  const ShellRun run = shell(folder, "FONTCONFIG_FILE='" + none + "' " + program + " sheet card --out '" +
                                         folder.file("out/card.pdf") + "' >/dev/null");
  CHECK(run.exit_code == 4);
  CHECK_THAT(run.err, ContainsSubstring("a font cannot be opened"));
  CHECK(fs::is_empty(folder.path() / "out"));
}

TEST_CASE("without a standard output nothing of it gets into files", "[cli][faults]") {
  const TemporaryFolder folder;
  REQUIRE(
      shell(folder, program + clocks + " --json '" + folder.file("open.json") + "' >/dev/null").exit_code ==
      0);
  CHECK(shell(folder, program + clocks + " --json '" + folder.file("closed.json") + "' >&- 2>&-").exit_code ==
        0);
  REQUIRE_FALSE(folder.read("open.json").empty());
  CHECK(folder.read("closed.json") == folder.read("open.json"));
}

TEST_CASE("folders that may not be read or written", "[cli][faults]") {
  const TemporaryFolder folder;
  fs::permissions(folder.path(), fs::perms::all);
  if (shell(folder, as_a_user() + program + " --version >/dev/null").exit_code != 0) {
    WARN("runs as root and cannot give that up: not tested");
    return;
  }
  fs::create_directories(folder.path() / "locked/roof");
  folder.write("locked/old.json", "old");
  folder.write("locked/roof/1.jpg", "no photo");
  fs::permissions(folder.path() / "locked", fs::perms::owner_read | fs::perms::owner_exec |
                                                fs::perms::others_read | fs::perms::others_exec);
  const auto told = [&](const std::string& arguments, const std::string& what) {
    const ShellRun run = shell(folder, as_a_user() + program + arguments + " >/dev/null");
    INFO(arguments << "\n" << run.err);
    CHECK(run.exit_code == 4);
    CHECK_THAT(run.err, ContainsSubstring(what));
  };
  told(clocks + " --json '" + folder.file("locked/new.json") + "'", "no permission to write there");
  told(clocks + " --json '" + folder.file("locked/old.json") + "'", "write-protected");
  CHECK(folder.read("locked/old.json") == "old");
  told(" job new '" + folder.file("locked/job.json") + "'", "locked");
  const std::string values = " --board-pitch 14 --board-distance 288 --bar-length 98.4";
  told(" measure '" + folder.file("locked") + "' --job '" + folder.file("locked/job.json") + "'" + values,
       "locked");

  folder.write("locked/log.csv", "");
  told(log_command(folder, folder.file("locked/log.csv")), "locked/log.csv");
  told(log_command(folder, folder.file("locked/new.csv")), "locked/new.csv");

  fs::permissions(folder.path() / "locked/roof", fs::perms::none);
  told(" measure '" + folder.file("locked") + "' --job '" + folder.file("job.json") + "'" + values, "roof");
  fs::permissions(folder.path() / "locked", fs::perms::none);
  told(" measure '" + folder.file("locked") + "'" + values, "locked");
  told(" plan '" + folder.file("locked/old.json") + "'", "locked/old.json");
  fs::permissions(folder.path() / "locked", fs::perms::all);
  fs::permissions(folder.path() / "locked/roof", fs::perms::all);
  CHECK(std::distance(fs::directory_iterator(folder.path() / "locked"), {}) == 3);
}

TEST_CASE("a photo that may not be read is told, and the others of its folder are measured",
          "[cli][faults]") {
  const TemporaryFolder folder;
  fs::permissions(folder.path(), fs::perms::all);
  if (shell(folder, as_a_user() + program + " --version >/dev/null").exit_code != 0) {
    WARN("runs as root and cannot give that up: not tested");
    return;
  }
  const std::string command = as_a_user() + folder_command(folder, 3, folder.file("job.json"));
  fs::permissions(folder.path() / "car/roof/101.jpg", fs::perms::none);
  const ShellRun alone = shell(folder, as_a_user() + program + " measure '" +
                                           folder.file("car/roof/101.jpg") + "' --board-pitch 14 >/dev/null");
  CHECK(alone.exit_code == 4);
  CHECK_THAT(alone.err, ContainsSubstring("101.jpg"));

  const ShellRun all = shell(folder, command + " >'" + folder.file("out") + "'");
  INFO(all.err);
  CHECK(all.exit_code == 3);
  CHECK(lines_about_photos(folder.read("out")) == 3);
  const Job job = read_job(folder.file("job.json"));
  REQUIRE(job.photos.size() == 3);
  for (const JobPhoto& photo : job.photos) {
    REQUIRE(photo.refusal);
    CHECK((photo.refusal->code == "file_unreadable") == (photo.name == "roof/101.jpg"));
  }
}

TEST_CASE("a full disk: the old file stays whole, and nothing lies about", "[cli][faults]") {
  const TemporaryFolder folder;
  const SmallDisk disk(folder);
  if (!disk.is_there()) return;
  const std::string json = disk.file("window.json"), job = disk.file("job.json");
  CHECK(shell(folder, program + clocks + " --json '" + json + "' >/dev/null").exit_code == 0);
  CHECK(shell(folder, program + " job new '" + job + "' >/dev/null").exit_code == 0);
  const std::string old_json = ScratchFolder::read(json), old_job = ScratchFolder::read(job);
  CHECK_FALSE(old_json.empty());
  CHECK_FALSE(old_job.empty());
  disk.fill(folder, 0);
  const std::size_t files = disk.file_count();

  for (const std::string& arguments :
       {clocks + " --json '" + json + "'", clocks + " --json '" + disk.file("new.json") + "'",
        " job add-hand '" + job + "' --panel roof --diameter 24 --plus-minus 2 --severity moderate",
        " job new '" + disk.file("other.json") + "'", " sheet card --out '" + disk.file("card.pdf") + "'"}) {
    const ShellRun run = shell(folder, program + arguments + " >/dev/null");
    INFO(arguments << "\n" << run.err);
    CHECK(run.exit_code == 4);
    CHECK_THAT(run.err, ContainsSubstring("the disk is full"));
    CHECK(disk.file_count() == files);
  }
  CHECK(ScratchFolder::read(json) == old_json);
  CHECK(ScratchFolder::read(job) == old_job);
}

TEST_CASE("a full disk: a row that does not fit leaves the log as it was", "[cli][faults]") {
  const TemporaryFolder folder;
  const SmallDisk disk(folder);
  if (!disk.is_there()) return;
  const std::string log = disk.file("log.csv"), command = program + log_command(folder, log) + " >/dev/null";
  // Such a disk counts in pages: up to the end of one the log may still grow.
  const auto page = static_cast<std::uintmax_t>(::sysconf(_SC_PAGESIZE));
  std::size_t rows = 0;
  std::uintmax_t row_bytes = 0;
  for (std::uintmax_t before = 0; rows < 2 || before % page + row_bytes <= page; ++rows) {
    REQUIRE(shell(folder, command).exit_code == 0);
    row_bytes = fs::file_size(log) - before;
    before += row_bytes;
  }
  disk.fill(folder, 0);
  const std::string old_log = ScratchFolder::read(log);
  const ShellRun full = shell(folder, command);
  INFO(full.err);
  CHECK(full.exit_code == 4);
  CHECK_THAT(full.err, ContainsSubstring("log.csv"));
  CHECK(ScratchFolder::read(log) == old_log);
  disk.free_space();
  CHECK(shell(folder, command).exit_code == 0);
  CHECK(read_training_log(log).size() == rows + 1);
}

TEST_CASE("a disk that fills up during a folder run costs no photo that was reported", "[cli][faults]") {
  const TemporaryFolder folder;
  const SmallDisk disk(folder);
  if (!disk.is_there()) return;
  constexpr int photos = 16;
  const std::string job = disk.file("job.json"), command = folder_command(folder, photos, job);
  CHECK(shell(folder, program + " job new '" + job + "' >/dev/null").exit_code == 0);
  disk.fill(folder, 1);  // the job beside its successor, as long as each fits into a page
  const std::size_t files = disk.file_count();
  const ShellRun full = shell(folder, command + " >'" + folder.file("out") + "'");
  CHECK(full.exit_code == 4);
  CHECK_THAT(full.err, ContainsSubstring("the disk is full"));
  const std::size_t reported = lines_about_photos(folder.read("out"));
  CHECK(reported > 0);
  CHECK(reported < photos);
  CHECK(read_job(job).photos.size() == reported);
  CHECK(disk.file_count() == files);

  disk.free_space();
  CHECK(shell(folder, command + " >'" + folder.file("out") + "'").exit_code == 3);
  CHECK(lines_about_photos(folder.read("out")) == photos - reported);
  CHECK(read_job(job).photos.size() == photos);
}

TEST_CASE("a read-only disk is told, and what it holds can be read", "[cli][faults]") {
  const TemporaryFolder folder;
  const SmallDisk disk(folder);
  if (!disk.is_there()) return;
  const std::string json = disk.file("window.json"), job = disk.file("job.json"), log = disk.file("log.csv");
  CHECK(shell(folder, program + clocks + " --json '" + json + "' >/dev/null").exit_code == 0);
  CHECK(shell(folder, program + " job new '" + job + "' >/dev/null").exit_code == 0);
  CHECK(shell(folder, program + log_command(folder, log) + " >/dev/null").exit_code == 0);
  REQUIRE(disk.make_read_only());
  for (const std::string& arguments :
       {clocks + " --json '" + json + "'", clocks + " --json '" + disk.file("new.json") + "'",
        " job add-hand '" + job + "' --panel roof --diameter 24 --plus-minus 2 --severity moderate",
        " job new '" + disk.file("other.json") + "'", " sheet card --out '" + disk.file("card.pdf") + "'",
        folder_command(folder, 1, job).substr(program.size())}) {
    const ShellRun run = shell(folder, program + arguments + " >/dev/null");
    INFO(arguments << "\n" << run.err);
    CHECK(run.exit_code == 4);
    CHECK_THAT(run.err, ContainsSubstring("the disk is read-only; choose another folder"));
    CHECK(disk.file_count() == 3);
  }
  const ShellRun logging = shell(folder, program + log_command(folder, log) + " >/dev/null");
  CHECK(logging.exit_code == 4);
  CHECK_THAT(logging.err, ContainsSubstring("log.csv"));
  CHECK(shell(folder, program + " progress '" + log + "' >/dev/null").exit_code == 0);
  CHECK(shell(folder, program + " job list '" + job + "' >/dev/null").exit_code == 0);
}

TEST_CASE("a reader that leaves during a folder run costs no photo that was reported", "[cli][faults]") {
  const TemporaryFolder folder;
  constexpr int photos = 6;
  const std::string job = folder.file("job.json"), command = folder_command(folder, photos, job);
  const std::string line = "{ { " + command + " --threads 1; echo $? >'" + folder.file("code") +
                           "'; } | head -n 2 >'" + folder.file("out") + "'; }";
  CHECK(shell(folder, line).exit_code == 0);
  CHECK(folder.read("code") == "141\n");  // 128 + SIGPIPE
  const std::size_t stored = read_job(job).photos.size();
  CHECK(stored >= lines_about_photos(folder.read("out")));
  CHECK(stored >= 1);
  CHECK(stored < photos);
  CHECK(shell(folder, command + " >/dev/null").exit_code == 3);
  CHECK(read_job(job).photos.size() == photos);
}

TEST_CASE("several runs on one log add a row each", "[cli][faults]") {
  const TemporaryFolder folder;
  const std::string log = folder.file("log.csv"),
                    command = program + log_command(folder, log) + " >/dev/null";
  constexpr int runs = 6;  // whichever is first makes the file
  std::string line = "failed=0; others=''";
  for (int i = 0; i < runs; ++i) line += "; " + command + " & others=\"$others $!\"";
  const ShellRun all =
      shell(folder, line + "; for one in $others; do wait $one || failed=1; done; exit $failed");
  INFO(all.err);
  CHECK(all.exit_code == 0);
  CHECK(read_training_log(log).size() == runs);
  CHECK(folder.file_count() == 3);  // the two readings and the log
}
