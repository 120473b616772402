// Of OpenCV's dictionaries of tags the one that card and boards use. All of them are 130 kB of figures, which
// no packing makes smaller; OpenCV's own function of this name, which needs them all, is compiled under
// another one and left out.
#include <opencv2/aruco/dictionary.hpp>

#include "predefined_dictionaries_apriltag.hpp"

namespace cv::aruco {

Ptr<Dictionary> getPredefinedDictionary(PREDEFINED_DICTIONARY_NAME name) {
  CV_Assert(name == DICT_APRILTAG_36h11);
  constexpr int tags = 587, bits_a_side = 6, bytes_a_tag = 5;
  return makePtr<Dictionary>(Mat(tags, bytes_a_tag, CV_8UC4, DICT_APRILTAG_36h11_BYTES), bits_a_side, 0);
}

}  // namespace cv::aruco
