#include "ripplegauge/files/training_log.hpp"

#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <charconv>
#include <cmath>
#include <cstring>

#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/files/csv.hpp"
#include "ripplegauge/json/read_bytes.hpp"
#include "ripplegauge/json/shown.hpp"
#include "ripplegauge/words/text.hpp"

namespace ripplegauge {

namespace {

/// A row has about 150 bytes: this is more attempts than a school makes in a century.
constexpr std::size_t most_bytes = 64u << 20;

const std::vector<std::string> log_header = {
    "logged_at",     "who",          "exercise",   "before",   "after",   "spots",  "depth_before_mm",
    "depth_left_mm", "percent_gone", "highs_made", "new_lows", "minutes", "outcome"};

std::string number_text(const std::optional<double>& value) {
  if (!value || !std::isfinite(*value)) return "";
  char text[32];
  const auto end = std::to_chars(text, text + sizeof text, *value, std::chars_format::general, 6);
  return {text, end.ptr};
}

std::vector<std::string> fields_of(const TrainingAttempt& attempt) {
  return {attempt.logged_at,
          attempt.who,
          attempt.exercise,
          printable(attempt.before),
          printable(attempt.after),
          std::to_string(attempt.spots),
          number_text(attempt.depth_before_mm),
          number_text(attempt.depth_left_mm),
          number_text(attempt.percent_gone),
          std::to_string(attempt.highs_made),
          std::to_string(attempt.new_lows),
          number_text(attempt.minutes),
          attempt.outcome};
}

/// The fields of one row, each asked for by its place; an error names line, column, value and rule.
class RowReader {
 public:
  RowReader(const CsvRow& row, const std::string& name) : row_(row), name_(name) {}

  std::string text() { return row_.fields[column_++]; }

  int count() {
    const std::string& field = row_.fields[column_];
    int value = -1;
    const auto [end, error] = std::from_chars(field.data(), field.data() + field.size(), value);
    if (error != std::errc() || end != field.data() + field.size() || value < 0)
      fail("it must be a whole number from 0");
    ++column_;
    return value;
  }

  std::optional<double> number(double low, double high) {
    const std::string& field = row_.fields[column_];
    std::optional<double> value;
    if (!field.empty()) {
      double parsed = 0;
      const auto [end, error] = std::from_chars(field.data(), field.data() + field.size(), parsed);
      if (error != std::errc() || end != field.data() + field.size() || !(parsed >= low && parsed <= high))
        fail("it must be empty or a number from " + number_text(low) + " to " + number_text(high));
      value = parsed;
    }
    ++column_;
    return value;
  }

 private:
  [[noreturn]] void fail(const std::string& rule) const {
    throw FileError(name_, "line " + std::to_string(row_.line) + ": " + log_header[column_] + " is \"" +
                               row_.fields[column_] + "\", but " + rule);
  }

  const CsvRow& row_;
  const std::string& name_;
  std::size_t column_ = 0;
};

TrainingAttempt attempt_from(const CsvRow& row, const std::string& name) {
  RowReader reader(row, name);
  TrainingAttempt attempt;
  attempt.logged_at = reader.text();
  attempt.who = reader.text();
  attempt.exercise = reader.text();
  attempt.before = reader.text();
  attempt.after = reader.text();
  attempt.spots = reader.count();
  attempt.depth_before_mm = reader.number(0, 1000);
  attempt.depth_left_mm = reader.number(0, 1000);
  attempt.percent_gone = reader.number(-1e6, 100);
  attempt.highs_made = reader.count();
  attempt.new_lows = reader.count();
  attempt.minutes = reader.number(-1e9, 1e9);
  attempt.outcome = reader.text();
  return attempt;
}

std::vector<TrainingAttempt> attempts_from(std::string_view text, const std::string& name) {
  const std::vector<CsvRow> rows = parse_csv(text, name);
  if (rows.empty()) return {};
  if (rows.front().fields != log_header)
    throw FileError(name, "line 1 is not the header of a training log (logged_at,who,exercise,...)");
  if (text.back() != '\n')
    throw FileError(name, "line " + std::to_string(rows.back().line) + " is cut off: it has no line end");
  std::vector<TrainingAttempt> attempts;
  for (std::size_t i = 1; i < rows.size(); ++i) attempts.push_back(attempt_from(rows[i], name));
  return attempts;
}

/// An open file that is closed, and with it unlocked, at the end of the scope.
class LockedFile {
 public:
  explicit LockedFile(const std::filesystem::path& file) : name_(file.string()) {
    std::error_code ignored;
    if (std::filesystem::is_directory(file, ignored)) throw FileError(name_, "is a folder; give a file");
    descriptor_ = ::open(file.c_str(), O_RDWR | O_APPEND | O_CREAT | O_CLOEXEC, 0666);
    if (descriptor_ < 0) fail("cannot be opened for appending");
    int locked = 0;
    do locked = ::flock(descriptor_, LOCK_EX);
    while (locked != 0 && errno == EINTR);
    if (locked != 0) {
      const int why = errno;
      ::close(descriptor_);
      errno = why;
      fail("cannot be locked against other programs");
    }
  }
  LockedFile(const LockedFile&) = delete;
  LockedFile& operator=(const LockedFile&) = delete;
  ~LockedFile() { ::close(descriptor_); }

  std::string read() {
    struct stat status {};
    if (::fstat(descriptor_, &status) != 0) fail("cannot be read");
    if (!S_ISREG(status.st_mode)) throw FileError(name_, "is no ordinary file; a log needs one");
    if (static_cast<std::size_t>(status.st_size) > most_bytes)
      throw FileError(name_, "is larger than any training log; this cannot be the right file");
    std::string bytes(static_cast<std::size_t>(status.st_size), '\0');
    std::size_t done = 0;
    while (done < bytes.size()) {
      const ssize_t count =
          ::pread(descriptor_, bytes.data() + done, bytes.size() - done, static_cast<off_t>(done));
      if (count < 0 && errno == EINTR) continue;
      if (count <= 0) fail("reading failed");
      done += static_cast<std::size_t>(count);
    }
    return bytes;
  }

  /// All of `bytes` or nothing: what a full disk let through is taken back.
  void append(const std::string& bytes, std::size_t size_before) {
    ssize_t count = 0;
    do count = ::write(descriptor_, bytes.data(), bytes.size());
    while (count < 0 && errno == EINTR);
    if (count == static_cast<ssize_t>(bytes.size()) && ::fsync(descriptor_) == 0) return;
    const int why = count >= 0 && count < static_cast<ssize_t>(bytes.size()) ? ENOSPC : errno;
    if (count > 0 && ::ftruncate(descriptor_, static_cast<off_t>(size_before)) != 0) fail("is damaged now");
    errno = why;
    fail("nothing was added");
  }

 private:
  [[noreturn]] void fail(const std::string& problem) const {
    throw FileError(name_, problem + ": " + std::strerror(errno));
  }

  std::string name_;
  int descriptor_ = -1;
};

}  // namespace

void check_training_label(const std::string& option, const std::string& label) {
  constexpr std::size_t longest = 100;
  if (label.empty() || label.size() > longest)
    throw UsageError(option + " must have 1 to " + std::to_string(longest) + " bytes");
  if (std::any_of(label.begin(), label.end(), is_control))
    throw UsageError(option + " has a line break or another control character");
  if (std::string_view("=+-@").find(label.front()) != std::string_view::npos)
    throw UsageError(option + " begins with \"" + label.substr(0, 1) +
                     "\", which a spreadsheet takes for a formula; begin with a letter or digit");
}

void append_to_training_log(const std::filesystem::path& file, const TrainingAttempt& attempt) {
  check_training_label("the trainee's label", attempt.who);
  check_training_label("the exercise's label", attempt.exercise);
  LockedFile log(file);
  const std::string there = log.read();
  try {
    attempts_from(there, file.string());
  } catch (const FileError& error) {
    throw FileError(std::string(error.what()),
                    "nothing was added; mend that line, or begin a new log under another name");
  }
  log.append((there.empty() ? csv_line(log_header) : "") + csv_line(fields_of(attempt)), there.size());
}

std::vector<TrainingAttempt> read_training_log(const std::filesystem::path& file) {
  return attempts_from(read_bytes(file, most_bytes), file.string());
}

}  // namespace ripplegauge
