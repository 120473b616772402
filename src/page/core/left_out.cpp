// Parts of OpenCV to which others lead by flags and pictures that the core never gives: colours, and robust
// estimators of which the core has its own.
#include <opencv2/core.hpp>

namespace cv {

void cvtColor(InputArray, OutputArray, int, int) {
  CV_Error(Error::StsNotImplemented, "left out of this build");
}

namespace usac {
Mat findHomography(InputArray, InputArray, int, double, OutputArray, int, double) {
  CV_Error(Error::StsNotImplemented, "left out of this build");
}
}  // namespace usac

}  // namespace cv
