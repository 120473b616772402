// Sample photos, and what can happen to a photo: tests make their bad photos from good ones.
#pragma once

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>
#include <string>
#include <vector>

#include "card/tag_detector.hpp"
#include "catch.hpp"
#include "ripplegauge/image/photo.hpp"
#include "ripplegauge/json/card_file.hpp"
#include "ripplegauge/measure/measure.hpp"
#include "ripplegauge/photo/photo.hpp"

namespace ripplegauge {

struct Sample {
  Photo photo;
  MeasureRequest request;
  nlohmann::json dents;  ///< truth; empty where there are none
};

inline Sample sample(const std::string& name) {
  const std::filesystem::path root = RIPPLEGAUGE_SOURCE_DIR,
                              file = root / "samples" / "photos" / (name + ".jpg");
  std::ifstream in(std::filesystem::path(file).replace_extension(".json"));
  REQUIRE(in.good());
  const auto json = nlohmann::json::parse(in);
  Sample s;
  s.photo = read_photo(file);
  s.request.card = read_card(root / "calibration" / "card-corner.json");
  s.request.board_pitch_mm = json.at("given").at("board_pitch_mm").get<double>();
  s.request.board_distance_mm = json.at("given").at("board_distance_mm").get<double>();
  s.request.bar_length_mm = json.at("given").at("check_bar_mm").get<double>();
  s.dents = json.at("truth").value("dents", nlohmann::json::array());
  return s;
}

inline Photo with_grey(const Photo& photo, const cv::Mat& grey) {
  Photo out = photo;  // which shares its pixels: they are never changed in place
  out.grey = grey;
  return out;
}

inline Photo shrunk(const Photo& photo, double factor) {
  cv::Mat grey;
  cv::resize(photo.grey, grey, {}, factor, factor, cv::INTER_AREA);
  return with_grey(photo, grey);
}

/// The photo's place of a point of the panel, by a plane through the card's tags: good to a few pixels near
/// the card.
class Places {
 public:
  Places(const Photo& photo, const MeasureRequest& request) {
    const double scale = request.bar_length_mm / request.card.bar_nominal_mm,
                 half = 0.5 * request.card.tag_side_mm;
    std::vector<cv::Point2d> on_card, in_photo;
    for (const SeenTag& tag : find_tags(photo.grey))
      for (const CardTag& known : request.card.tags)
        if (known.id == tag.id) {
          const cv::Point2d corners[4] = {{-half, half}, {half, half}, {half, -half}, {-half, -half}};
          for (std::size_t k = 0; k < 4; ++k) {
            on_card.push_back(scale * (cv::Point2d(known.x_mm, known.y_mm) + corners[k]));
            in_photo.push_back(tag.corners_px[k]);
          }
        }
    REQUIRE(on_card.size() >= 16);
    // Direct linear transform: eight unknowns, the ninth is 1.
    cv::Mat a(static_cast<int>(2 * on_card.size()), 8, CV_64F, cv::Scalar(0)), b(a.rows, 1, CV_64F), h;
    for (int i = 0; i < static_cast<int>(on_card.size()); ++i) {
      const cv::Point2d p = on_card[static_cast<std::size_t>(i)], q = in_photo[static_cast<std::size_t>(i)];
      const double rows[2][8] = {{p.x, p.y, 1, 0, 0, 0, -p.x * q.x, -p.y * q.x},
                                 {0, 0, 0, p.x, p.y, 1, -p.x * q.y, -p.y * q.y}};
      for (int r = 0; r < 2; ++r)
        for (int c = 0; c < 8; ++c) a.at<double>(2 * i + r, c) = rows[r][c];
      b.at<double>(2 * i, 0) = q.x, b.at<double>(2 * i + 1, 0) = q.y;
    }
    cv::solve(a, b, h, cv::DECOMP_SVD);
    for (int i = 0; i < 8; ++i) h_[i] = h.at<double>(i, 0);
  }

  cv::Point2d px(double x_mm, double y_mm) const {
    const double w = h_[6] * x_mm + h_[7] * y_mm + 1;
    return {(h_[0] * x_mm + h_[1] * y_mm + h_[2]) / w, (h_[3] * x_mm + h_[4] * y_mm + h_[5]) / w};
  }
  /// The outline in the photo of a polygon on the panel.
  std::vector<cv::Point> outline(const std::vector<cv::Point2d>& mm) const {
    std::vector<cv::Point> out;
    for (const auto& p : mm) {
      const cv::Point2d q = px(p.x, p.y);
      out.emplace_back(static_cast<int>(std::lround(q.x)), static_cast<int>(std::lround(q.y)));
    }
    return out;
  }
  /// A disc on the panel, as a polygon in the photo.
  std::vector<cv::Point> disc(double x_mm, double y_mm, double radius_mm) const {
    std::vector<cv::Point2d> circle;
    for (int i = 0; i < 48; ++i)
      circle.emplace_back(x_mm + radius_mm * std::cos(CV_PI * i / 24),
                          y_mm + radius_mm * std::sin(CV_PI * i / 24));
    return outline(circle);
  }

 private:
  double h_[8] = {};
};

/// 1 inside the polygon, 0 outside, with an edge softened over about `soft_px`. CV_32FC1.
inline cv::Mat soft_mask(const Photo& photo, const std::vector<cv::Point>& polygon, double soft_px = 1) {
  cv::Mat mask = cv::Mat::zeros(photo.grey.size(), CV_8UC1), soft;
  cv::fillPoly(mask, std::vector<std::vector<cv::Point>>{polygon}, 255);
  mask.convertTo(soft, CV_32F, 1 / 255.0);
  cv::GaussianBlur(soft, soft, {}, soft_px);
  return soft;
}

/// Where the mask is 1 the photo becomes `other` (CV_32FC1, grey values) plus noise of one grey value.
inline void blend(Photo& photo, const cv::Mat& mask, const cv::Mat& other, int seed = 1) {
  cv::Mat grey, out, noise(photo.grey.size(), CV_32FC1);
  photo.grey.convertTo(grey, CV_32F);
  cv::RNG rng(static_cast<std::uint64_t>(seed));
  rng.fill(noise, cv::RNG::NORMAL, 0, 1);
  grey = grey.mul(1.0 - mask) + (other + noise).mul(mask);
  grey.convertTo(out, CV_8U);
  photo.grey = out;
}

/// One grey value over the masked part.
inline void paint(Photo& photo, const cv::Mat& mask, double grey) {
  blend(photo, mask, cv::Mat(photo.grey.size(), CV_32FC1, cv::Scalar(grey)));
}

/// A disc of the panel shows the stripes turned by 90 degrees, as no dent does.
inline void turn_disc(Photo& photo, const Places& places, double x_mm, double y_mm, double radius_mm) {
  const cv::Point2d centre = places.px(x_mm, y_mm);
  cv::Mat turned, other;
  cv::warpAffine(photo.grey, turned, cv::getRotationMatrix2D(centre, 90, 1), photo.grey.size(),
                 cv::INTER_LINEAR, cv::BORDER_REPLICATE);
  turned.convertTo(other, CV_32F);
  blend(photo, soft_mask(photo, places.disc(x_mm, y_mm, radius_mm)), other);
}

}  // namespace ripplegauge
