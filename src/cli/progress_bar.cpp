// A bar on stderr where somebody watches, else a line a photo; time left from the photos done so far.
#include "progress_bar.hpp"

#include <sys/ioctl.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <iostream>
#include <string_view>

#include "output_filter.hpp"

namespace ripplegauge::cli {

namespace {

/// Both: the bar is drawn on stderr between lines that go to stdout.
bool watched() {
  const char* terminal = std::getenv("TERM");
  return ::isatty(STDOUT_FILENO) == 1 && ::isatty(STDERR_FILENO) == 1 && terminal != nullptr &&
         std::string_view(terminal) != "dumb";
}

std::size_t terminal_columns() {
  constexpr std::size_t usual = 80;
  winsize size{};
  return ::ioctl(STDERR_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 0 ? size.ws_col : usual;
}

/// Past the filter that keeps such commands from the terminal when they come out of a file.
void move_cursor(std::string_view command) {
  std::fflush(stderr);
  [[maybe_unused]] const ssize_t written = ::write(STDERR_FILENO, command.data(), command.size());
}

}  // namespace

ProgressBar::ProgressBar(std::size_t count) : count_(count), bar_(watched()) {
  if (bar_) draw();
}

ProgressBar::~ProgressBar() {
  if (bar_) erase();
}

void ProgressBar::step(const std::string& line, bool needs_attention) {
  ++steps_;
  if (bar_) erase();
  if (!bar_ || needs_attention) {
    const std::string number = std::to_string(steps_), count = std::to_string(count_);
    std::cout << '[' << std::string(count.size() - std::min(count.size(), number.size()), ' ') << number
              << '/' << count << "] " << one_line(line)
              << std::endl;  // at once: somebody may be following a file
  }
  if (bar_) draw();
}

void ProgressBar::draw() const {
  constexpr std::size_t widest = 40, least = 5, room_for_figures = 36;
  const std::size_t columns = terminal_columns();
  const std::size_t width = std::min(widest, columns > room_for_figures ? columns - room_for_figures : 0);
  const std::size_t full = count_ == 0 ? width : width * steps_ / count_;
  std::string text;
  if (width >= least) text = "[" + std::string(full, '#') + std::string(width - full, '.') + "] ";
  text += std::to_string(steps_) + " of " + std::to_string(count_) + time_left();
  move_cursor("\r");
  std::cerr << text.substr(0, columns - 1) << std::flush;
}

void ProgressBar::erase() const { move_cursor("\r\033[K"); }

std::string ProgressBar::time_left() const {
  if (steps_ == 0 || steps_ >= count_) return "";
  const std::chrono::duration<double> gone = std::chrono::steady_clock::now() - start_;
  const double left_s = gone.count() / static_cast<double>(steps_) * static_cast<double>(count_ - steps_);
  if (left_s < 90) return ", about " + std::to_string(std::lround(std::ceil(left_s))) + " s left";
  return ", about " + std::to_string(std::lround(left_s / 60)) + " min left";
}

}  // namespace ripplegauge::cli
