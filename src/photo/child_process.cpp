// Keeps what a decoder does to itself, when a file is made to break it, away from this process.
#include "child_process.hpp"

#include <fcntl.h>
#include <sys/mman.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cerrno>
#include <csignal>
#include <cstdio>
#include <new>
#include <system_error>

namespace ripplegauge::photo_detail {
namespace {

enum Exit { exit_done = 0, exit_out_of_memory = 3, exit_failed = 4 };

void limit(int resource, rlim_t value) {
  struct rlimit wanted {};
  ::getrlimit(static_cast<__rlimit_resource_t>(resource), &wanted);
  if (wanted.rlim_max != RLIM_INFINITY && value > wanted.rlim_max) value = wanted.rlim_max;
  wanted.rlim_cur = value;
  ::setrlimit(static_cast<__rlimit_resource_t>(resource), &wanted);
}

/// Bytes of address space that this process has reserved.
std::size_t reserved_bytes() {
  char text[64] = "";
  const int file = ::open("/proc/self/statm", O_RDONLY | O_CLOEXEC);
  const ssize_t count = file >= 0 ? ::read(file, text, sizeof text - 1) : 0;
  if (file >= 0) ::close(file);
  std::size_t pages = 0;
  for (ssize_t i = 0; i < count && text[i] >= '0' && text[i] <= '9'; ++i)
    pages = pages * 10 + static_cast<std::size_t>(text[i] - '0');
  return pages * static_cast<std::size_t>(::sysconf(_SC_PAGESIZE));
}

void be_quiet() {
  const int nowhere = ::open("/dev/null", O_RDWR | O_CLOEXEC);
  if (nowhere < 0) return;
  ::dup2(nowhere, STDOUT_FILENO);
  ::dup2(nowhere, STDERR_FILENO);
}

void keep_to(const ChildLimits& limits) {
  limit(RLIMIT_CORE, 0);
  limit(RLIMIT_CPU, limits.processor_s);
  if (const std::size_t reserved = reserved_bytes(); reserved > 0)
    limit(RLIMIT_AS, reserved + limits.memory_bytes);
  for (const int signal : {SIGALRM, SIGXCPU, SIGSEGV, SIGBUS, SIGFPE, SIGILL, SIGABRT})
    std::signal(signal, SIG_DFL);
  ::alarm(limits.clock_s);
}

[[noreturn]] void be_child(pid_t parent, const ChildLimits& limits, const std::function<void()>& work) {
  ::prctl(PR_SET_PDEATHSIG, SIGKILL);
  if (::getppid() != parent) ::_exit(exit_failed);  // it ended before it could take us along
  ::close_range(STDERR_FILENO + 1, ~0U, 0);         // their locks and their ends are the parent's affair
  be_quiet();
  keep_to(limits);
  try {
    work();
  } catch (const std::bad_alloc&) {
    ::_exit(exit_out_of_memory);
  } catch (...) {
    ::_exit(exit_failed);
  }
  ::_exit(exit_done);
}

ChildEnd end_of(int status) {
  if (WIFSIGNALED(status))
    return WTERMSIG(status) == SIGXCPU || WTERMSIG(status) == SIGALRM ? ChildEnd::too_slow
                                                                      : ChildEnd::crashed;
  switch (WEXITSTATUS(status)) {
    case exit_done:
      return ChildEnd::done;
    case exit_out_of_memory:
      return ChildEnd::out_of_memory;
    default:
      return ChildEnd::crashed;
  }
}

}  // namespace

SharedMemory::SharedMemory(std::size_t bytes) : size_(bytes) {
  void* const memory =
      ::mmap(nullptr, bytes, PROT_READ | PROT_WRITE, MAP_SHARED | MAP_ANONYMOUS | MAP_NORESERVE, -1, 0);
  if (memory == MAP_FAILED) throw std::bad_alloc();
  data_ = static_cast<std::byte*>(memory);
}

SharedMemory::~SharedMemory() { ::munmap(data_, size_); }

ChildEnd run_in_child(const ChildLimits& limits, const std::function<void()>& work) {
  const pid_t parent = ::getpid();
  const pid_t child = ::fork();
  if (child < 0) throw std::system_error(errno, std::generic_category());
  if (child == 0) be_child(parent, limits, work);
  int status = 0;
  while (::waitpid(child, &status, 0) < 0)
    if (errno != EINTR) throw std::system_error(errno, std::generic_category());
  return end_of(status);
}

}  // namespace ripplegauge::photo_detail
