#include "measure/ordered_workers.hpp"

#include <numeric>
#include <stdexcept>

#include "catch.hpp"

using namespace ripplegauge;
using namespace std::chrono_literals;

namespace {

constexpr auto patience = 10s;  // far beyond what any task below takes

std::vector<std::size_t> all_of(OrderedWorkers<std::size_t>& workers) {
  std::vector<std::size_t> results;
  while (!workers.done()) results.push_back(workers.next(patience).value());
  return results;
}

}  // namespace

TEST_CASE("results come in the order of the list, each once, on any number of threads", "[workers]") {
  std::vector<std::size_t> expected(40);
  std::iota(expected.begin(), expected.end(), 0u);
  for (const std::size_t threads : {0u, 1u, 2u, 7u, 100u}) {
    std::atomic<int> runs{0};
    OrderedWorkers<std::size_t> workers(expected.size(), threads, [&](std::size_t i) {
      std::this_thread::sleep_for(i % 3 == 0 ? 3ms : 0ms);  // so that later tasks finish first
      ++runs;
      return i;
    });
    CHECK(all_of(workers) == expected);
    CHECK(runs == 40);
    CHECK_FALSE(workers.next(0ms).has_value());
  }
}

TEST_CASE("nothing to do is done at once", "[workers]") {
  OrderedWorkers<int> workers(0, 4, [](std::size_t) { return 1; });
  CHECK(workers.done());
  CHECK(workers.finished_ahead().empty());
}

TEST_CASE("what a task throws comes out in its turn, and the others go on", "[workers]") {
  OrderedWorkers<std::size_t> workers(3, 2, [](std::size_t i) {
    if (i == 1) throw std::runtime_error("one");
    return i;
  });
  CHECK(workers.next(patience) == 0u);
  CHECK_THROWS_WITH(workers.next(patience), "one");
  CHECK(workers.next(patience) == 2u);
  CHECK(workers.done());
}

TEST_CASE("a run that ends early gets what is finished and waits for nothing else", "[workers]") {
  std::atomic<bool> let_go{false};
  std::atomic<int> begun{0};
  {
    OrderedWorkers<std::size_t> workers(50, 2, [&](std::size_t i) {
      ++begun;
      if (i == 0 || i == 4)
        while (!let_go) std::this_thread::sleep_for(1ms);
      return i;
    });
    while (begun < 5) std::this_thread::sleep_for(1ms);
    std::vector<std::pair<std::size_t, std::size_t>> ahead;
    for (int tries = 0; ahead.size() < 3 && tries < 10000; ++tries) {  // 3 is put down just before 4 begins
      for (auto& one : workers.finished_ahead()) ahead.push_back(one);
      std::this_thread::sleep_for(1ms);
    }
    CHECK(ahead == std::vector<std::pair<std::size_t, std::size_t>>{{1, 1}, {2, 2}, {3, 3}});
    CHECK_FALSE(workers.next(0ms).has_value());
    let_go = true;
  }
  CHECK(begun == 5);  // none was begun after the end was asked for
}
