#include "core/parallel_for.hpp"

#include <atomic>
#include <stdexcept>
#include <string>
#include <thread>
#include <vector>

#include "catch.hpp"

using namespace ripplegauge;

TEST_CASE("a loop does every piece once, whatever the number of threads", "[threads]") {
  const int threads = GENERATE(0, 1, 2, 7);
  const std::size_t count = GENERATE(std::size_t{0}, std::size_t{1}, std::size_t{2}, std::size_t{1000});
  std::vector<std::atomic<int>> done(count);
  parallel_for(count, threads, [&](std::size_t i) { ++done[i]; });
  for (const std::atomic<int>& d : done) REQUIRE(d == 1);
}

TEST_CASE("loops inside pieces of loops come to an end with their own sums", "[threads]") {
  constexpr std::size_t outer = 20, middle = 10, inner = 30;
  std::vector<std::size_t> sums(outer * middle);
  for (int again = 0; again < 20; ++again) {
    parallel_for(outer, 3, [&](std::size_t o) {
      parallel_for(middle, 3, [&](std::size_t m) {
        std::vector<std::size_t> part(inner);
        parallel_for(inner, 3, [&](std::size_t i) { part[i] = o + m + i; });
        std::size_t sum = 0;
        for (const std::size_t p : part) sum += p;
        sums[o * middle + m] = sum;
      });
    });
    for (std::size_t o = 0; o < outer; ++o)
      for (std::size_t m = 0; m < middle; ++m)
        REQUIRE(sums[o * middle + m] == inner * (o + m) + inner * (inner - 1) / 2);
  }
}

TEST_CASE("threads that know nothing of each other may run loops at once", "[threads]") {
  std::vector<std::size_t> sums(4);
  {
    std::vector<std::jthread> users;
    for (std::size_t u = 0; u < sums.size(); ++u)
      users.emplace_back([&sums, u] {
        for (int again = 0; again < 200; ++again) {
          std::vector<std::size_t> part(50);
          parallel_for(part.size(), 2, [&](std::size_t i) { part[i] = i * u; });
          sums[u] = 0;
          for (const std::size_t p : part) sums[u] += p;
        }
      });
  }
  for (std::size_t u = 0; u < sums.size(); ++u) CHECK(sums[u] == u * 50 * 49 / 2);
}

TEST_CASE("what a piece throws ends the loop and arrives, from inner loops, too", "[threads]") {
  const int threads = GENERATE(1, 3);
  std::atomic<int> begun = 0;
  const auto loop = [&] {
    parallel_for(1000, threads, [&](std::size_t i) {
      ++begun;
      if (i == 5)
        parallel_for(10, threads, [](std::size_t k) {
          if (k == 3) throw std::runtime_error("piece 5.3");
        });
    });
  };
  CHECK_THROWS_WITH(loop(), "piece 5.3");
  CHECK(begun >= 6);
  std::atomic<int> after = 0;  // and the next loop works as if nothing had happened
  parallel_for(100, threads, [&](std::size_t) { ++after; });
  CHECK(after == 100);
}
