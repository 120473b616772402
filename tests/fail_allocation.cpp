// Loaded before a program's own libraries (LD_PRELOAD): lets one of its allocations fail.
//   FAIL_ALLOCATION=N        the N-th after main has begun, counted from 1; 0 lets none fail
//   FAIL_ALLOCATION_ON=1     and all after it
//   FAIL_ALLOCATION_COUNT=F  writes into file F how many there were
#include <dlfcn.h>
#include <fcntl.h>
#include <unistd.h>

#include <atomic>
#include <cerrno>
#include <cstddef>
#include <cstdio>
#include <cstdlib>

namespace {

std::atomic<long> count{0};
std::atomic<bool> counting{false};
long first = 0;
bool goes_on = false;
int (*program_main)(int, char**, char**) = nullptr;

bool fails() {
  if (!counting.load(std::memory_order_relaxed)) return false;
  const long n = ++count;
  if (first == 0 || n < first || (n > first && !goes_on)) return false;
  errno = ENOMEM;
  return true;
}

template <class Function>
Function next(const char* name) {
  return reinterpret_cast<Function>(::dlsym(RTLD_NEXT, name));
}

void write_count() {
  const char* name = std::getenv("FAIL_ALLOCATION_COUNT");
  if (name == nullptr) return;
  char text[32];
  const int length = std::snprintf(text, sizeof text, "%ld\n", count.load());
  const int file = ::open(name, O_WRONLY | O_CREAT | O_TRUNC, 0666);
  if (file < 0) return;
  if (::write(file, text, static_cast<std::size_t>(length)) != length) std::abort();
  ::close(file);
}

int counted_main(int argc, char** argv, char** environment) {
  if (const char* n = std::getenv("FAIL_ALLOCATION")) first = std::atol(n);
  goes_on = std::getenv("FAIL_ALLOCATION_ON") != nullptr;
  counting = true;
  const int code = program_main(argc, argv, environment);
  counting = false;
  write_count();
  return code;
}

}  // namespace

extern "C" {

int __libc_start_main(int (*main)(int, char**, char**), int argc, char** argv, void (*init)(), void (*fini)(),
                      void (*end)(), void* stack_end) {
  program_main = main;
  static const auto real =
      next<int (*)(int (*)(int, char**, char**), int, char**, void (*)(), void (*)(), void (*)(), void*)>(
          "__libc_start_main");
  return real(counted_main, argc, argv, init, fini, end, stack_end);
}

// glibc's own names: dlsym() itself allocates.
void* __libc_malloc(std::size_t size);
void* __libc_calloc(std::size_t number, std::size_t size);
void* __libc_realloc(void* block, std::size_t size);
void* __libc_memalign(std::size_t alignment, std::size_t size);

void* malloc(std::size_t size) { return fails() ? nullptr : __libc_malloc(size); }
void* calloc(std::size_t number, std::size_t size) { return fails() ? nullptr : __libc_calloc(number, size); }
void* realloc(void* block, std::size_t size) { return fails() ? nullptr : __libc_realloc(block, size); }
void* memalign(std::size_t alignment, std::size_t size) {
  return fails() ? nullptr : __libc_memalign(alignment, size);
}
void* aligned_alloc(std::size_t alignment, std::size_t size) { return memalign(alignment, size); }
int posix_memalign(void** block, std::size_t alignment, std::size_t size) {
  if (fails()) return ENOMEM;
  *block = __libc_memalign(alignment, size);
  return *block == nullptr ? ENOMEM : 0;
}

}  // extern "C"
