// The training log as CSV. It is read by the names of its columns, however a spreadsheet saved it. A row is
// appended under a lock, all of it or nothing.
#include "files/training_log.hpp"

#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <charconv>
#include <cmath>
#include <cstring>

#include "files/atomic_write.hpp"
#include "files/csv.hpp"
#include "json/read_bytes.hpp"
#include "json/shown.hpp"
#include "ripplegauge/core/errors.hpp"
#include "words/text.hpp"

namespace ripplegauge {

namespace {

/// A row has about 150 bytes: this is more attempts than a school makes in a century.
constexpr std::size_t most_bytes = 64u << 20;

/// In the order in which a new log has them. A log needs the first three; the others may be absent.
const std::vector<std::string> log_columns = {"logged_at",
                                              "who",
                                              "exercise",
                                              "before",
                                              "after",
                                              "spots",
                                              "depth_before_mm",
                                              "depth_left_mm",
                                              "percent_gone",
                                              "highs_made",
                                              "new_lows",
                                              "minutes",
                                              "outcome",
                                              "left_height_mm",
                                              "past_flat",
                                              "overshoot_mm",
                                              "visible_limit_mm",
                                              "taken_before",
                                              "taken_after",
                                              "fingerprint_before",
                                              "fingerprint_after",
                                              "warnings",
                                              "same_place"};
constexpr std::size_t needed_columns = 3;

/// How a log is written: a spreadsheet may have saved it its own way.
struct LogFormat {
  char separator = ',';
  bool decimal_comma = false;
  std::vector<std::string> columns = log_columns;  ///< all there are, those of the user among them
};

std::string number_text(const std::optional<double>& value) {
  if (!value || !std::isfinite(*value)) return "";
  char text[32];
  const auto end = std::to_chars(text, text + sizeof text, *value, std::chars_format::general, 6);
  return {text, end.ptr};
}

/// The fields of one row by column; an error names line, column, value and rule.
class RowReader {
 public:
  RowReader(const CsvRow& row, const std::string& name, const LogFormat& format)
      : row_(row), name_(name), format_(format) {}

  void operator()(const char* column, std::string& value) const { value = text(column); }
  void operator()(const char* column, int& value) const {
    const std::string field = text(column);
    if (field.empty()) return;
    int parsed = -1;
    const auto [end, error] = std::from_chars(field.data(), field.data() + field.size(), parsed);
    if (error != std::errc() || end != field.data() + field.size() || parsed < 0)
      fail(column, "it must be a whole number from 0");
    value = parsed;
  }
  void operator()(const char* column, std::optional<double>& value) const {
    std::string field = text(column);
    if (field.empty()) return;
    if (format_.decimal_comma) std::replace(field.begin(), field.end(), ',', '.');
    constexpr double most = 1e9;
    double parsed = 0;
    const auto [end, error] = std::from_chars(field.data(), field.data() + field.size(), parsed);
    if (error != std::errc() || end != field.data() + field.size() || !(std::abs(parsed) <= most))
      fail(column, "it must be empty or a number");
    value = parsed;
  }

 private:
  std::string text(const std::string& column) const {
    const auto at = std::find(format_.columns.begin(), format_.columns.end(), column);
    return at == format_.columns.end() ? ""
                                       : row_.fields[static_cast<std::size_t>(at - format_.columns.begin())];
  }
  [[noreturn]] void fail(const std::string& column, const std::string& rule) const {
    throw FileError(name_, "line " + std::to_string(row_.line) + ": " + column + " is \"" + text(column) +
                               "\", but " + rule);
  }

  const CsvRow& row_;
  const std::string& name_;
  const LogFormat& format_;
};

/// The same, the other way: the field of each column as text.
class RowWriter {
 public:
  explicit RowWriter(const LogFormat& format) : format_(format), fields_(format.columns.size()) {}

  void operator()(const char* column, const std::string& value) { set(column, printable(value)); }
  void operator()(const char* column, int value) { set(column, std::to_string(value)); }
  void operator()(const char* column, const std::optional<double>& value) {
    std::string text = number_text(value);
    if (format_.decimal_comma) std::replace(text.begin(), text.end(), '.', ',');
    set(column, text);
  }
  const std::vector<std::string>& fields() const { return fields_; }

 private:
  void set(const std::string& column, const std::string& text) {
    const auto at = std::find(format_.columns.begin(), format_.columns.end(), column);
    if (at != format_.columns.end()) fields_[static_cast<std::size_t>(at - format_.columns.begin())] = text;
  }

  const LogFormat& format_;
  std::vector<std::string> fields_;
};

/// All columns, once for both directions.
template <class Fields, class Attempt>
void describe(Fields& fields, Attempt& attempt) {
  fields("logged_at", attempt.logged_at);
  fields("who", attempt.who);
  fields("exercise", attempt.exercise);
  fields("before", attempt.before);
  fields("after", attempt.after);
  fields("spots", attempt.spots);
  fields("depth_before_mm", attempt.depth_before_mm);
  fields("depth_left_mm", attempt.depth_left_mm);
  fields("percent_gone", attempt.percent_gone);
  fields("highs_made", attempt.highs_made);
  fields("new_lows", attempt.new_lows);
  fields("minutes", attempt.minutes);
  fields("outcome", attempt.outcome);
  fields("left_height_mm", attempt.left_height_mm);
  fields("past_flat", attempt.past_flat);
  fields("overshoot_mm", attempt.overshoot_mm);
  fields("visible_limit_mm", attempt.visible_limit_mm);
  fields("taken_before", attempt.taken_before);
  fields("taken_after", attempt.taken_after);
  fields("fingerprint_before", attempt.fingerprint_before);
  fields("fingerprint_after", attempt.fingerprint_after);
  fields("warnings", attempt.warnings);
  fields("same_place", attempt.same_place);
}

struct Log {
  LogFormat format;
  std::vector<CsvRow> rows;               ///< without the header
  std::vector<TrainingAttempt> attempts;  ///< of the rows that are not empty
  std::vector<int> lines;                 ///< of the attempts
};

char separator_of(std::string_view text) {
  const std::string_view header = text.substr(0, text.find('\n'));
  for (const char separator : {';', '\t'})
    if (header.find(separator) != std::string_view::npos) return separator;
  return ',';
}

/// Where the columns are not separated by commas, a comma in a number can only be a decimal comma.
bool has_decimal_commas(const LogFormat& format, const std::vector<CsvRow>& rows) {
  if (format.separator == ',') return false;
  for (std::size_t i = 0; i < format.columns.size(); ++i) {
    const std::string& column = format.columns[i];
    if (!column.ends_with("_mm") && column != "percent_gone" && column != "minutes") continue;
    for (const CsvRow& row : rows)
      if (row.fields[i].find(',') != std::string::npos) return true;
  }
  return false;
}

Log log_from(std::string_view text, const std::string& name) {
  Log log;
  log.format.separator = separator_of(text);
  log.rows = parse_csv(text, name, log.format.separator);
  if (log.rows.empty()) return log;
  log.format.columns = log.rows.front().fields;
  // Spreadsheets like capitals and spaces no better than people do.
  for (std::string& column : log.format.columns) column = lower_case(trimmed(column));
  const auto& columns = log.format.columns;
  for (std::size_t i = 0; i < log_columns.size(); ++i) {
    const auto times = std::count(columns.begin(), columns.end(), log_columns[i]);
    if (times > 1) throw FileError(name, "line 1 has the column " + log_columns[i] + " twice");
    if (times == 0 && i < needed_columns)
      throw FileError(name, "line 1 is not the header of a training log (logged_at,who,exercise,...)");
  }
  if (text.back() != '\n')
    throw FileError(name, "line " + std::to_string(log.rows.back().line) + " is cut off: it has no line end");
  log.rows.erase(log.rows.begin());
  log.format.decimal_comma = has_decimal_commas(log.format, log.rows);
  for (const CsvRow& row : log.rows) {
    if (std::all_of(row.fields.begin(), row.fields.end(), [](const auto& field) { return field.empty(); }))
      continue;
    TrainingAttempt attempt;
    const RowReader reader(row, name, log.format);
    describe(reader, attempt);
    log.attempts.push_back(std::move(attempt));
    log.lines.push_back(row.line);
  }
  return log;
}

std::string row_text(const LogFormat& format, const TrainingAttempt& attempt) {
  RowWriter writer(format);
  describe(writer, attempt);
  return csv_line(writer.fields(), format.separator);
}

bool lacks_columns(const LogFormat& format) {
  return std::any_of(log_columns.begin(), log_columns.end(), [&](const std::string& column) {
    return std::find(format.columns.begin(), format.columns.end(), column) == format.columns.end();
  });
}

/// The log with all columns of this version behind its own.
std::string with_all_columns(Log& log) {
  const std::size_t before = log.format.columns.size();
  for (const std::string& column : log_columns)
    if (std::find(log.format.columns.begin(), log.format.columns.end(), column) == log.format.columns.end())
      log.format.columns.push_back(column);
  std::string text = csv_line(log.format.columns, log.format.separator);
  for (CsvRow& row : log.rows) {
    row.fields.resize(before);
    row.fields.resize(log.format.columns.size());
    text += csv_line(row.fields, log.format.separator);
  }
  return text;
}

bool same_pair(const TrainingAttempt& a, const TrainingAttempt& b) {
  if (a.who != b.who || a.exercise != b.exercise) return false;
  const auto known = [](const std::string& x, const std::string& y) { return !x.empty() && !y.empty(); };
  if (known(a.fingerprint_before, a.fingerprint_after) && known(b.fingerprint_before, b.fingerprint_after))
    return a.fingerprint_before == b.fingerprint_before && a.fingerprint_after == b.fingerprint_after;
  return known(a.taken_before, a.taken_after) && a.taken_before == b.taken_before &&
         a.taken_after == b.taken_after && printable(a.before) == b.before && printable(a.after) == b.after;
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

  /// Whether the name still leads to this file: another program may have replaced it while this one waited.
  bool is_still(const std::filesystem::path& file) const {
    struct stat mine {
    }, there{};
    return ::fstat(descriptor_, &mine) == 0 && ::stat(file.c_str(), &there) == 0 &&
           mine.st_ino == there.st_ino && mine.st_dev == there.st_dev;
  }

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

std::optional<int> append_to_training_log(const std::filesystem::path& file, const TrainingAttempt& attempt) {
  check_training_label("the trainee's label", attempt.who);
  check_training_label("the exercise's label", attempt.exercise);
  std::optional<LockedFile> locked;
  do locked.emplace(file);
  while (!locked->is_still(file));
  const std::string there = locked->read();
  Log log;
  try {
    log = log_from(there, file.string());
  } catch (const FileError& error) {
    throw FileError(std::string(error.what()),
                    "nothing was added; mend that line, or begin a new log under another name");
  }
  for (std::size_t i = 0; i < log.attempts.size(); ++i)
    if (same_pair(attempt, log.attempts[i])) return log.lines[i];
  if (there.empty()) {
    locked->append(csv_line(log_columns) + row_text(log.format, attempt), 0);
  } else if (lacks_columns(log.format)) {
    const std::string longer = with_all_columns(log);
    write_atomically(file, longer + row_text(log.format, attempt));
  } else {
    locked->append(row_text(log.format, attempt), there.size());
  }
  return std::nullopt;
}

std::vector<TrainingAttempt> read_training_log(const std::filesystem::path& file) {
  return log_from(read_bytes(file, most_bytes), file.string()).attempts;
}

}  // namespace ripplegauge
