#include "rendered_photo.hpp"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <span>

#include "card/tag_detector.hpp"
#include "corner_card.hpp"

namespace ripplegauge::rendered {
namespace {

constexpr double radians = std::numbers::pi / 180;

/// exp(-this) is a tenth.
constexpr double log_ten = std::numbers::ln10;

}  // namespace

double BodyLine::lost_height_mm() const {
  return std::abs(turn) * (flat_width_mm - width_mm) * 0.5 / std::sqrt(std::numbers::pi);
}

bool Cover::holds(double at_x_mm, double at_y_mm) const {
  const double c = std::cos(angle_deg * radians), s = std::sin(angle_deg * radians);
  const double dx = at_x_mm - x_mm, dy = at_y_mm - y_mm;
  const double u = std::abs(c * dx + s * dy) - half_length_mm + corner_mm,
               v = std::abs(c * dy - s * dx) - half_width_mm + corner_mm;
  return std::hypot(std::max(u, 0.0), std::max(v, 0.0)) + std::min(std::max(u, v), 0.0) <= corner_mm;
}

double Dent::height(double at_x_mm, double at_y_mm) const {
  const double c = std::cos(angle_deg * radians), s = std::sin(angle_deg * radians);
  const double dx = at_x_mm - x_mm, dy = at_y_mm - y_mm;
  const double u = 2 * (c * dx + s * dy) / length_mm, v = 2 * (c * dy - s * dx) / width_mm;
  const double r2 = u * u + v * v;
  switch (form) {
    case Form::power:
      return height_mm * std::exp(-log_ten * std::pow(r2, 0.5 * power));
    case Form::bell: {
      const double at_tenth = std::acos(-0.8);  // (1 + cos) / 2 = 0.1
      const double angle = at_tenth * std::sqrt(r2);
      return angle < std::numbers::pi ? height_mm * 0.5 * (1 + std::cos(angle)) : 0;
    }
    case Form::slanted:
      return height_mm * std::exp(-log_ten * (u * u * std::exp(-1.4 * lean * std::tanh(2 * u)) + v * v));
  }
  return 0;
}

double Dent::reach_mm() const {
  return (form == Form::slanted ? 2.8 : 2.2) * 0.5 * std::max(length_mm, width_mm);
}

double Dent::diameter_mm() const {
  constexpr int cells = 1500;
  const double step = 2 * reach_mm() / cells;
  long inside = 0;
  for (int r = 0; r < cells; ++r)
    for (int k = 0; k < cells; ++k)
      inside += std::abs(height(x_mm - reach_mm() + (k + 0.5) * step,
                                y_mm - reach_mm() + (r + 0.5) * step)) >= 0.1 * std::abs(height_mm);
  return 2 * std::sqrt(static_cast<double>(inside) * step * step / std::numbers::pi);
}

double Dent::steepest() const {
  constexpr int cells = 120;
  const double step = 2 * reach_mm() / cells, h = 1e-3;
  double steepest = 0;
  for (int r = 0; r < cells; ++r)
    for (int k = 0; k < cells; ++k) {
      const double x = x_mm - reach_mm() + k * step, y = y_mm - reach_mm() + r * step;
      steepest = std::max(
          steepest,
          std::hypot(height(x + h, y) - height(x - h, y), height(x, y + h) - height(x, y - h)) / (2 * h));
    }
  return steepest;
}

namespace {

constexpr double peel_step_mm = 0.2, peel_from_mm = -60;
constexpr int peel_cells = 1300;

}  // namespace

OrangePeel::OrangePeel(unsigned seed, double slope_rms, double wavelength_mm) {
  // White noise through a Gaussian band: a hill and a valley of about the wavelength.
  cv::Mat noise(peel_cells, peel_cells, CV_32FC1), height, wide;
  cv::RNG(seed).fill(noise, cv::RNG::NORMAL, 0, 1);
  const double sigma = wavelength_mm / (2 * std::numbers::pi) / peel_step_mm;
  cv::GaussianBlur(noise, height, {}, sigma, sigma, cv::BORDER_REFLECT);
  cv::GaussianBlur(noise, wide, {}, 2 * sigma, 2 * sigma, cv::BORDER_REFLECT);
  height -= wide;
  cv::Mat x, y;
  cv::Sobel(height, x, CV_32F, 1, 0);
  cv::Sobel(height, y, CV_32F, 0, 1);
  const auto to_rms = [&](cv::Mat& m) {
    m *= slope_rms / std::sqrt(m.dot(m) / static_cast<double>(m.total()));
  };
  to_rms(x);
  to_rms(y);
  cv::merge(std::vector<cv::Mat>{x, y}, slope_);
}

Eigen::Vector2d OrangePeel::slope(double x_mm, double y_mm) const {
  const double u = std::clamp((x_mm - peel_from_mm) / peel_step_mm, 0.0, peel_cells - 1.001);
  const double v = std::clamp((y_mm - peel_from_mm) / peel_step_mm, 0.0, peel_cells - 1.001);
  const int c = static_cast<int>(u), r = static_cast<int>(v);
  const float fu = static_cast<float>(u - c), fv = static_cast<float>(v - r);
  const cv::Vec2f *a = slope_.ptr<cv::Vec2f>(r) + c, *b = slope_.ptr<cv::Vec2f>(r + 1) + c;
  const cv::Vec2f mean = (a[0] * (1 - fu) + a[1] * fu) * (1 - fv) + (b[0] * (1 - fu) + b[1] * fu) * fv;
  return {mean[0], mean[1]};
}

void look_at(Camera& camera, double x_mm, double y_mm, double distance_mm, double tilt_deg,
             double azimuth_deg, double roll_deg) {
  const double tilt = tilt_deg * radians, azimuth = azimuth_deg * radians, roll = roll_deg * radians;
  const Eigen::Vector3d back(std::sin(tilt) * std::cos(azimuth), std::sin(tilt) * std::sin(azimuth),
                             std::cos(tilt));
  camera.centre_mm = Eigen::Vector3d(x_mm, y_mm, 0) + distance_mm * back;
  const Eigen::Vector3d forward = -back;
  const Eigen::Vector3d right = forward.cross(Eigen::Vector3d::UnitY()).normalized(),
                        down = forward.cross(right);
  camera.camera_from_card.row(0) = std::cos(roll) * right + std::sin(roll) * down;
  camera.camera_from_card.row(1) = std::cos(roll) * down - std::sin(roll) * right;
  camera.camera_from_card.row(2) = forward;
}

namespace {

/// Height that a straight fold of turn 1 takes away, rounded off over this width as the error function.
double fold_drop(double beyond_mm, double width_mm) {
  const double w = beyond_mm / width_mm;
  return width_mm * (0.5 * w * (1 + std::erf(w)) + 0.5 * std::exp(-w * w) / std::sqrt(std::numbers::pi));
}

double line_drop(const BodyLine& line, double x, double y) {
  const double normal = line.normal_deg * radians;
  const double beyond = x * std::cos(normal) + y * std::sin(normal) - line.place_mm;
  const double drop = fold_drop(beyond, line.width_mm);
  if (line.flat_length_mm == 0) return line.turn * drop;
  const double along = y * std::cos(normal) - x * std::sin(normal) - line.flat_along_mm;
  const double share = std::exp(-log_ten * std::pow(2 * along / line.flat_length_mm, 2));
  return line.turn * (drop + share * (fold_drop(beyond, line.flat_width_mm) - drop));
}

double crown_height(const Scene& s, double x, double y) {
  double height = -0.5 * (s.crown_x * x * x + 2 * s.crown_xy * x * y + s.crown_y * y * y) -
                  (s.crown_xxx * x * x * x + 3 * s.crown_xxy * x * x * y + 3 * s.crown_xyy * x * y * y +
                   s.crown_yyy * y * y * y) /
                      6;
  for (const BodyLine& line : s.lines) height -= line_drop(line, x, y);
  return height;
}

Eigen::Vector2d crown_slope(const Scene& s, double x, double y) {
  Eigen::Vector2d slope(-(s.crown_x * x + s.crown_xy * y) -
                            0.5 * (s.crown_xxx * x * x + 2 * s.crown_xxy * x * y + s.crown_xyy * y * y),
                        -(s.crown_y * y + s.crown_xy * x) -
                            0.5 * (s.crown_xxy * x * x + 2 * s.crown_xyy * x * y + s.crown_yyy * y * y));
  constexpr double h = 1e-4;  // mm: central differences are then good to 1e-8
  for (const BodyLine& line : s.lines)
    slope -= Eigen::Vector2d(line_drop(line, x + h, y) - line_drop(line, x - h, y),
                             line_drop(line, x, y + h) - line_drop(line, x, y - h)) /
             (2 * h);
  return slope;
}

/// Direction of the mirrored ray, not of unit length.
Eigen::Vector3d mirrored(const Eigen::Vector3d& ray, const Eigen::Vector2d& slope) {
  const Eigen::Vector3d normal = Eigen::Vector3d(-slope.x(), -slope.y(), 1).normalized();
  return ray - 2 * ray.dot(normal) * normal;
}

/// Board coordinates of the mirrored ray: across and along the stripes; none if it leaves behind the board.
std::optional<Eigen::Vector2d> hit_board(const Board& board, const Eigen::Vector3d& from,
                                         const Eigen::Vector3d& ray) {
  const double approach = ray.dot(board.normal);
  if (approach >= 0) return std::nullopt;
  const double to_plane = (board.middle_mm - from).dot(board.normal);
  const double c = std::cos(board.bow_deg * radians) / board.half_across_mm,
               s = std::sin(board.bow_deg * radians) / board.half_along_mm;
  Eigen::Vector2d at(0, 0);
  double bowed = 0;
  for (int i = 0; i < (board.bow_mm == 0 ? 1 : 4); ++i) {
    const Eigen::Vector3d off = from + ray * ((to_plane + bowed) / approach) - board.middle_mm;
    at = {off.dot(board.across), off.dot(board.along)};
    bowed = board.bow_mm * std::pow(c * at.x() + s * at.y(), 2);
  }
  return at;
}

/// What the ray through one point of the photo meets.
struct Hit {
  float x_mm = 0, y_mm = 0;                       ///< on the panel
  float paper_x_mm = 0, paper_y_mm = 0;           ///< on the card, were it everywhere
  float across_mm = nowhere, along_mm = nowhere;  ///< on the board
  static constexpr float nowhere = 1e9F;
};

class Renderer {
 public:
  explicit Renderer(const Scene& scene) : s_(scene), back_(scene.camera.camera_from_card.transpose()) {
    for (const CardTag& tag : s_.card.tags) cells_.push_back(tag_cells(tag.id));
    for (const Dent& dent : s_.dents) reach_.push_back(dent.reach_mm());
  }

  Hit trace(double u_px, double v_px) const {
    const Camera& camera = s_.camera;
    double a = (u_px - 0.5 * (camera.width_px - 1) - camera.centre_off_u_px) / camera.focal_px;
    double b = (v_px - 0.5 * (camera.height_px - 1) - camera.centre_off_v_px) / camera.focal_px;
    const double seen2 = a * a + b * b;
    double shrink = 1;
    for (int i = 0; i < 8; ++i) {
      const double r2 = seen2 * shrink * shrink;
      shrink = 1 / (1 + camera.k1 * r2 + camera.k2 * r2 * r2);
    }
    a *= shrink;
    b *= shrink;
    const Eigen::Vector3d ray = back_.col(0) * a + back_.col(1) * b + back_.col(2);
    // Newton's method on the height of the panel, its dents included.
    double t = -camera.centre_mm.z() / ray.z();
    Eigen::Vector3d p = camera.centre_mm + t * ray;
    for (int i = 0; i < 3; ++i) {
      const Eigen::Vector2d slope = crown_slope(s_, p.x(), p.y());
      const double miss = p.z() - crown_height(s_, p.x(), p.y()) - relief(p.x(), p.y());
      t -= miss / (ray.z() - slope.x() * ray.x() - slope.y() * ray.y());
      p = camera.centre_mm + t * ray;
    }
    Eigen::Vector2d slope = crown_slope(s_, p.x(), p.y()) + relief_slope(p.x(), p.y());
    if (s_.peel) slope += s_.peel->slope(p.x(), p.y());
    for (const Cover& cover : s_.covers)
      if (cover.mirrors && cover.holds(p.x(), p.y()))
        slope += cover.tilt + cover.bulge_per_mm * Eigen::Vector2d(p.x() - cover.x_mm, p.y() - cover.y_mm);
    const Eigen::Vector2d paper = on_paper(p, ray);
    Hit hit{static_cast<float>(p.x()), static_cast<float>(p.y()), static_cast<float>(paper.x()),
            static_cast<float>(paper.y())};
    if (const auto at = hit_board(s_.board, p, mirrored(ray, slope))) {
      hit.across_mm = static_cast<float>(at->x());
      hit.along_mm = static_cast<float>(at->y());
    }
    return hit;
  }

  bool paper_covers(double x, double y) const {
    x /= s_.card_scale;
    y /= s_.card_scale;
    return std::any_of(s_.card.paper.begin(), s_.card.paper.end(), [&](const RectangleMm& p) {
      return x > p.x0_mm && x < p.x1_mm && y > p.y0_mm && y < p.y1_mm;
    });
  }

  /// Light of a point of the photo whose ray meets the panel there.
  double light(const Hit& hit, bool beside_card) const {
    if (!beside_card && paper_covers(hit.paper_x_mm, hit.paper_y_mm))
      return inked(hit.paper_x_mm / s_.card_scale, hit.paper_y_mm / s_.card_scale) ? s_.light.ink
                                                                                   : s_.light.paper;
    for (const Cover& cover : s_.covers)
      if (!cover.mirrors && cover.holds(hit.x_mm, hit.y_mm)) return cover.radiance;
    if (std::abs(hit.across_mm) > s_.board.half_across_mm || std::abs(hit.along_mm) > s_.board.half_along_mm)
      return s_.light.base + s_.light.room;
    const double fall = 1 + 0.01 * (s_.light.fall_x * (hit.x_mm - 50) + s_.light.fall_y * (hit.y_mm - 40));
    return s_.light.base + s_.light.stripes * fall * stripe(hit.across_mm);
  }

 private:
  /// Where a ray that meets the panel in p goes through the card, which stands above the panel at a lifted
  /// tip.
  Eigen::Vector2d on_paper(const Eigen::Vector3d& p, const Eigen::Vector3d& ray) const {
    Eigen::Vector2d at = p.head<2>();
    if (s_.lifted.tip_mm == 0) return at;
    for (int i = 0; i < 3; ++i) at = p.head<2>() + ray.head<2>() * (lift_at(at) / ray.z());
    return at;
  }

  /// Told wherever the arm would lie if it were as wide as the panel: beside it nothing asks for it.
  double lift_at(const Eigen::Vector2d& at) const {
    const LiftedTip& l = s_.lifted;
    const double along = l.along_x ? at.x() : at.y();
    if (along < l.from_mm) return 0;
    double end_mm = 0;
    for (const RectangleMm& r : s_.card.paper) end_mm = std::max(end_mm, l.along_x ? r.x1_mm : r.y1_mm);
    return l.tip_mm * std::pow((along - l.from_mm) / (end_mm * s_.card_scale - l.from_mm), 2);
  }

  double relief(double x, double y) const {
    double sum = 0;
    for (std::size_t i = 0; i < reach_.size(); ++i)
      if (std::hypot(x - s_.dents[i].x_mm, y - s_.dents[i].y_mm) < reach_[i]) sum += s_.dents[i].height(x, y);
    return sum;
  }

  Eigen::Vector2d relief_slope(double x, double y) const {
    constexpr double h = 1e-4;  // mm: central differences are then good to 1e-8
    Eigen::Vector2d sum(0, 0);
    for (std::size_t i = 0; i < reach_.size(); ++i) {
      const Dent& dent = s_.dents[i];
      if (std::hypot(x - dent.x_mm, y - dent.y_mm) > reach_[i]) continue;
      sum.x() += (dent.height(x + h, y) - dent.height(x - h, y)) / (2 * h);
      sum.y() += (dent.height(x, y + h) - dent.height(x, y - h)) / (2 * h);
    }
    return sum;
  }

  bool inked(double x, double y) const {
    for (std::size_t i = 0; i < cells_.size(); ++i) {
      const double u = (x - s_.card.tags[i].x_mm) / s_.card.tag_side_mm + 0.5;
      const double v = 0.5 - (y - s_.card.tags[i].y_mm) / s_.card.tag_side_mm;
      if (u >= 0 && u < 1 && v >= 0 && v < 1)
        return cells_[i][static_cast<std::size_t>(8 * v)][static_cast<std::size_t>(8 * u)];
    }
    return false;
  }

  /// 1 on a light stripe, 0 on a dark one, with soft steps between.
  double stripe(double across_mm) const {
    const Board& board = s_.board;
    const double cycles = across_mm / board.pitch_mm + board.phase_cycles;
    // Signed distance to the nearer edge of the light stripe, which is centred on phase 0.
    const double inside = 0.5 * board.duty - std::abs(cycles - std::floor(cycles + 0.5));
    const double step = std::clamp(0.5 + inside * board.pitch_mm / board.edge_mm, 0.0, 1.0);
    return step * step * (3 - 2 * step);
  }

  const Scene& s_;
  Eigen::Matrix3d back_;
  std::vector<TagCells> cells_;
  std::vector<double> reach_;
};

}  // namespace

void place_board(Scene& scene, double x_mm, double y_mm, double distance_mm, double spin_deg,
                 double tilt_u_deg, double tilt_v_deg) {
  const Eigen::Vector3d p(x_mm, y_mm, crown_height(scene, x_mm, y_mm));
  const Eigen::Vector3d ray =
      mirrored(p - scene.camera.centre_mm, crown_slope(scene, x_mm, y_mm)).normalized();
  Board& board = scene.board;
  board.middle_mm = p + distance_mm * ray;
  const Eigen::Vector3d u = ray.unitOrthogonal(), v = ray.cross(u);
  board.normal =
      -(ray + std::tan(tilt_u_deg * radians) * u + std::tan(tilt_v_deg * radians) * v).normalized();
  // Stripes start from where the card's x axis would lie on the board.
  Eigen::Vector3d x = Eigen::Vector3d::UnitX();
  x = (x - x.dot(board.normal) * board.normal).normalized();
  board.across = Eigen::AngleAxisd(spin_deg * radians, board.normal) * x;
  board.along = board.normal.cross(board.across);
}

Eigen::Vector2d on_board(const Scene& scene, double x_mm, double y_mm) {
  const Eigen::Vector3d p(x_mm, y_mm, crown_height(scene, x_mm, y_mm));
  return hit_board(scene.board, p, mirrored(p - scene.camera.centre_mm, crown_slope(scene, x_mm, y_mm)))
      .value_or(Eigen::Vector2d::Constant(1e9));
}

cv::Point2d pixel_of(const Scene& scene, double x_mm, double y_mm) {
  const Camera& camera = scene.camera;
  const Eigen::Vector3d p = camera.camera_from_card *
                            (Eigen::Vector3d(x_mm, y_mm, crown_height(scene, x_mm, y_mm)) - camera.centre_mm);
  const double a = p.x() / p.z(), b = p.y() / p.z(), r2 = a * a + b * b;
  const double d = camera.focal_px * (1 + camera.k1 * r2 + camera.k2 * r2 * r2);
  return {d * a + 0.5 * (camera.width_px - 1) + camera.centre_off_u_px,
          d * b + 0.5 * (camera.height_px - 1) + camera.centre_off_v_px};
}

cv::Mat render(const Scene& scene, std::optional<cv::Rect> part) {
  const cv::Rect whole(0, 0, scene.camera.width_px, scene.camera.height_px);
  const cv::Rect wanted = part.value_or(whole) & whole;
  const int margin = static_cast<int>(std::ceil(4 * scene.blur_px));
  const cv::Rect drawn =
      cv::Rect(wanted.x - margin, wanted.y - margin, wanted.width + 2 * margin, wanted.height + 2 * margin) &
      whole;
  const Renderer renderer(scene);
  // Rays go through the pixels' corners. Within a pixel, a tenth of a millimetre or two of panel, what they
  // meet is linear to a thousandth of a stripe; only the light that is met there is not.
  std::vector<Hit> above(static_cast<std::size_t>(drawn.width + 1)), below = above;
  const auto trace_row = [&](std::vector<Hit>& row, int v) {
    for (int c = 0; c <= drawn.width; ++c)
      row[static_cast<std::size_t>(c)] = renderer.trace(drawn.x + c - 0.5, v - 0.5);
  };
  const auto between = [](const Hit& a, const Hit& b, float f) {
    const auto mix = [f](float p, float q) { return p + f * (q - p); };
    return Hit{mix(a.x_mm, b.x_mm),
               mix(a.y_mm, b.y_mm),
               mix(a.paper_x_mm, b.paper_x_mm),
               mix(a.paper_y_mm, b.paper_y_mm),
               mix(a.across_mm, b.across_mm),
               mix(a.along_mm, b.along_mm)};
  };
  constexpr int soft = 3, hard = 6;  // points a pixel, each way: ink and paper have hard edges
  cv::Mat light(drawn.size(), CV_32FC1);
  trace_row(below, drawn.y);
  for (int r = 0; r < drawn.height; ++r) {
    std::swap(above, below);
    trace_row(below, drawn.y + r + 1);
    for (int c = 0; c < drawn.width; ++c) {
      const auto k = static_cast<std::size_t>(c);
      const Hit* corners[4] = {&above[k], &above[k + 1], &below[k], &below[k + 1]};
      const bool beside_card = std::none_of(std::begin(corners), std::end(corners), [&](const Hit* h) {
        return renderer.paper_covers(h->paper_x_mm, h->paper_y_mm);
      });
      const int points = beside_card ? soft : hard;
      double sum = 0;
      for (int i = 0; i < points; ++i) {
        const float fv = (static_cast<float>(i) + 0.5F) / static_cast<float>(points);
        const Hit left = between(above[k], below[k], fv), right = between(above[k + 1], below[k + 1], fv);
        for (int j = 0; j < points; ++j)
          sum += renderer.light(
              between(left, right, (static_cast<float>(j) + 0.5F) / static_cast<float>(points)), beside_card);
      }
      light.at<float>(r, c) = static_cast<float>(sum / (points * points));
    }
  }
  cv::GaussianBlur(light, light, {}, scene.blur_px, scene.blur_px, cv::BORDER_REPLICATE);
  return light(cv::Rect(wanted.x - drawn.x, wanted.y - drawn.y, wanted.width, wanted.height)).clone();
}

cv::Mat develop(const cv::Mat& light, double noise, unsigned seed, const Processing& processing) {
  cv::Mat noisy(light.size(), CV_32FC1), photo;
  cv::RNG(seed).fill(noisy, cv::RNG::NORMAL, 0, noise);
  noisy += light;
  for (int r = 0; r < light.rows; ++r)
    for (float& pixel : std::span(noisy.ptr<float>(r), static_cast<std::size_t>(light.cols))) {
      const double v = std::clamp(static_cast<double>(pixel), 0.0, 1.0);
      // IEC 61966-2-1
      const double coded = v <= 0.0031308 ? 12.92 * v : 1.055 * std::pow(v, 1 / 2.4) - 0.055;
      const double steep = 0.5 - 0.5 * std::cos(std::numbers::pi * coded);
      pixel = static_cast<float>(255 * (coded + processing.contrast * (steep - coded)));
    }
  if (processing.sharpen > 0) {
    cv::Mat soft;
    cv::GaussianBlur(noisy, soft, {}, processing.sharpen_radius_px);
    noisy += processing.sharpen * (noisy - soft);
  }
  noisy.convertTo(photo, CV_8UC1);
  return photo;
}

double focal_35mm_of(const Camera& camera) {
  return camera.focal_px * std::hypot(36, 24) / std::hypot(camera.width_px, camera.height_px);
}

Scene usual_scene(const Dent& dent) {
  Scene scene;
  scene.card = corner_card();
  scene.camera.focal_px = 50 / std::hypot(36, 24) * 2000;
  look_at(scene.camera, 52, 40, 330, 28, -75, 4);
  scene.crown_x = 1 / 4000.0;
  scene.crown_y = 1 / 6000.0;
  scene.dents = {dent};
  scene.board.phase_cycles = 0.3;
  place_board(scene, dent.x_mm, dent.y_mm, usual_distance_mm, 25, 4, -3);
  return scene;
}

MeasureRequest usual_request(const Scene& scene) {
  MeasureRequest request;
  request.card = scene.card;
  request.board_pitch_mm = scene.board.pitch_mm;
  request.board_distance_mm = usual_distance_mm;
  return request;
}

Photo usual_photo(const Scene& scene, const cv::Mat& light, double noise, unsigned seed) {
  Photo photo;
  photo.grey = develop(light, noise, seed);
  photo.focal_35mm_mm = focal_35mm_of(scene.camera);
  return photo;
}

double cycles_per_slope(const Scene& scene, double x_mm, double y_mm) {
  const Eigen::Vector3d p(x_mm, y_mm, crown_height(scene, x_mm, y_mm));
  const Eigen::Vector2d slope = crown_slope(scene, x_mm, y_mm);
  constexpr double h = 1e-5;
  const auto across = [&](double sx, double sy) {
    const Eigen::Vector3d ray = mirrored(p - scene.camera.centre_mm, slope + Eigen::Vector2d(sx, sy));
    return hit_board(scene.board, p, ray).value_or(Eigen::Vector2d(0, 0)).x() / scene.board.pitch_mm;
  };
  return std::hypot(across(h, 0) - across(-h, 0), across(0, h) - across(0, -h)) / (2 * h);
}

}  // namespace ripplegauge::rendered
