// Runs the built program as a user would, for tests of the command line.
#pragma once

#include <sys/wait.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <stdexcept>
#include <string>
#include <vector>

/// A folder that is gone at the end of the test.
class TemporaryFolder {
 public:
  TemporaryFolder() {
    std::string name = (std::filesystem::temp_directory_path() / "ripplegauge-test-XXXXXX").string();
    if (::mkdtemp(name.data()) == nullptr) throw std::runtime_error("no temporary folder");
    path_ = name;
  }
  TemporaryFolder(const TemporaryFolder&) = delete;
  TemporaryFolder& operator=(const TemporaryFolder&) = delete;
  ~TemporaryFolder() { std::filesystem::remove_all(path_); }

  const std::filesystem::path& path() const { return path_; }
  std::string file(const std::string& name) const { return (path_ / name).string(); }
  std::string write(const std::string& name, const std::string& bytes) const {
    std::ofstream(path_ / name, std::ios::binary) << bytes;
    return file(name);
  }
  std::string read(const std::string& name) const {
    std::ifstream stream(path_ / name, std::ios::binary);
    std::ostringstream bytes;
    bytes << stream.rdbuf();
    return bytes.str();
  }

 private:
  std::filesystem::path path_;
};

struct ProgramRun {
  int exit_code = -1;
  std::string out, err;
};

inline ProgramRun run_program(const std::vector<std::string>& arguments) {
  const TemporaryFolder folder;
  const auto quoted = [](const std::string& text) {
    std::string result = "'";
    for (const char c : text) result += c == '\'' ? std::string("'\\''") : std::string(1, c);
    return result + "'";
  };
  std::string command = quoted(RIPPLEGAUGE_PROGRAM);
  for (const std::string& argument : arguments) command += " " + quoted(argument);
  command += " >" + quoted(folder.file("out")) + " 2>" + quoted(folder.file("err")) + " </dev/null";
  const int status = std::system(command.c_str());
  ProgramRun run;
  run.exit_code = WIFEXITED(status) ? WEXITSTATUS(status) : -1;
  run.out = folder.read("out");
  run.err = folder.read("err");
  return run;
}
