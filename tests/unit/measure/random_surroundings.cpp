#include "random_surroundings.hpp"

#include <cmath>
#include <random>

namespace ripplegauge::rendered {
namespace {

using Generator = std::mt19937;

double uniform(Generator& g, double low, double high) {
  return std::uniform_real_distribution<double>(low, high)(g);
}

/// A straight line in the card frame: its normal, and how far it lies from the origin along it.
struct Straight {
  double normal_deg, place_mm;
  double normal_rad() const { return normal_deg * std::numbers::pi / 180; }
  /// A point so far beyond the line and so far along it, from the foot of the origin's normal.
  cv::Point2d point(double beyond_mm, double along_mm) const {
    const double c = std::cos(normal_rad()), s = std::sin(normal_rad());
    return {(place_mm + beyond_mm) * c - along_mm * s, (place_mm + beyond_mm) * s + along_mm * c};
  }
};

/// A line so far from the dent's middle that has all of the card on its near side.
std::optional<Straight> line_at(Generator& g, const RandomPhoto& random, double from_dent_mm) {
  const Dent& dent = random.scene.dents.at(0);
  constexpr int tries = 200;
  for (int i = 0; i < tries; ++i) {
    Straight line{uniform(g, 5, 85), 0};
    const double c = std::cos(line.normal_rad()), s = std::sin(line.normal_rad());
    line.place_mm = dent.x_mm * c + dent.y_mm * s + from_dent_mm;
    if (line.place_mm >= std::max(118 * c + 14 * s, 14 * c + 93 * s)) return line;
  }
  return std::nullopt;
}

double along_of_dent(const Straight& line, const Dent& dent) {
  return dent.y_mm * std::cos(line.normal_rad()) - dent.x_mm * std::sin(line.normal_rad());
}

BodyLine body_line(Generator& g, const Straight& at) {
  const double sign = uniform(g, 0, 1) < 0.75 ? 1 : -1;
  return {at.place_mm, at.normal_deg, sign * uniform(g, 0.02, 0.18), uniform(g, 1.5, 3.5)};
}

/// A rectangle beyond the line, its length along it.
Cover beyond(const Straight& line, double from_mm, double width_mm, double half_length_mm, double along_mm) {
  Cover cover;
  const cv::Point2d middle = line.point(from_mm + 0.5 * width_mm, along_mm);
  cover.x_mm = middle.x;
  cover.y_mm = middle.y;
  cover.angle_deg = line.normal_deg + 90;
  cover.half_length_mm = half_length_mm;
  cover.half_width_mm = 0.5 * width_mm;
  return cover;
}

constexpr double endless_mm = 1000;

void add_edge(Generator& g, Scene& scene, const Straight& line) {
  const double gap_mm = uniform(g, 2.5, 6);
  Cover gap = beyond(line, 0, gap_mm, endless_mm, 0), next = beyond(line, gap_mm, endless_mm, endless_mm, 0);
  gap.radiance = uniform(g, 0.01, 0.05);
  next.mirrors = uniform(g, 0, 1) < 0.7;
  next.tilt = {uniform(g, -0.12, 0.12), uniform(g, -0.12, 0.12)};
  next.radiance = uniform(g, 0.02, 0.4);
  scene.covers = {gap, next};
}

void add_cover(Generator& g, Scene& scene, const Straight& line, Surrounding kind) {
  const double along_mm = along_of_dent(line, scene.dents[0]) + uniform(g, -25, 25);
  Cover cover;
  if (kind == Surrounding::trim) {
    cover = beyond(line, 0, uniform(g, 8, 30), endless_mm, 0);
    cover.radiance = uniform(g, 0.02, 0.35);
  } else if (kind == Surrounding::handle) {
    const double width_mm = uniform(g, 22, 36);
    cover = beyond(line, 0, width_mm, uniform(g, 50, 95), along_mm);
    cover.corner_mm = 0.5 * width_mm;
    cover.mirrors = true;
    cover.bulge_per_mm = -uniform(g, 0.015, 0.05);
  } else if (kind == Surrounding::badge) {
    cover = beyond(line, 0, uniform(g, 10, 30), uniform(g, 8, 40), along_mm);
    cover.corner_mm = 2;
    cover.radiance = uniform(g, 0.02, 0.7);
  } else {
    const double radius_mm = uniform(g, 280, 400);
    cover = beyond(line, 0, 2 * radius_mm, radius_mm, along_mm);
    cover.corner_mm = radius_mm;
    cover.radiance = uniform(g, 0.01, 0.05);
  }
  scene.covers = {cover};
}

/// The line passes the dent's place; where it is flattened, the truth is how long and how low.
void flatten(Generator& g, RandomPhoto& random, const Straight& at) {
  BodyLine line = body_line(g, at);
  line.flat_along_mm = along_of_dent(at, random.scene.dents[0]) + uniform(g, -10, 10);
  line.flat_length_mm = uniform(g, 15, 50);
  line.flat_width_mm = line.width_mm + uniform(g, 3, 10);
  random.scene.lines = {line};
  random.diameter_mm = line.flat_length_mm;
  random.depth_mm = line.lost_height_mm();
}

/// Where a kind is the panel's own shape, and nothing stands on it.
std::optional<Crowns> crowns_of(Surrounding kind) {
  switch (kind) {
    case Surrounding::strong_crown:
      return Crowns{300, 1000};
    case Surrounding::uneven_crown:
      return Crowns{1000, 8000, 1, 4e-6};
    case Surrounding::hollow:
      return Crowns{600, 4000, -1};
    default:
      return std::nullopt;
  }
}

/// What stands or runs near the dent; false where none could be placed.
bool add_surrounding(Generator& g, RandomPhoto& random, Surrounding kind, bool dent) {
  const double radius_mm = 0.5 * random.diameter_mm;
  const double off_mm = kind == Surrounding::flattened_line
                            ? uniform(g, -15, 15)
                            : uniform(g, dent ? 0.3 * radius_mm : 0, radius_mm + 40);
  const auto line = line_at(g, random, off_mm);
  if (!line) return false;
  switch (kind) {
    case Surrounding::two_lines: {
      const Straight second{line->normal_deg + uniform(g, -8, 8), line->place_mm + uniform(g, 15, 50)};
      random.scene.lines = {body_line(g, *line), body_line(g, second)};
      break;
    }
    case Surrounding::line:
      random.scene.lines = {body_line(g, *line)};
      break;
    case Surrounding::flattened_line:
      flatten(g, random, *line);
      break;
    case Surrounding::edge:
      add_edge(g, random.scene, *line);
      break;
    default:
      add_cover(g, random.scene, *line, kind);
  }
  return true;
}

}  // namespace

std::optional<RandomPhoto> with_body_line(RandomPhoto photo, std::mt19937& generator, double from_dent_mm) {
  const auto line = line_at(generator, photo, from_dent_mm);
  if (!line) return std::nullopt;
  photo.scene.lines = {body_line(generator, *line)};
  return photo;
}

std::optional<RandomPhoto> random_surrounding(Surrounding kind, unsigned seed, bool dent) {
  const auto crowns = crowns_of(kind);
  RandomPhoto random = random_photo(seed, crowns.value_or(Crowns{}));
  Generator g(seed + 77);
  if (!crowns && !add_surrounding(g, random, kind, dent)) return std::nullopt;
  if (!dent || kind == Surrounding::flattened_line) random.scene.dents.clear();
  return random;
}

}  // namespace ripplegauge::rendered
