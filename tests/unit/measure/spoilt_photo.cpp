#include "spoilt_photo.hpp"

#include <numbers>

#include "core/visible_dent.hpp"
#include "picture/picture.hpp"

namespace ripplegauge {
namespace {

/// Replaces every grey value by f of it, 0 to 255.
template <class Tone>
void tone(Photo& photo, const Tone& f) {
  cv::Mat table(1, 256, CV_8UC1), grey;
  for (int i = 0; i < 256; ++i) table.at<uchar>(i) = cv::saturate_cast<uchar>(f(i));
  cv::LUT(photo.grey, table, grey);
  photo.grey = grey;
}

void gamma(Sample& s, double exponent) {
  tone(s.photo, [&](int i) { return 255 * std::pow(i / 255.0, exponent); });
}

/// Contrast as phones like it: a curve that is steeper in the middle.
void s_curve(Sample& s, double strength) {
  tone(s.photo, [&](int i) {
    const double x = i / 255.0;
    return 255 * (x - strength * std::sin(2 * std::numbers::pi * x) / (2 * std::numbers::pi));
  });
}

/// Dark parts are made lighter, place by place, as phones do it for a high range of brightness.
void local_tone(Sample& s, double strength) {
  cv::Mat grey, around;
  s.photo.grey.convertTo(grey, CV_32F, 1 / 255.0);
  cv::resize(grey, around, {}, 1.0 / 16, 1.0 / 16, cv::INTER_AREA);
  cv::GaussianBlur(around, around, {}, 12);
  cv::resize(around, around, grey.size(), 0, 0, cv::INTER_LINEAR);
  cv::Mat gain = 0.5 / (around + 0.1);
  cv::pow(gain, strength, gain);
  grey = grey.mul(gain);
  grey.convertTo(s.photo.grey = cv::Mat(), CV_8U, 255);
}

void sharpened(Sample& s, double strength) {
  cv::Mat soft, grey;
  cv::GaussianBlur(s.photo.grey, soft, {}, 1.5);
  cv::addWeighted(s.photo.grey, 1 + strength, soft, -strength, 0, grey);
  s.photo.grey = grey;
}

void tape(Sample& s, double factor) {
  if (s.request.board_distance_mm) s.request.board_distance_mm = factor * *s.request.board_distance_mm;
}

void bar_missing(Sample& s, double) { s.request.bar_measured = false; }
void bar_wrong(Sample& s, double mm) { s.request.bar_length_mm += mm; }

/// The hand moves by this many pixels while the shutter is open.
void moved(Sample& s, double length_px, double angle_deg) {
  constexpr int fine = 8, half = 8, cells = (2 * half + 1) * fine;
  cv::Mat path(cells, cells, CV_32FC1, cv::Scalar(0)), kernel, grey;
  const double c = std::cos(angle_deg * CV_PI / 180), n = std::sin(angle_deg * CV_PI / 180);
  constexpr int steps = 400;
  for (int i = 0; i < steps; ++i) {
    const double t = ((i + 0.5) / steps - 0.5) * length_px;
    path.at<float>(static_cast<int>(0.5 * cells + fine * t * n),
                   static_cast<int>(0.5 * cells + fine * t * c)) += 1;
  }
  cv::resize(path, kernel, {2 * half + 1, 2 * half + 1}, 0, 0, cv::INTER_AREA);
  kernel /= cv::sum(kernel)[0];
  cv::filter2D(s.photo.grey, grey, -1, kernel, {-1, -1}, 0, cv::BORDER_REPLICATE);
  s.photo.grey = grey;
}
void moved_along(Sample& s, double px) { moved(s, px, 0); }
void moved_down(Sample& s, double px) { moved(s, px, 90); }
void moved_aslant(Sample& s, double px) { moved(s, px, 40); }

void out_of_focus(Sample& s, double sigma_px) {
  cv::Mat grey;
  cv::GaussianBlur(s.photo.grey, grey, {}, sigma_px);
  s.photo.grey = grey;
}

void add_noise(Photo& photo, double sd) {
  cv::Mat grey, noise(photo.grey.size(), CV_32FC1);
  photo.grey.convertTo(grey, CV_32F);
  cv::RNG rng(7);
  rng.fill(noise, cv::RNG::NORMAL, 0, sd);
  grey += noise;
  grey.convertTo(photo.grey = cv::Mat(), CV_8U);
}

/// Little light: noise, and a phone that wipes it away together with what is fine.
void night_smear(Sample& s, double noise_sd) {
  gamma(s, 1.3);
  add_noise(s.photo, noise_sd);
  cv::Mat grey;
  cv::medianBlur(s.photo.grey, grey, 5);
  cv::bilateralFilter(grey, s.photo.grey = cv::Mat(), 7, 2.5 * noise_sd, 3);
}

/// Two exposures laid upon each other, the hand having moved between them.
void ghost(Sample& s, double shift_px, double share) {
  cv::Mat other, grey;
  const cv::Mat shift = (cv::Mat_<double>(2, 3) << 1, 0, shift_px, 0, 1, 0.6 * shift_px);
  cv::warpAffine(s.photo.grey, other, shift, s.photo.grey.size(), cv::INTER_LINEAR, cv::BORDER_REPLICATE);
  cv::addWeighted(s.photo.grey, 1 - share, other, share, 0, grey);
  s.photo.grey = grey;
}
void ghost_even(Sample& s, double px) { ghost(s, px, 0.5); }
void ghost_faint(Sample& s, double px) { ghost(s, px, 0.25); }

void compress(Photo& photo, int quality) {
  cv::Mat bgr;
  cv::cvtColor(photo.grey, bgr, cv::COLOR_GRAY2BGR);
  photo.grey = decode_photo(encode_jpeg(bgr, quality), "sent.jpg").grey;
}

/// Sent to somebody: made small, compressed hard, and nothing said of the lens.
void messenger(Sample& s, double long_side_px) {
  s.photo = shrunk(s.photo, long_side_px / std::max(s.photo.grey.cols, s.photo.grey.rows));
  s.photo.focal_35mm_mm.reset();
  compress(s.photo, long_side_px > 1500 ? 65 : 50);
}
void compressed(Sample& s, double quality) { compress(s.photo, static_cast<int>(quality)); }

/// In linear light, and clipped as a sensor clips.
void exposure(Sample& s, double factor) {
  const auto linear = [](double v) { return v <= 0.04045 ? v / 12.92 : std::pow((v + 0.055) / 1.055, 2.4); };
  const auto coded = [](double v) {
    return v <= 0.0031308 ? 12.92 * v : 1.055 * std::pow(v, 1 / 2.4) - 0.055;
  };
  tone(s.photo, [&](int i) { return 255 * coded(std::min(1.0, factor * linear(i / 255.0))); });
}

/// Something beside the lamp throws its edge across the picture, slantwise through the panel beside the card.
void edge(Sample& s, double width_px, double factor, double veil) {
  cv::Mat grey;
  s.photo.grey.convertTo(grey, CV_32F);
  const cv::Point2d middle = Places(s.photo, s.request).px(70, 60), normal(std::cos(0.4), std::sin(0.4));
  const double width = width_px * s.photo.grey.cols / 4000;
  for (int v = 0; v < grey.rows; ++v)
    for (int u = 0; u < grey.cols; ++u) {
      const double beyond = (cv::Point2d(u, v) - middle).dot(normal) / width;
      const double share = 1 / (1 + std::exp(-4 * beyond));
      float& g = grey.at<float>(v, u);
      g = static_cast<float>(g * (1 + (factor - 1) * share) + veil * share);
    }
  grey.convertTo(s.photo.grey = cv::Mat(), CV_8U);
}
void shadow(Sample& s, double width_px) { edge(s, width_px, 0.6, 0); }
void veil(Sample& s, double width_px) { edge(s, width_px, 1, 25); }

/// A drop is a small lens: it shows what is round it upside down, has a dark rim and a bright point.
void drops(Sample& s, double count) {
  const Places places(s.photo, s.request);
  cv::RNG rng(11);
  const cv::Mat dry = s.photo.grey.clone();
  cv::Mat wet = dry.clone();
  for (int i = 0; i < static_cast<int>(count); ++i) {
    const double x_mm = rng.uniform(15.0, 150.0), y_mm = rng.uniform(15.0, 120.0),
                 radius_mm = rng.uniform(0.6, 2.2);
    const cv::Point2d c = places.px(x_mm, y_mm), e = places.px(x_mm + radius_mm, y_mm);
    const double r = cv::norm(e - c);
    for (int v = static_cast<int>(c.y - r); v <= c.y + r; ++v)
      for (int u = static_cast<int>(c.x - r); u <= c.x + r; ++u) {
        if (u < 0 || v < 0 || u >= wet.cols || v >= wet.rows) continue;
        const double du = u - c.x, dv = v - c.y, q = std::hypot(du, dv) / r;
        if (q > 1) continue;
        const int su = std::clamp(static_cast<int>(c.x - 1.8 * du), 0, dry.cols - 1),
                  sv = std::clamp(static_cast<int>(c.y - 1.8 * dv), 0, dry.rows - 1);
        double g = dry.at<uchar>(sv, su) * (q > 0.85 ? 0.7 : 1.0);
        if (std::hypot(du + 0.4 * r, dv + 0.4 * r) < 0.2 * r) g += 80;
        wet.at<uchar>(v, u) = cv::saturate_cast<uchar>(g);
      }
  }
  cv::GaussianBlur(wet, wet, {}, 0.7);
  s.photo.grey = wet;
}

std::string number(double value) { return cv::format("%.4g", value); }

/// Whether the truth lies outside the interval by more than half the interval's width.
bool is_far_outside(const Quantity& q, double truth) {
  const double half = 0.5 * (q.high - q.low);
  return truth < q.low - half || truth > q.high + half;
}

void hold_against(const char* what, const Quantity& q, double truth, std::string& wrong) {
  if (is_far_outside(q, truth))
    wrong += std::string(" ") + what + " " + number(q.value) + " (" + number(q.low) + " to " +
             number(q.high) + "), truth " + number(truth);
}

bool would_have_shown(const Reading& reading, double x_mm, double y_mm, double width_mm, double depth_mm) {
  if (!reading.setup.judged || reading.setup.judged->covered_share(x_mm, y_mm, width_mm) < 0.5) return false;
  const auto limit = smallest_visible(reading.setup, width_mm);
  // A limit is told for round dents of one shape: others show a half later.
  return limit && depth_mm > 1.5 * limit->depth_mm;
}

}  // namespace

const std::vector<Spoiling>& spoilings() {
  static const std::vector<Spoiling> all = {
      {"tone", "gamma", gamma, 0.7},
      {"tone", "gamma", gamma, 1.4},
      {"tone", "s-curve", s_curve, 0.6},
      {"tone", "local tone", local_tone, 0.5},
      {"tone", "sharpened", sharpened, 1.0},
      {"tape", "tape", tape, 0.95},
      {"tape", "tape", tape, 0.98},
      {"tape", "tape", tape, 1.03},
      {"tape", "tape", tape, 1.06},
      {"bar", "bar missing", bar_missing, 0},
      {"bar", "bar read wrong", bar_wrong, 0.2},
      {"blur", "moved along rows", moved_along, 2},
      {"blur", "moved along rows", moved_along, 3.5},
      {"blur", "moved along rows", moved_along, 5},
      {"blur", "moved along columns", moved_down, 2},
      {"blur", "moved along columns", moved_down, 3.5},
      {"blur", "moved along columns", moved_down, 5},
      {"blur", "moved aslant", moved_aslant, 4},
      {"blur", "out of focus", out_of_focus, 1.5},
      {"blur", "out of focus", out_of_focus, 3},
      {"smear", "night smear", night_smear, 5},
      {"smear", "night smear", night_smear, 12},
      {"ghost", "ghost", ghost_even, 4},
      {"ghost", "ghost", ghost_even, 9},
      {"ghost", "faint ghost", ghost_faint, 6},
      {"messenger", "messenger", messenger, 2000},
      {"messenger", "messenger", messenger, 1280},
      {"messenger", "compressed", compressed, 35},
      {"exposure", "exposure", exposure, 0.25},
      {"exposure", "exposure", exposure, 1.8},
      {"exposure", "exposure", exposure, 3},
      {"edge", "shadow", shadow, 40},
      {"edge", "shadow", shadow, 120},
      {"edge", "veil", veil, 40},
      {"edge", "veil", veil, 120},
      {"drops", "drops", drops, 25},
      {"drops", "drops", drops, 120},
  };
  return all;
}

Outcome outcome_of(const Reading& reading, const nlohmann::json& true_dents) {
  Outcome out;
  out.measured = reading.status == Status::measured;
  out.no_dent = reading.status == Status::no_dent;
  out.refused = reading.status == Status::refused;
  out.warned = !reading.warnings.empty();
  std::vector<bool> known(reading.dents.size(), false);
  for (const auto& t : true_dents) {
    const auto& rim = t.at("rim");
    const double x_mm = rim.at("cx"), y_mm = rim.at("cy"), width_mm = rim.at("eq_diameter"),
                 depth_mm = t.at("depth");
    std::size_t best = reading.dents.size();
    double best_mm = std::max(2.0, 0.4 * width_mm);
    for (std::size_t i = 0; i < reading.dents.size(); ++i) {
      const double apart_mm = std::hypot(reading.dents[i].x_mm - x_mm, reading.dents[i].y_mm - y_mm);
      if (known[i] || apart_mm >= best_mm ||
          to_string(reading.dents[i].kind) != t.at("kind").get<std::string>())
        continue;
      best = i;
      best_mm = apart_mm;
    }
    if (best == reading.dents.size()) {
      if (out.no_dent && would_have_shown(reading, x_mm, y_mm, width_mm, depth_mm))
        out.wrong += " no dent over " + number(width_mm) + " mm x " + number(depth_mm) + " mm";
      continue;
    }
    known[best] = true;
    const Dent& dent = reading.dents[best];
    hold_against("diameter", dent.diameter_mm, width_mm, out.wrong);
    if (dent.depth_mm) hold_against("depth", *dent.depth_mm, depth_mm, out.wrong);
  }
  for (std::size_t i = 0; i < known.size(); ++i)
    if (!known[i])
      out.wrong += " find at " + number(reading.dents[i].x_mm) + ", " + number(reading.dents[i].y_mm) + ", " +
                   number(reading.dents[i].diameter_mm.value) + " mm";
  return out;
}

}  // namespace ripplegauge
