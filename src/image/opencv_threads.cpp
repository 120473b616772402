// OpenCV's loops on parallel_for's threads. OpenCV would else keep a thread for each processor, beside ours,
// whatever number was asked for.
#include "image/opencv_threads.hpp"

#include <algorithm>
#include <memory>
#include <opencv2/core/parallel/parallel_backend.hpp>

#include "core/parallel_for.hpp"

namespace ripplegauge {
namespace {

thread_local int threads_here = 1;

class OurThreads : public cv::parallel::ParallelForAPI {
 public:
  void parallel_for(int tasks, FN_parallel_for_body_cb_t body, void* data) override {
    if (threads_here <= 1 || tasks <= 1) return body(0, tasks, data);
    constexpr int parts_a_thread = 4;  // so that one that is held up does not hold up all
    const int parts = std::min(tasks, parts_a_thread * threads_here);
    const auto start_of = [&](std::size_t part) {
      return static_cast<int>(static_cast<std::size_t>(tasks) * part / static_cast<std::size_t>(parts));
    };
    ripplegauge::parallel_for(static_cast<std::size_t>(parts), threads_here,
                              [&](std::size_t part) { body(start_of(part), start_of(part + 1), data); });
  }
  int getThreadNum() const override { return 0; }
  int getNumThreads() const override { return threads_here; }
  int setNumThreads(int) override { return threads_here; }
  const char* getName() const override { return "ripplegauge"; }
};

}  // namespace

void opencv_on_our_threads() {
  static const bool done = [] {
    cv::parallel::setParallelForBackend(std::make_shared<OurThreads>(), false);
    return true;
  }();
  static_cast<void>(done);
}

OpenCvThreads::OpenCvThreads(int threads) : before_(threads_here) {
  opencv_on_our_threads();
  threads_here = std::max(threads, 1);
}

OpenCvThreads::~OpenCvThreads() { threads_here = before_; }

}  // namespace ripplegauge
