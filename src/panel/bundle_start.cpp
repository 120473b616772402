// Where the bundle starts: the camera's pose from the card's tags, the board's from the tags that the panel
// mirrors.
#include <algorithm>
#include <complex>
#include <map>
#include <opencv2/calib3d.hpp>

#include "bundle_parts.hpp"
#include "panel/bundle.hpp"

namespace ripplegauge {

std::optional<BundleResult> start_bundle(BundleProblem& problem, const BundleNoise& noise) {
  std::vector<cv::Point3d> object;
  std::vector<cv::Point2d> image;
  for (const SeenTag& seen : problem.tags) {
    const CardTag* tag = find_card_tag(problem.card, seen.id);
    if (tag == nullptr) continue;
    const auto corners = tag_corners_mm(*tag, problem.card.tag_side_mm, problem.card_scale, 0.0);
    for (std::size_t k = 0; k < 4; ++k) {
      object.emplace_back(corners[k][0], corners[k][1], 0.0);
      image.push_back(seen.corners_px[k]);
    }
  }
  if (object.size() < 4) return std::nullopt;
  const PanelConstants& c = problem.constants;
  const cv::Matx33d k(c.nominal_focal_px, 0, c.centre_u_px, 0, c.nominal_focal_px, c.centre_v_px, 0, 0, 1);
  std::vector<cv::Mat> rotations, translations;
  cv::solvePnPGeneric(object, image, k, cv::noArray(), rotations, translations, false, cv::SOLVEPNP_IPPE);

  std::optional<BundleResult> best;
  Eigen::Matrix3d best_rotation = Eigen::Matrix3d::Identity();
  for (std::size_t i = 0; i < rotations.size(); ++i) {
    cv::Mat r;
    cv::Rodrigues(rotations[i], r);
    PanelVector start = PanelVector::Zero();
    start[p_k1] = problem.priors.expected_k1, start[p_k2] = problem.priors.expected_k2;
    for (int row = 0; row < 3; ++row) {
      for (int column = 0; column < 3; ++column)
        problem.constants.base_rotation(row, column) = r.at<double>(row, column);
      start[p_translation + row] = translations[i].at<double>(row);
    }
    // The camera looks at the printed side: its centre has z > 0 in the card frame.
    const Eigen::Vector3d t(start[3], start[4], start[5]);
    if ((-(problem.constants.base_rotation.transpose() * t)).z() <= 0) continue;
    const PanelVector flat = settle_bundle(problem, start, BundleFreedom::everything, noise);
    const BundleResult result = describe(problem, noise, with_card_ends_free(problem, flat, noise));
    if (!best || result.cost < best->cost) {
      best = result;
      best_rotation = problem.constants.base_rotation;
    }
  }
  if (best) problem.constants.base_rotation = best_rotation;
  return best;
}

namespace {

/// How the panel shows the corners with the board at the nominal distance, square to the reflected ray and
/// unturned, against where they are on the board: x + i y = factor (along + i across) + shift, by least
/// squares.
struct BoardSimilarity {
  std::complex<double> factor, shift;
};

BoardSimilarity similarity(const BundleProblem& problem, const PanelVector& parameters,
                           const std::vector<BoardCorner>& corners) {
  using Complex = std::complex<double>;
  const PanelModel<double> model(problem.constants, parameters);
  std::vector<Complex> from, to;
  Complex from_mean = 0, to_mean = 0;
  for (const BoardCorner& corner : corners) {
    const auto p = model.panel_from_pixel(corner.u_px, corner.v_px);
    const auto q = model.board_from_panel(p.x_mm, p.y_mm, 0.0, 0.0);
    from.emplace_back(q.along_mm, q.across_mm), to.emplace_back(corner.x_mm, corner.y_mm);
    from_mean += from.back(), to_mean += to.back();
  }
  from_mean /= static_cast<double>(from.size()), to_mean /= static_cast<double>(to.size());
  Complex product = 0;
  double norm = 0;
  for (std::size_t i = 0; i < from.size(); ++i) {
    product += std::conj(from[i] - from_mean) * (to[i] - to_mean);
    norm += std::norm(from[i] - from_mean);
  }
  const Complex factor = product / std::max(norm, 1e-12);
  return {factor, to_mean - factor * from_mean};
}

/// Drops tags that do not agree with the pose. Returns how many tags are left.
int drop_strays(BundleProblem& problem, const PanelVector& p) {
  const PanelModel<double> model(problem.constants, p);
  std::map<int, double> worst;  // by tag, mm, against its own size
  for_each_board_error(problem, model, model, [&](const BoardCorner& corner, double error) {
    double& w = worst[corner.tag_id];
    w = std::max(w, std::abs(error));
  });
  int left = 0;
  for (const auto& [id, error_mm] : worst) {
    const auto tag = std::find_if(problem.board_tags.begin(), problem.board_tags.end(),
                                  [&, id = id](const BoardTag& t) { return t.id == id; });
    // A chance decoding lands anywhere: whole tags away. Peel and a panel that is not quite quadratic do not.
    if (error_mm < 0.5 * tag->side_mm)
      ++left;
    else
      std::erase_if(problem.board_corners, [id = id](const BoardCorner& c) { return c.tag_id == id; });
  }
  return left;
}

}  // namespace

std::optional<PanelVector> start_board(BundleProblem& problem, const std::vector<BoardCorner>& seen,
                                       const PanelVector& start) {
  constexpr int least_tags = 2;
  if (seen.size() < 4 * least_tags) return std::nullopt;
  PanelVector p = start;
  const double nominal_mm = problem.constants.nominal_distance_mm;
  // The picture of the tags on a plane grows with its distance: bisect for the one that has their size.
  double near_mm = 20, far_mm = 5000;
  for (int i = 0; i < 30; ++i) {
    problem.constants.nominal_distance_mm = std::sqrt(near_mm * far_mm);
    (std::abs(similarity(problem, p, seen).factor) > 1 ? near_mm : far_mm) =
        problem.constants.nominal_distance_mm;
  }
  const BoardSimilarity turn = similarity(problem, p, seen);
  p[p_board_spin] = std::arg(turn.factor);
  p[p_board_shift] = turn.shift.real(), p[p_board_shift + 1] = turn.shift.imag();
  problem.board_corners = seen;
  for (const double factor : {30.0, 5.0, 1.0}) {
    p = settle_bundle(problem, p, BundleFreedom::board_only, {.board_corner_factor = factor});
    if (drop_strays(problem, p) < least_tags) {
      problem.board_corners.clear();
      problem.constants.nominal_distance_mm = nominal_mm;
      return std::nullopt;
    }
  }
  problem.constants.nominal_distance_mm += p[p_board_distance];
  p[p_board_distance] = 0;
  return settle_bundle(problem, p, BundleFreedom::everything);
}

}  // namespace ripplegauge
