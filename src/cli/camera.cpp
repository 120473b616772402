// `camera`: one lens from photos of the card or a chessboard, with what to photograph next.
#include <fmt/format.h>

#include <charconv>
#include <cmath>
#include <iostream>
#include <memory>
#include <opencv2/core/version.hpp>

#include "app/clock.hpp"
#include "camera/next_shots.hpp"
#include "command.hpp"
#include "core/joined.hpp"
#include "files/atomic_write.hpp"
#include "files/camera_profile_file.hpp"
#include "photo/file_hash.hpp"
#include "photo_options.hpp"
#include "picture/coverage_picture.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/photo/photo.hpp"
#include "terminal.hpp"

namespace ripplegauge::cli {
namespace {

constexpr std::size_t fewest_photos = CalibrationOptions{}.fewest_photos, most_photos = 30;
/// EXIF's rounding leaves about 1.2 %: a profile must beat it to be of use.
constexpr double useful_log_focal = 0.01;

struct CameraArguments {
  std::vector<std::string> photos;
  std::string out = "camera.json", picture, card_file, chessboard;
  double square_mm = 0;
};

/// "9x6".
Chessboard chessboard_from(const std::string& words, double square_mm) {
  Chessboard board;
  const char* const end = words.data() + words.size();
  const auto columns = std::from_chars(words.data(), end, board.columns);
  const bool has_rows = columns.ec == std::errc() && columns.ptr != end && *columns.ptr == 'x';
  const auto rows = has_rows ? std::from_chars(columns.ptr + 1, end, board.rows) : columns;
  if (!has_rows || rows.ec != std::errc() || rows.ptr != end)
    throw UsageError("--chessboard " + words +
                     ": give columns and rows of inner corners, such as --chessboard 9x6");
  board.square_mm = square_mm;
  board.validate();
  return board;
}

/// What was photographed: its points, and how to find them.
struct Target {
  CalibrationTarget points;
  std::function<TargetView(const cv::Mat&)> see;
};

Target target_for(const CameraArguments& a) {
  if (!a.chessboard.empty()) {
    const Chessboard board = chessboard_from(a.chessboard, a.square_mm);
    return {chessboard_target(board), [board](const cv::Mat& grey) { return see_chessboard(grey, board); }};
  }
  const CardDefinition card = card_or_standard(a.card_file);
  return {card_target(card), [card](const cv::Mat& grey) { return see_card(grey, card); }};
}

CameraShot shot_of(const std::string& file, const Target& target) {
  const Photo photo = read_photo(file);
  CameraShot shot{file,
                  photo.grey.size(),
                  photo.exif_orientation,
                  photo.focal_35mm_mm,
                  sha256_of_file(file),
                  target.see(photo.grey)};
  if (swaps_sides(shot.orientation)) std::swap(shot.stored_size.width, shot.stored_size.height);
  for (cv::Point2d& p : shot.view.pixels) p = stored_from_upright(p, shot.orientation, photo.grey.size());
  return shot;
}

/// "3012.4 (3008.1 to 3016.7)", with as many decimals as the interval deserves.
std::string with_interval(double value, double standard_uncertainty) {
  const double half = 2 * standard_uncertainty;
  const int decimals = std::clamp(static_cast<int>(std::ceil(1 - std::log10(std::max(half, 1e-9)))), 0, 5);
  return fmt::format("{:.{}f} ({:.{}f} to {:.{}f})", value, decimals, value - half, decimals, value + half,
                     decimals);
}

void print_unused(const CameraCalibration& c, const std::vector<CameraShot>& shots) {
  if (c.unused.empty()) return;
  std::cout << "  Not used:\n";
  for (const UnusedPhoto& photo : c.unused)
    std::cout << wrap(shots[photo.shot].name + ": " + photo.reason, "    ", "      ");
}

void print_calibration(const CameraCalibration& c, const std::vector<CameraShot>& shots,
                       const CalibrationTarget& target, const Coverage& coverage) {
  const LensUncertainty u = c.uncertainty();
  const double diagonal_px = std::hypot(c.stored_size.width, c.stored_size.height);
  std::cout << fmt::format("{} photos of the ", c.photos.size()) << target.name
            << fmt::format(", {} x {} pixels", c.stored_size.width, c.stored_size.height)
            << (c.focal_35mm_mm ? fmt::format(", EXIF focal length {:g} mm", *c.focal_35mm_mm)
                                : std::string())
            << "\n";
  std::cout << "  focal length   " << with_interval(c.lens.focal_px, c.lens.focal_px * u.log_focal) << " px, "
            << fmt::format(
                   "{:.2f} mm (35 mm equivalent)\n",
                   c.lens.focal_px / focal_px_from_35mm(1, c.stored_size.width, c.stored_size.height));
  std::cout << "  centre         " << with_interval(c.lens.centre_u_px, u.centre_u_px)
            << " px from the left\n"
            << "                 " << with_interval(c.lens.centre_v_px, u.centre_v_px)
            << " px from the top\n";
  std::cout << "  distortion     k1 " << with_interval(c.lens.k1, u.k1) << "\n                 k2 "
            << with_interval(c.lens.k2, u.k2) << "\n";
  std::cout << fmt::format(
      "  corners        off by {:.2f} px (rms), {:.2f} px in photos left out of the fit\n", c.rms_px,
      c.held_out_rms_px);
  const double ray_px = ray_uncertainty_px(c);
  std::cout << fmt::format(
      "  rays           known to {:.2f} px, {:.3f} % of the diagonal (rms over the picture)\n", ray_px,
      100 * ray_px / diagonal_px);
  std::cout << fmt::format("  evidence       in {} of {} fields of the picture\n", coverage.fields_seen(),
                           Coverage::columns * Coverage::rows);
  const std::vector<std::string> unseen = unseen_places(c, shots);
  if (!unseen.empty())
    std::cout << wrap("none at the " + joined(unseen), "                 ", "                 ");
  constexpr double telling = 2;  // by chance up to about 1.5
  if (c.disagreement > telling)
    std::cout << wrap(
        fmt::format(
            "Warning: the photos disagree with each other {:.1f} times as much as their sharpness allows, "
            "and "
            "the intervals are "
            "wider for it. Lay the target on something flat and stiff, and move the phone, not the target.",
            c.disagreement),
        "  ", "  ");
}

void print_next(const std::vector<NextShot>& next, double diagonal_px) {
  if (next.empty()) {
    std::cout << "  More photos would gain nothing.\n";
    return;
  }
  std::cout << "  What to shoot next, and what it would bring (focal length, rays):\n";
  for (std::size_t i = 0; i < next.size(); ++i)
    std::cout << wrap(fmt::format("{}. ", i + 1) + next[i].words +
                          fmt::format(" (to {:.2f} %, {:.3f} %)", 200 * next[i].log_focal,
                                      100 * next[i].ray_px / diagonal_px),
                      "    ", "       ");
}

CameraProfile profile_of(const CameraCalibration& c, const std::vector<CameraShot>& shots,
                         const CalibrationTarget& target) {
  CameraProfile profile{today(),
                        RIPPLEGAUGE_VERSION,
                        CV_VERSION,
                        target.name,
                        c.stored_size.width,
                        c.stored_size.height,
                        c.focal_35mm_mm,
                        c.lens,
                        c.uncertainty(),
                        c.rms_px,
                        c.held_out_rms_px,
                        {}};
  for (const CalibratedPhoto& photo : c.photos)
    profile.photos.push_back({shots[photo.shot].name, shots[photo.shot].sha256, photo.pose.tilt_deg(),
                              photo.rms_px, photo.held_out_rms_px});
  return profile;
}

int run_camera(const CameraArguments& a) {
  if (a.photos.size() < fewest_photos || a.photos.size() > most_photos)
    throw UsageError(fmt::format("a camera profile takes from {} to {} photos; {} were given", fewest_photos,
                                 most_photos, a.photos.size()));
  if (!a.chessboard.empty() && a.square_mm <= 0)
    throw UsageError("--chessboard needs --square-mm, the width of one square");
  const Target target = target_for(a);
  std::vector<CameraShot> shots;
  for (const std::string& file : a.photos) shots.push_back(shot_of(file, target));
  const CameraCalibration c = calibrate_camera(target.points, shots);
  if (!c.solved) {
    std::cout << fmt::format("No profile: fewer than {} of the photos can be used.\n", fewest_photos);
    print_unused(c, shots);
    if (!a.chessboard.empty())
      std::cout << wrap("Count a chessboard's inner corners, where four squares meet, not its squares.", "  ",
                        "  ");
    return exit_refused;
  }
  const Coverage coverage = coverage_of(c, shots);
  print_calibration(c, shots, target.points, coverage);
  print_unused(c, shots);
  print_next(next_shots(target.points, c, shots), std::hypot(c.stored_size.width, c.stored_size.height));
  if (!a.picture.empty()) {
    write_atomically(a.picture,
                     encode_for_name(coverage_picture(target.points, c, shots, coverage).bgr, a.picture));
    std::cout << "wrote " << a.picture << ": where in the picture there was evidence\n";
  }
  if (c.uncertainty().log_focal > useful_log_focal) {
    std::cout << wrap(
        fmt::format("No profile was written: the focal length is known to {:.1f} %, no better than "
                    "EXIF gives it. Add the photos named above.",
                    200 * c.uncertainty().log_focal),
        "", "  ");
    return exit_refused;
  }
  write_atomically(a.out, camera_profile_to_json(profile_of(c, shots, target.points)));
  std::cout << "wrote " << a.out << ": give it to measure and compare as --camera\n";
  return exit_ok;
}

}  // namespace

void add_camera_command(CLI::App& app, ChosenCommand& chosen) {
  auto a = std::make_shared<CameraArguments>();
  auto* camera =
      app.add_subcommand("camera", "Calibrate a phone's lens from photos of the card: a camera profile");
  camera->add_option("PHOTO", a->photos, "6 to 30 photos of one flat target, from different sides")
      ->required();
  camera->add_option("--out", a->out, "Camera profile to write")->type_name("FILE")->capture_default_str();
  camera->add_option("--picture", a->picture, "Draw where in the picture there was evidence: .png or\n.jpg")
      ->type_name("FILE");
  auto* card =
      camera
          ->add_option("--card", a->card_file,
                       "Card file of another card or board of tags, if not the\nstandard corner card")
          ->type_name("FILE");
  auto* chessboard =
      camera
          ->add_option("--chessboard", a->chessboard,
                       "A chessboard instead: inner corners, where four squares\nmeet, across and down")
          ->type_name("COLSxROWS")
          ->excludes(card);
  camera->add_option("--square-mm", a->square_mm, "Width of one of its squares")
      ->type_name("MM")
      ->needs(chessboard);
  camera->footer(
      "Lay the card on something flat and stiff and leave it there. Move the phone: from\n"
      "all sides, 20 to 45 degrees from straight on, the card large and now and then at each\n"
      "edge of the picture, the phone also turned by 90 degrees. Keep lens, zoom,\n"
      "resolution and distance as you use them for dents.\n\n"
      "Examples:\n"
      "  ripplegauge camera card*.jpg --out phone.json --picture coverage.png\n"
      "  ripplegauge camera board*.jpg --chessboard 9x6 --square-mm 25\n"
      "  ripplegauge measure dent.jpg --camera phone.json --board-pitch 16");
  camera->callback([a, &chosen] { chosen = [a] { return run_camera(*a); }; });
}

}  // namespace ripplegauge::cli
