// What a shell, a disk or a colleague's process may do to the program while it works.
#include <sys/mount.h>
#include <unistd.h>

#include "catch.hpp"
#include "run_program.hpp"

namespace fs = std::filesystem;
using Catch::Matchers::ContainsSubstring;

namespace {

const std::string program = "'" RIPPLEGAUGE_PROGRAM "'";
const std::string clocks = " pullwindow --ambient 18 --at 0:50 --at 25:45 --between 34..40";

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

  fs::permissions(folder.path() / "locked/roof", fs::perms::none);
  told(" measure '" + folder.file("locked") + "' --job '" + folder.file("job.json") + "'" + values, "roof");
  fs::permissions(folder.path() / "locked", fs::perms::none);
  told(" measure '" + folder.file("locked") + "'" + values, "locked");
  told(" plan '" + folder.file("locked/old.json") + "'", "locked/old.json");
  fs::permissions(folder.path() / "locked", fs::perms::all);
  fs::permissions(folder.path() / "locked/roof", fs::perms::all);
  CHECK(std::distance(fs::directory_iterator(folder.path() / "locked"), {}) == 2);
}

TEST_CASE("a full disk: the old file stays whole, and nothing lies about", "[cli][faults]") {
  const TemporaryFolder folder;
  const std::string disk = folder.file("disk");
  fs::create_directories(disk);
  if (::mount("none", disk.c_str(), "tmpfs", 0, "size=64k") != 0) {
    WARN("no small disk can be made here: not tested");
    return;
  }
  const std::string json = disk + "/window.json", job = disk + "/job.json";
  CHECK(shell(folder, program + clocks + " --json '" + json + "' >/dev/null").exit_code == 0);
  CHECK(shell(folder, program + " job new '" + job + "' >/dev/null").exit_code == 0);
  const std::string old_json = ScratchFolder::read(json), old_job = ScratchFolder::read(job);
  CHECK_FALSE(old_json.empty());
  CHECK_FALSE(old_job.empty());
  shell(folder, "cat /dev/zero >'" + disk + "/fill'");
  const auto files = std::distance(fs::directory_iterator(disk), {});

  for (const std::string& arguments :
       {clocks + " --json '" + json + "'", clocks + " --json '" + disk + "/new.json'",
        " job add-hand '" + job + "' --panel roof --diameter 24 --plus-minus 2 --severity moderate",
        " job new '" + disk + "/other.json'", " sheet card --out '" + disk + "/card.pdf'"}) {
    const ShellRun run = shell(folder, program + arguments + " >/dev/null");
    INFO(arguments << "\n" << run.err);
    CHECK(run.exit_code == 4);
    CHECK_THAT(run.err, ContainsSubstring("the disk is full"));
    CHECK(std::distance(fs::directory_iterator(disk), {}) == files);
  }
  CHECK(ScratchFolder::read(json) == old_json);
  CHECK(ScratchFolder::read(job) == old_job);
  CHECK(::umount(disk.c_str()) == 0);
}
