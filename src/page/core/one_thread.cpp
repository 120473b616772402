// Loops of the core and of OpenCV on the one thread that a page's worker has: threads that share memory need
// headers that a plain web host does not send.
#include "core/parallel_for.hpp"
#include "image/opencv_threads.hpp"

namespace ripplegauge {

namespace detail {
void run_with_help(int /*most*/, void (*run)(void* loop), void* loop) { run(loop); }
}  // namespace detail

void opencv_on_our_threads() {}
OpenCvThreads::OpenCvThreads(int /*threads*/) : before_(1) {}
OpenCvThreads::~OpenCvThreads() = default;

}  // namespace ripplegauge
