// One pool of threads for the process: OpenCV's loops run on parallel_for's, and never start threads of their
// own.
#pragma once

namespace ripplegauge {

/// From the first call on and for the whole process, OpenCV's loops take the threads of parallel_for: one
/// each, unless an OpenCvThreads says more. Whatever calls OpenCV first calls this before.
void opencv_on_our_threads();

/// While it lives, OpenCV's loops that this thread begins run on up to `threads` threads. What they compute
/// is the same on any number.
class OpenCvThreads {
 public:
  explicit OpenCvThreads(int threads);
  ~OpenCvThreads();
  OpenCvThreads(const OpenCvThreads&) = delete;
  OpenCvThreads& operator=(const OpenCvThreads&) = delete;

 private:
  int before_;
};

}  // namespace ripplegauge
