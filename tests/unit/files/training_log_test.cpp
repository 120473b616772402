#include "files/training_log.hpp"

#include <signal.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <fstream>
#include <set>
#include <sstream>

#include "catch.hpp"
#include "ripplegauge/core/errors.hpp"

using namespace ripplegauge;

namespace {

class LogFile {
 public:
  LogFile() {
    std::string folder = (std::filesystem::temp_directory_path() / "ripplegauge-log-XXXXXX").string();
    REQUIRE(::mkdtemp(folder.data()) != nullptr);
    folder_ = folder;
  }
  ~LogFile() { std::filesystem::remove_all(folder_); }

  std::filesystem::path path() const { return folder_ / "log.csv"; }
  std::string text() const {
    std::ifstream file(path(), std::ios::binary);
    std::ostringstream bytes;
    bytes << file.rdbuf();
    return bytes.str();
  }
  void write(const std::string& bytes) const { std::ofstream(path(), std::ios::binary) << bytes; }

 private:
  std::filesystem::path folder_;
};

TrainingAttempt example(const std::string& who = "bay 2") {
  TrainingAttempt attempt;
  attempt.logged_at = "2026-03-14T09:26:53Z";
  attempt.who = who;
  attempt.exercise = "door, lower \"third\"";
  attempt.before = "Tür 1.jpg";
  attempt.after = "Tür 2.jpg";
  attempt.spots = 1;
  attempt.depth_before_mm = 0.5357;
  attempt.percent_gone = 62.5;
  attempt.highs_made = 1;
  attempt.minutes = 12.5;
  attempt.outcome = "partly_pulled";
  return attempt;
}

std::string error_when_appending(const LogFile& log) {
  try {
    append_to_training_log(log.path(), example());
  } catch (const FileError& error) {
    return error.what();
  }
  return "no error";
}

}  // namespace

TEST_CASE("a row that was appended comes back", "[training_log]") {
  const LogFile log;
  TrainingAttempt bare;
  bare.who = "x";
  bare.exercise = "y";
  append_to_training_log(log.path(), example());
  append_to_training_log(log.path(), bare);
  const auto rows = read_training_log(log.path());
  REQUIRE(rows.size() == 2);
  CHECK(rows[0] == example());
  CHECK(rows[1] == bare);
}

TEST_CASE("appending never touches what stands there", "[training_log]") {
  const LogFile log;
  append_to_training_log(log.path(), example());
  const std::string before = log.text();
  append_to_training_log(log.path(), example());
  CHECK(log.text().substr(0, before.size()) == before);
  CHECK(log.text().size() > before.size());
}

TEST_CASE("programs that append at once lose nothing", "[training_log]") {
  const LogFile log;
  const int writers = 4, rows_each = 25;
  std::vector<pid_t> children;
  for (int writer = 0; writer < writers; ++writer) {
    const pid_t child = ::fork();
    REQUIRE(child >= 0);
    if (child == 0) {
      try {
        for (int row = 0; row < rows_each; ++row)
          append_to_training_log(log.path(), example(std::to_string(writer) + "-" + std::to_string(row)));
      } catch (...) {
        ::_exit(1);
      }
      ::_exit(0);
    }
    children.push_back(child);
  }
  for (const pid_t child : children) {
    int status = -1;
    REQUIRE(::waitpid(child, &status, 0) == child);
    CHECK(status == 0);
  }
  const auto rows = read_training_log(log.path());
  REQUIRE(rows.size() == writers * rows_each);
  std::set<std::string> who;
  for (const auto& row : rows) who.insert(row.who);
  CHECK(who.size() == writers * rows_each);
}

TEST_CASE(
    "programs that are killed while they append leave a log that reads, with every row they had reported",
    "[training_log]") {
  const LogFile log;
  std::set<std::string> reported;
  for (int trial = 0; trial < 30; ++trial) {
    int pipe[2] = {-1, -1};
    REQUIRE(::pipe(pipe) == 0);
    std::vector<pid_t> children;
    for (int writer = 0; writer < 2; ++writer) {
      const pid_t child = ::fork();
      REQUIRE(child >= 0);
      if (child == 0) {
        try {
          for (int row = 0;; ++row) {
            const std::string name =
                std::to_string(trial) + "-" + std::to_string(writer) + "-" + std::to_string(row);
            append_to_training_log(log.path(), example(name));
            const std::string line = name + "\n";
            if (::write(pipe[1], line.data(), line.size()) < 0) ::_exit(1);
          }
        } catch (...) {
          ::_exit(1);
        }
      }
      children.push_back(child);
    }
    ::close(pipe[1]);
    std::string text;
    char block[4096];
    const auto take = [&] {
      const ssize_t count = ::read(pipe[0], block, sizeof block);
      if (count > 0) text.append(block, static_cast<std::size_t>(count));
      return count > 0;
    };
    REQUIRE(take());                                 // the first row is in, however slow the machine
    ::usleep(static_cast<useconds_t>(331 * trial));  // somewhere in the middle of a row
    for (const pid_t child : children) {
      REQUIRE(::kill(child, SIGKILL) == 0);
      int status = 0;
      REQUIRE(::waitpid(child, &status, 0) == child);
      REQUIRE(WIFSIGNALED(status));  // else it gave up on a damaged log
    }
    while (take()) {
    }
    ::close(pipe[0]);
    std::istringstream lines(text);
    for (std::string line; std::getline(lines, line);) reported.insert(line);
  }
  std::set<std::string> logged;
  for (const auto& row : read_training_log(log.path())) CHECK(logged.insert(row.who).second);
  CHECK(reported.size() >= 30);
  for (const std::string& name : reported) CHECK(logged.count(name) == 1);
}

TEST_CASE("a damaged log is reported with its line and left as it is", "[training_log]") {
  const LogFile log;
  append_to_training_log(log.path(), example());
  append_to_training_log(log.path(), example());
  const std::string good = log.text();

  const auto check_damage = [&](const std::string& text, const std::string& complaint) {
    log.write(text);
    const std::string error = error_when_appending(log);
    CHECK_THAT(error, Catch::Matchers::ContainsSubstring(complaint));
    CHECK_THAT(error, Catch::Matchers::ContainsSubstring("nothing was added"));
    CHECK(log.text() == text);
    CHECK_THROWS_AS(read_training_log(log.path()), FileError);
  };
  SECTION("cut off in the middle of a row") { check_damage(good.substr(0, good.size() - 20), "line 3"); }
  SECTION("cut off before the line end") {
    check_damage(good.substr(0, good.size() - 2), "line 3 is cut off");
  }
  SECTION("another file") { check_damage("part,person\r\n1,2\r\n", "line 1 is not the header"); }
  SECTION("a word for a number") {
    std::string text = good;
    text.replace(text.rfind("62.5"), 4, "most");
    check_damage(text, "line 3: percent_gone is \"most\"");
  }
  SECTION("no number at all") {
    std::string text = good;
    text.replace(text.rfind("62.5"), 4, "nan");
    check_damage(text, "line 3: percent_gone is \"nan\"");
  }
  SECTION("binary") { check_damage(good + std::string(5, '\0') + "\r\n", "line 4"); }
}

TEST_CASE("a log that a spreadsheet saved its own way is read and goes on", "[training_log]") {
  const LogFile log;
  log.write(
      "\xEF\xBB\xBFLogged_at;Who;Exercise;mark;percent_gone;past_flat;minutes\r\n"
      "2026-03-14T09:26:53Z;bay 2;door;good;62,5;;12,5\r\n;;;;;;\r\n");
  REQUIRE(read_training_log(log.path()).size() == 1);
  CHECK(read_training_log(log.path())[0].percent_gone == 62.5);
  append_to_training_log(log.path(), example());
  append_to_training_log(log.path(), example("bay 3"));
  const auto rows = read_training_log(log.path());
  REQUIRE(rows.size() == 3);
  CHECK(rows[0].minutes == 12.5);
  CHECK(rows[1] == example());
  CHECK(rows[2].depth_before_mm == 0.5357);
  CHECK_THAT(log.text(), Catch::Matchers::ContainsSubstring(";mark;") &&
                             Catch::Matchers::ContainsSubstring(";good;") &&
                             Catch::Matchers::ContainsSubstring("0,5357"));
}

TEST_CASE("a log of an earlier version gets the columns that it lacks", "[training_log]") {
  const LogFile log;
  log.write(
      "logged_at,who,exercise,before,after,spots,depth_before_mm,depth_left_mm,percent_gone,highs_made,new_"
      "lows,minutes,outcome\r\n2026-03-14T09:26:53Z,bay 1,door,a,b,1,0.5,0.1,80,1,0,12,overdone\r\n");
  TrainingAttempt attempt = example();
  attempt.past_flat = 2;
  attempt.visible_limit_mm = 0.02;
  append_to_training_log(log.path(), attempt);
  const auto rows = read_training_log(log.path());
  REQUIRE(rows.size() == 2);
  CHECK(rows[0].depth_left_mm == 0.1);
  CHECK(rows[0].went_past_flat());
  CHECK(rows[1] == attempt);
}

TEST_CASE("the same pair of photos is logged once for a trainee and exercise", "[training_log]") {
  const LogFile log;
  TrainingAttempt attempt = example();
  attempt.fingerprint_before = "0123456789abcdef";
  attempt.fingerprint_after = "fedcba9876543210";
  CHECK_FALSE(append_to_training_log(log.path(), attempt).has_value());
  attempt.after = "renamed.jpg";
  CHECK(append_to_training_log(log.path(), attempt) == 2);
  attempt.who = "bay 3";
  CHECK_FALSE(append_to_training_log(log.path(), attempt).has_value());
  CHECK(read_training_log(log.path()).size() == 2);
}

TEST_CASE("a log that cannot be one is refused", "[training_log]") {
  const LogFile log;
  CHECK_THROWS_AS(append_to_training_log(log.path().parent_path(), example()), FileError);
  CHECK_THROWS_AS(append_to_training_log(log.path() / "missing" / "log.csv", example()), FileError);
  CHECK_THROWS_AS(append_to_training_log("/dev/null", example()), FileError);
  CHECK_THROWS_AS(read_training_log(log.path()), FileError);
}

TEST_CASE("labels that would spoil the log are refused before anything is written", "[training_log]") {
  const LogFile log;
  for (const std::string label : {"", "two\nlines", "=1+1", "@x", "\x7f"})
    CHECK_THROWS_AS(append_to_training_log(log.path(), example(label)), UsageError);
  CHECK_THROWS_AS(append_to_training_log(log.path(), example(std::string(101, 'a'))), UsageError);
  CHECK_FALSE(std::filesystem::exists(log.path()));
}

TEST_CASE("a photo's odd name does not spoil the log", "[training_log]") {
  const LogFile log;
  TrainingAttempt attempt = example();
  attempt.before = "odd\x01name\n.jpg";
  append_to_training_log(log.path(), attempt);
  append_to_training_log(log.path(), attempt);
  const auto rows = read_training_log(log.path());
  REQUIRE(rows.size() == 2);
  CHECK(rows[0].before == "odd\uFFFDname\uFFFD.jpg");
}

TEST_CASE("a full disk leaves the log as it was", "[training_log]") {
  const LogFile log;
  append_to_training_log(log.path(), example());
  const std::string before = log.text();
  const pid_t child = ::fork();
  REQUIRE(child >= 0);
  if (child == 0) {  // a limit on the size of files stands for the full disk: the write is cut short
    ::signal(SIGXFSZ, SIG_IGN);
    const rlimit limit{before.size() + 30, before.size() + 30};
    ::setrlimit(RLIMIT_FSIZE, &limit);
    try {
      append_to_training_log(log.path(), example());
    } catch (const FileError&) {
      ::_exit(3);
    }
    ::_exit(0);
  }
  int status = -1;
  REQUIRE(::waitpid(child, &status, 0) == child);
  REQUIRE(WIFEXITED(status));
  CHECK(WEXITSTATUS(status) == 3);
  CHECK(log.text() == before);
}
