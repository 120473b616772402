// OpenCV's loops on our threads: none is started beside those that were asked for.
#include "image/opencv_threads.hpp"

#include <atomic>
#include <filesystem>
#include <mutex>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>
#include <set>
#include <thread>

#include "catch.hpp"
#include "ripplegauge/image/photo.hpp"

using namespace ripplegauge;

namespace {

std::ptrdiff_t threads_of_process() {
  const std::filesystem::directory_iterator tasks("/proc/self/task");
  return std::distance(begin(tasks), end(tasks));
}

/// The threads that take part in a loop of OpenCV, and whether each piece was done once.
std::set<std::thread::id> workers_of_a_loop(int pieces) {
  std::set<std::thread::id> workers;
  std::mutex mutex;
  std::vector<std::atomic<int>> done(static_cast<std::size_t>(pieces));
  cv::parallel_for_(cv::Range(0, pieces), [&](const cv::Range& range) {
    for (int i = range.start; i < range.end; ++i) ++done[static_cast<std::size_t>(i)];
    std::this_thread::sleep_for(std::chrono::milliseconds(2));
    const std::lock_guard lock(mutex);
    workers.insert(std::this_thread::get_id());
  });
  for (const std::atomic<int>& piece : done) CHECK(piece == 1);
  return workers;
}

}  // namespace

TEST_CASE("OpenCV starts no thread where one was asked for", "[threads]") {
  const OpenCvThreads one(1);
  const std::ptrdiff_t before = threads_of_process();
  cv::Mat grey(2000, 2000, CV_8UC1, cv::Scalar(7)), blurred;
  cv::GaussianBlur(grey, blurred, {9, 9}, 2);
  cv::resize(blurred, grey, {}, 0.5, 0.5, cv::INTER_AREA);
  CHECK(workers_of_a_loop(64) == std::set{std::this_thread::get_id()});
  CHECK(threads_of_process() == before);
}

TEST_CASE("OpenCV's loops take the threads that they are given, and no more", "[threads]") {
  {
    const OpenCvThreads three(3);
    const std::size_t workers = workers_of_a_loop(64).size();
    CHECK(workers > 1);
    CHECK(workers <= 3);
  }
  CHECK(workers_of_a_loop(64).size() == 1);  // what the guard said ends with it
  CHECK(threads_of_process() <= 3);
}

TEST_CASE("focal lengths follow from the frame's diagonal of 43.2666 mm", "[image]") {
  using Catch::Matchers::WithinRel;
  CHECK_THAT(focal_px_from_35mm(43.2666, 4000, 3000), WithinRel(5000, 1e-5));
  CHECK_THAT(focal_px_from_35mm(26, 4000, 3000), WithinRel(26 * 5000 / 43.2666, 1e-5));
  CHECK(focal_px_from_35mm(26, 3000, 4000) == focal_px_from_35mm(26, 4000, 3000));
  CHECK_THROWS_AS(focal_px_from_35mm(26, 0, 4000), std::logic_error);
}
