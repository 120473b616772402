// Runs the built program as a user would, for tests of the command line.
#pragma once

#include <sys/wait.h>

#include <cstdlib>
#include <string>
#include <vector>

#include "scratch_folder.hpp"

/// A scratch folder whose files are spoken of by name.
class TemporaryFolder : public ScratchFolder {
 public:
  std::string file(const std::string& name) const { return (path() / name).string(); }
  std::string write(const std::string& name, const std::string& bytes) const {
    return ScratchFolder::write(name, bytes).string();
  }
  std::string read(const std::string& name) const { return ScratchFolder::read(path() / name); }
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
