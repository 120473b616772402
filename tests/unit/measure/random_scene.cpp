#include "random_scene.hpp"

#include <algorithm>
#include <cmath>
#include <random>

#include "corner_card.hpp"

namespace ripplegauge::rendered {
namespace {

class Chance {
 public:
  explicit Chance(unsigned seed) : engine_(seed) {}
  double uniform(double low, double high) {
    return std::uniform_real_distribution<double>(low, high)(engine_);
  }
  double log_uniform(double low, double high) { return std::exp(uniform(std::log(low), std::log(high))); }
  double normal(double deviation) { return std::normal_distribution<double>(0, deviation)(engine_); }
  bool happens(double probability) { return uniform(0, 1) < probability; }
  template <class T, std::size_t N>
  const T& pick(const T (&options)[N]) {
    return options[std::uniform_int_distribution<std::size_t>(0, N - 1)(engine_)];
  }

 private:
  std::mt19937 engine_;
};

Dent draw_dent(Chance& chance, double peel_slope) {
  Dent dent;
  const double diameter_mm = chance.log_uniform(5, 35);
  double ratio = chance.uniform(1, 1.35);
  constexpr int kinds[] = {0, 1, 2, 3, 4};
  switch (chance.pick(kinds)) {
    case 0:
      break;  // a Gaussian
    case 1:
      dent.power = chance.uniform(2.3, 3.5);
      break;  // flat-bottomed
    case 2:
      dent.form = Form::bell;
      break;
    case 3:
      dent.form = Form::slanted;
      dent.lean = chance.uniform(0.2, 0.6);
      break;
    default:
      ratio = chance.uniform(1.6, 3.2);  // elongated
  }
  dent.length_mm = diameter_mm * std::sqrt(ratio);
  dent.width_mm = diameter_mm / std::sqrt(ratio);
  dent.angle_deg = chance.uniform(0, 180);
  const double slope = chance.log_uniform(std::max(0.012, 10 * peel_slope), 0.09);
  dent.height_mm = 1;
  dent.height_mm = slope / dent.steepest() * (chance.happens(0.25) ? 1 : -1);
  return dent;
}

double gap_to_card_mm(const Scene& scene, double x_mm, double y_mm) {
  double least = 1e9;
  for (const RectangleMm& p : scene.card.paper) {
    const double dx = std::max({p.x0_mm * scene.card_scale - x_mm, 0.0, x_mm - p.x1_mm * scene.card_scale});
    const double dy = std::max({p.y0_mm * scene.card_scale - y_mm, 0.0, y_mm - p.y1_mm * scene.card_scale});
    least = std::min(least, std::hypot(dx, dy));
  }
  return least;
}

bool in_photo(const Scene& scene, double x_mm, double y_mm, double margin_px) {
  const cv::Point2d p = pixel_of(scene, x_mm, y_mm);
  return p.x > margin_px && p.y > margin_px && p.x < scene.camera.width_px - margin_px &&
         p.y < scene.camera.height_px - margin_px;
}

/// Whether the card is in the photo, the dent too and beside the card, stripes are seen around it, and they
/// neither crowd within it so that the pixels cannot show them nor move by more than eight of their widths.
bool could_be_taken(const Scene& scene) {
  for (const CardTag& tag : scene.card.tags)
    for (const double a : {-11, 11})
      for (const double b : {-11, 11})
        if (!in_photo(scene, (tag.x_mm + a) * scene.card_scale, (tag.y_mm + b) * scene.card_scale, 10))
          return false;
  const Dent& dent = scene.dents[0];
  const double radius_mm = 0.5 * dent.length_mm;
  if (gap_to_card_mm(scene, dent.x_mm, dent.y_mm) < 1.3 * radius_mm + 4) return false;
  const double gain = cycles_per_slope(scene, dent.x_mm, dent.y_mm);
  const double slope = dent.steepest();
  const double travel_mm = gain * slope * scene.board.pitch_mm;
  for (int i = 0; i < 12; ++i) {
    const double turn = i * std::numbers::pi / 6, around_mm = 1.5 * radius_mm + 8;
    const double x = dent.x_mm + around_mm * std::cos(turn), y = dent.y_mm + around_mm * std::sin(turn);
    if (!in_photo(scene, x, y, 20)) return false;
    const Eigen::Vector2d q = on_board(scene, x, y).cwiseAbs();
    if (q.x() + travel_mm > scene.board.half_across_mm || q.y() + travel_mm > scene.board.half_along_mm)
      return false;
  }
  const double px_per_mm =
      cv::norm(pixel_of(scene, dent.x_mm + 1, dent.y_mm) - pixel_of(scene, dent.x_mm, dent.y_mm));
  constexpr double densest = 0.3, most_cycles = 8;     // cycles a pixel; cycles
  const double curvature = 4 * slope / dent.width_mm;  // near the flank, roughly
  return gain * curvature < densest * px_per_mm && gain * slope < most_cycles;
}

/// Card and dent: all of a place that is drawn before the view of it. Whether the dent lies beside the card.
bool draw_dent_beside_card(Chance& chance, Scene& scene, double& peel_slope) {
  scene.card = corner_card();
  scene.card_scale = chance.uniform(95, 102) / 100;
  peel_slope = chance.happens(0.6) ? chance.uniform(1e-4, 8e-4) : 0;
  scene.dents = {draw_dent(chance, peel_slope)};
  Dent& dent = scene.dents[0];
  dent.x_mm = chance.uniform(20, 110);
  dent.y_mm = chance.uniform(20, 95);
  return gap_to_card_mm(scene, dent.x_mm, dent.y_mm) >= 0.6 * dent.length_mm + 4;
}

void draw_crown(Chance& chance, Scene& scene, const Crowns& crowns) {
  const auto radius = [&] {
    return crowns.sign *
           (chance.happens(0.2) ? 1e6 : chance.log_uniform(crowns.least_radius_mm, crowns.largest_radius_mm));
  };
  const double first = 1 / radius(), second = 1 / radius(), turn = chance.uniform(0, std::numbers::pi);
  const double c = std::cos(turn), s = std::sin(turn);
  scene.crown_x = first * c * c + second * s * s;
  scene.crown_y = first * s * s + second * c * c;
  scene.crown_xy = (first - second) * c * s;
  if (crowns.change_per_mm == 0) return;
  for (double* term : {&scene.crown_xxx, &scene.crown_xxy, &scene.crown_xyy, &scene.crown_yyy})
    *term = chance.normal(crowns.change_per_mm);
}

/// A photo of a place of its own; or one more of the place that another one shows, card and all.
std::optional<RandomPhoto> draw(Chance& chance, const Crowns& crowns,
                                const RandomPhoto* of_same_place = nullptr) {
  RandomPhoto out;
  Scene& scene = out.scene;
  double peel_slope = 0;
  if (of_same_place != nullptr) {
    const Scene& same = of_same_place->scene;
    scene.card = same.card;
    scene.card_scale = same.card_scale;
    scene.dents = same.dents;
    scene.peel = same.peel;
    scene.crown_x = same.crown_x;
    scene.crown_y = same.crown_y;
    scene.crown_xy = same.crown_xy;
  } else if (!draw_dent_beside_card(chance, scene, peel_slope)) {
    return std::nullopt;
  }

  const bool wide = chance.happens(0.5);
  const double focal_35mm = wide ? chance.uniform(24, 29) : chance.uniform(46, 56);
  scene.camera.focal_px =
      focal_35mm * std::hypot(scene.camera.width_px, scene.camera.height_px) / std::hypot(36, 24);
  scene.camera.centre_off_u_px = chance.normal(8);
  scene.camera.centre_off_v_px = chance.normal(8);
  scene.camera.k1 = chance.normal(0.015);
  scene.camera.k2 = chance.normal(0.008);
  look_at(scene.camera, 0.5 * (scene.dents[0].x_mm + 45) + chance.normal(6),
          0.5 * (scene.dents[0].y_mm + 33) + chance.normal(6),
          wide ? chance.uniform(190, 280) : chance.uniform(320, 480), chance.uniform(16, 48),
          -90 + chance.uniform(-70, 70), chance.uniform(-12, 12));

  if (of_same_place == nullptr) draw_crown(chance, scene, crowns);

  Board& board = scene.board;
  constexpr double pitches[] = {10, 12, 14, 16, 20};
  board.pitch_mm = chance.pick(pitches);
  board.phase_cycles = chance.uniform(0, 1);
  board.duty = chance.uniform(0.43, 0.57);
  board.edge_mm = chance.uniform(0.3, 1.0);
  board.half_across_mm = chance.uniform(180, 300);
  board.half_along_mm = chance.uniform(180, 300);
  out.board_distance_mm = chance.log_uniform(150, 420);
  place_board(scene, scene.dents[0].x_mm, scene.dents[0].y_mm, out.board_distance_mm, chance.uniform(-80, 80),
              chance.uniform(-14, 14), chance.uniform(-14, 14));

  scene.light.paper = chance.uniform(0.55, 0.85);
  scene.light.ink = chance.uniform(0.03, 0.1);
  scene.light.base = chance.uniform(0.03, 0.3);
  scene.light.stripes = chance.uniform(0.15, 0.55);
  scene.light.fall_x = chance.uniform(-0.25, 0.25);
  scene.light.fall_y = chance.uniform(-0.25, 0.25);
  scene.blur_px = chance.uniform(0.6, 1.1);
  out.noise = chance.uniform(0.003, 0.012);
  if (peel_slope > 0)
    scene.peel = std::make_shared<OrangePeel>(static_cast<unsigned>(chance.uniform(0, 1e9)), peel_slope,
                                              chance.uniform(1.5, 4));

  const MeasureOptions stated;
  out.request.card = scene.card;
  out.request.bar_length_mm = of_same_place != nullptr
                                  ? of_same_place->request.bar_length_mm
                                  : 100 * scene.card_scale + chance.normal(stated.bar_uncertainty_mm);
  out.request.board_pitch_mm = board.pitch_mm;
  out.request.board_distance_mm = out.board_distance_mm + chance.normal(stated.tape_uncertainty_mm);
  constexpr double phone_crop = 0.006;  // relative, standard: what lens_prior.cpp adds to EXIF's rounding
  out.focal_35mm_mm = std::round(focal_35mm * std::exp(chance.normal(phone_crop)));
  if (!could_be_taken(scene)) return std::nullopt;
  out.diameter_mm = scene.dents[0].diameter_mm();
  out.depth_mm = std::abs(scene.dents[0].height_mm);
  return out;
}

}  // namespace

Photo RandomPhoto::photo(unsigned seed) const {
  Photo taken;
  taken.grey = develop(render(scene), noise, seed, processing);
  taken.focal_35mm_mm = focal_35mm_mm;
  return taken;
}

RandomPhoto random_photo(unsigned seed, const Crowns& crowns) {
  Chance chance(seed);
  for (;;)
    if (auto photo = draw(chance, crowns)) return *photo;
}

namespace {

/// What no careful person sees or could help: the family that the library fits has none of it.
void add_workshop(Chance& chance, std::vector<RandomPhoto>& set) {
  LiftedTip lifted;
  if (chance.happens(0.5)) {
    lifted.along_x = chance.happens(0.5);
    lifted.from_mm = chance.uniform(15, 45);
    lifted.tip_mm = chance.uniform(0.3, 1.8);
  }
  Processing processing;
  processing.contrast = chance.uniform(0, 0.35);
  processing.sharpen = chance.happens(0.7) ? chance.uniform(0.3, 1) : 0;
  processing.sharpen_radius_px = chance.uniform(0.8, 1.8);
  for (RandomPhoto& photo : set) {
    photo.scene.lifted = lifted;
    photo.processing = processing;
    photo.scene.board.bow_mm = chance.normal(1.5);
    photo.scene.board.bow_deg = chance.uniform(0, 180);
  }
}

}  // namespace

std::vector<RandomPhoto> random_set(unsigned seed, std::size_t photos) {
  std::vector<RandomPhoto> set{random_photo(seed)};
  Chance chance(seed + 1000000);
  while (set.size() < photos)
    if (auto photo = draw(chance, {}, &set.front())) set.push_back(*photo);
  add_workshop(chance, set);
  return set;
}

}  // namespace ripplegauge::rendered
