// The camera command on rendered photos whose lens is known.
#include <cmath>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgproc.hpp>

#include "card/tag_detector.hpp"
#include "catch.hpp"
#include "core/linear_light.hpp"
#include "files/camera_profile_file.hpp"
#include "picture/picture.hpp"
#include "ripplegauge/json/card_file.hpp"
#include "run_program.hpp"

using namespace ripplegauge;

namespace {

const std::filesystem::path root = RIPPLEGAUGE_SOURCE_DIR;
constexpr int width_px = 1600, height_px = 1200;
const Lens true_lens{1240, 807.5, 594, 0.06, -0.03};

/// The card's light, 8 samples a mm, y up.
struct Print {
  static constexpr double px_per_mm = 8, x0_mm = -20, y1_mm = 95;
  cv::Mat light{static_cast<int>(115 * px_per_mm), static_cast<int>(140 * px_per_mm), CV_32FC1,
                cv::Scalar(0.15)};

  explicit Print(const CardDefinition& card) {
    for (const RectangleMm& p : card.paper) fill(p.x0_mm, p.y0_mm, p.x1_mm, p.y1_mm, 0.8f);
    const double cell = card.tag_side_mm / 8;
    for (const CardTag& tag : card.tags) {
      const TagCells cells = tag_cells(tag.id);
      for (std::size_t r = 0; r < 8; ++r)
        for (std::size_t c = 0; c < 8; ++c) {
          const double x = tag.x_mm - 4 * cell + static_cast<double>(c) * cell,
                       y = tag.y_mm + 4 * cell - static_cast<double>(r + 1) * cell;
          if (cells[r][c]) fill(x, y, x + cell, y + cell, 0.03f);
        }
    }
  }
  void fill(double x0, double y0, double x1, double y1, float value) {
    const auto px = [](double mm) { return static_cast<int>(std::lround(mm * px_per_mm)); };
    cv::rectangle(light, cv::Point(px(x0 - x0_mm), px(y1_mm - y1)),
                  cv::Point(px(x1 - x0_mm) - 1, px(y1_mm - y0) - 1), value, cv::FILLED);
  }
};

/// Rays through the lens onto the card, 2 x 2 a pixel, in linear light.
std::string photo_of(const Print& print, double tilt_deg, double azimuth_deg, double roll_deg,
                     double distance_mm, double u_share, double v_share) {
  const double rad = CV_PI / 180;
  cv::Mat tilted, facing, rolled;
  cv::Rodrigues(cv::Vec3d(std::cos(azimuth_deg * rad), std::sin(azimuth_deg * rad), 0) * tilt_deg * rad,
                tilted);
  cv::Rodrigues(cv::Vec3d(180 * rad, 0, 0), facing);
  cv::Rodrigues(cv::Vec3d(0, 0, roll_deg * rad), rolled);
  const cv::Matx33d r = cv::Mat(tilted * facing * rolled);
  const cv::Vec3d aim((u_share * width_px - true_lens.centre_u_px) / true_lens.focal_px,
                      (v_share * height_px - true_lens.centre_v_px) / true_lens.focal_px, 1);
  const cv::Vec3d t = distance_mm * aim - r * cv::Vec3d(50, 37.5, 0);
  const cv::Vec3d origin = -(r.t() * t);
  cv::Mat map_x(2 * height_px, 2 * width_px, CV_32FC1), map_y(map_x.size(), CV_32FC1), fine, light;
  for (int v = 0; v < map_x.rows; ++v)
    for (int u = 0; u < map_x.cols; ++u) {
      const double a = (0.5 * u - 0.25 - true_lens.centre_u_px) / true_lens.focal_px,
                   b = (0.5 * v - 0.25 - true_lens.centre_v_px) / true_lens.focal_px;
      double scale = 1;
      for (int i = 0; i < 8; ++i) {
        const double r2 = (a * a + b * b) * scale * scale;
        scale = 1 / (1 + r2 * (true_lens.k1 + r2 * true_lens.k2));
      }
      const cv::Vec3d d = r.t() * cv::Vec3d(a * scale, b * scale, 1);
      const double s = -origin[2] / d[2];
      map_x.at<float>(v, u) =
          static_cast<float>((origin[0] + s * d[0] - Print::x0_mm) * Print::px_per_mm - 0.5);
      map_y.at<float>(v, u) =
          static_cast<float>((Print::y1_mm - origin[1] - s * d[1]) * Print::px_per_mm - 0.5);
    }
  cv::remap(print.light, fine, map_x, map_y, cv::INTER_LINEAR, cv::BORDER_CONSTANT, 0.15);
  cv::resize(fine, light, cv::Size(width_px, height_px), 0, 0, cv::INTER_AREA);
  cv::GaussianBlur(light, light, cv::Size(), 0.7);
  cv::Mat grey(light.size(), CV_8UC1), bgr;
  for (int v = 0; v < light.rows; ++v)
    for (int u = 0; u < light.cols; ++u) {
      const double l = light.at<float>(v, u);  // IEC 61966-2-1
      grey.at<uchar>(v, u) =
          cv::saturate_cast<uchar>(255 * (l <= 0.0031308 ? 12.92 * l : 1.055 * std::pow(l, 1 / 2.4) - 0.055));
    }
  cv::cvtColor(grey, bgr, cv::COLOR_GRAY2BGR);
  return encode_png(bgr);
}

/// Photos as a person would take them; the first `count` of eight.
std::vector<std::string> photos(const TemporaryFolder& folder, std::size_t count) {
  const Print print(read_card(root / "calibration" / "card-corner.json"));
  std::vector<std::string> files;
  for (std::size_t i = 0; i < count; ++i) {
    const double k = static_cast<double>(i);
    files.push_back(folder.write(
        "card" + std::to_string(i) + ".png",
        photo_of(print, 22 + 3 * k, 47 + 135 * k, 90.0 * static_cast<double>(i % 4) + 7, 190 + 6 * k,
                 0.42 + 0.05 * static_cast<double>(i % 4), 0.58 - 0.05 * static_cast<double>(i % 3))));
  }
  return files;
}

std::vector<std::string> arguments(std::vector<std::string> first, const std::vector<std::string>& files) {
  first.insert(first.end(), files.begin(), files.end());
  return first;
}

}  // namespace

TEST_CASE("rendered photos give their lens back", "[cli][camera]") {
  const TemporaryFolder folder;
  const std::string profile_file = folder.file("phone.json"), picture = folder.file("coverage.png");
  std::vector<std::string> files = photos(folder, 8);
  const ProgramRun run =
      run_program(arguments({"camera", "--out", profile_file, "--picture", picture}, files));
  INFO(run.out << run.err);
  REQUIRE(run.exit_code == 0);
  CHECK(std::filesystem::file_size(picture) > 1000);
  const CameraProfile profile = read_camera_profile(profile_file);
  CHECK(profile.photos.size() == 8);
  CHECK(profile.width_px == width_px);
  CHECK(profile.held_out_rms_px < 0.3);
  // Three standard uncertainties: five numbers, one set of photos.
  CHECK(std::abs(std::log(profile.lens.focal_px / true_lens.focal_px)) < 3 * profile.uncertainty.log_focal);
  CHECK(std::abs(profile.lens.centre_u_px - true_lens.centre_u_px) < 3 * profile.uncertainty.centre_u_px);
  CHECK(std::abs(profile.lens.centre_v_px - true_lens.centre_v_px) < 3 * profile.uncertainty.centre_v_px);
  CHECK(std::abs(profile.lens.k1 - true_lens.k1) < 3 * profile.uncertainty.k1);
  CHECK(std::abs(profile.lens.k2 - true_lens.k2) < 3 * profile.uncertainty.k2);
  CHECK(profile.uncertainty.log_focal < 0.006);

  const ProgramRun other =
      run_program({"measure", (root / "samples" / "photos" / "low-dark.jpg").string(), "--camera",
                   profile_file, "--board-pitch", "14", "--board-distance", "288"});
  CHECK(other.exit_code == 3);
  CHECK(other.out.find("1600 x 1200") != std::string::npos);
  CHECK(other.out.find("2592 x 1944") != std::string::npos);
}

TEST_CASE("too few usable photos give no profile, and say which and why", "[cli][camera]") {
  const TemporaryFolder folder;
  std::vector<std::string> files = photos(folder, 5);
  CHECK(run_program(arguments({"camera"}, files)).exit_code == 2);
  files.push_back((root / "samples" / "photos" / "refused-no-card.jpg").string());
  files.push_back(files[0]);
  const std::string out = folder.file("phone.json");
  const ProgramRun run = run_program(arguments({"camera", "--out", out}, files));
  CHECK(run.exit_code == 3);
  CHECK(run.out.find("refused-no-card.jpg") != std::string::npos);
  CHECK(run.out.find("same photo") != std::string::npos);
  CHECK_FALSE(std::filesystem::exists(out));
}

TEST_CASE("a chessboard is told by its inner corners and its squares", "[cli][camera]") {
  const std::vector<std::string> six(6, "none.jpg");
  CHECK(run_program(arguments({"camera", "--chessboard", "9x6"}, six)).exit_code == 2);
  for (const char* words :
       {"nine", "9", "9x", "x6", "9x6x", "9x6 ", "9 x6", "9,6", "99999999999x6", "9x-6"}) {
    INFO(words);
    CHECK(run_program(arguments({"camera", "--chessboard", words, "--square-mm", "25"}, six)).exit_code == 2);
  }
  CHECK(run_program(arguments({"camera", "--chessboard", "9x6", "--square-mm", "25"}, six)).exit_code == 4);
}
