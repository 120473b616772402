// One bundle for everything that must agree: camera, panel crown and board, from all tag corners and from the
// phase of the undisturbed stripes (Triggs et al., "Bundle adjustment - a modern synthesis", 2000).
#pragma once

#include <algorithm>
#include <cmath>
#include <optional>
#include <vector>

#include "card/tag_detector.hpp"
#include "core/least_squares.hpp"
#include "panel/panel_model.hpp"
#include "ripplegauge/core/board_definition.hpp"
#include "ripplegauge/core/card_definition.hpp"

namespace ripplegauge {

/// A measured stripe phase: the absolute phase in cycles (up to one common integer) at a pixel.
struct PhaseSample {
  double u_px = 0, v_px = 0, phase_cycles = 0;
};

/// What is known before the photo speaks: standard deviations of the parameters about their nominal values.
struct PanelPriors {
  double expected_k1 = 0, expected_k2 = 0;  ///< what k1, k2 are expected to be; all other parameters: 0
  double k1 = 0.03, k2 = 0.015;             ///< phone lenses after the phone's own correction (own estimate)
  double log_focal = 0.012;                 ///< EXIF rounds the focal length to whole millimetres
  double centre_px = 100;                   ///< photos get cropped
  double crown_per_mm = 5e-4, crown_xy_per_mm = 1e-4;  ///< panels: radius of 2 m typical, 1 m not rare
  /// Body lines: a soft one turns by a few hundredths, a sharp one by a fifth, within 2 to 8 mm (own
  /// estimate).
  double fold_turn = 0.2, fold_place_mm = 300, fold_width_mm = 1.5, fold_log_width = 0.7;
  double fold_bend_per_mm = 2e-4;
  double ink_mm = 0.06;  ///< printed squares run fat or thin by a few hundredths
  /// How far an end of the card lies above the panel: the width of the prior's core. Its tails are heavy:
  /// most cards are held down, others curl by a millimetre or two.
  double lift_mm = 0.05;
  double lift_below_mm = 0.02;  ///< what corner noise may feign
  double lift_from = 1.5;       ///< of ln odds: about evenly anywhere
  /// Tangent of the board's turn away from square to the mirrored ray, about either axis: the width of the
  /// prior's core, 11 degrees. Its tails are heavy: people stand boards upright, up to 60 degrees off.
  double board_tilt = 0.2;
  /// Boards are flat, or sheets that bow: core of a heavy-tailed prior, 1 mm of bow over 400 mm.
  double board_bow_per_mm = 5e-5;
  double board_distance_mm = 150;  ///< about usual_board_distance_mm: nothing but where a board can stand
};

/// A corner of a board's tag, seen in the paint.
struct BoardCorner {
  int tag_id = -1;
  double u_px = 0, v_px = 0;
  double x_mm = 0, y_mm = 0;  ///< in the board frame
  double uncertainty_mm = 1;  ///< standard, on the board
};

/// Where a board stands, from the panel along the mirrored ray, before the photo speaks.
constexpr double usual_board_distance_mm = 300;

struct BundleProblem {
  PanelConstants constants;
  PanelPriors priors;
  CardDefinition card;
  double card_scale = 1;  ///< measured bar length / nominal
  std::vector<SeenTag> tags;
  std::vector<PhaseSample> samples;
  std::vector<BoardTag> board_tags;        ///< all that the board has; empty for a board without
  std::vector<BoardCorner> board_corners;  ///< those seen, once the board's pose is known from them
};

/// Standard deviations of the data. Corner: the scatter seen on ray-traced photos is 0.02-0.12 px; paper that
/// does not lie quite flat adds to it. Phase: what a quadratic panel and a plane board leave unmodelled.
struct BundleNoise {
  double corner_px = 0.15;
  double phase_cycles = 0.03;
  double effective_phase_samples = 300;  ///< neighbouring samples share blur and board bow: this many count
  double board_corner_factor = 1;        ///< on BoardCorner::uncertainty_mm; large while the pose is rough
};

struct BundleResult {
  PanelVector parameters = PanelVector::Zero();
  Eigen::Matrix<double, panel_parameters, panel_parameters> covariance;  ///< at the solution; see fit_bundle
  double cost = 0;
  double tag_rms_px = 0;
  double board_rms = 0;         ///< of the board corners' coordinates, in units of their stated uncertainties
  double phase_mad_cycles = 0;  ///< 1.4826 x median |residual| of the phase samples

  /// Of a parameter, in its own unit.
  double standard_uncertainty(int parameter) const {
    return std::sqrt(std::max(0.0, covariance(parameter, parameter)));
  }
};

/// Starts from the tags alone: pose by IPPE (Collins & Bartoli, IJCV 2014, 10.1007/s11263-014-0725-5), both
/// planar solutions refined, the better one kept. Sets problem.constants.base_rotation. Nothing if no pose
/// fits.
std::optional<BundleResult> start_bundle(BundleProblem& problem, const BundleNoise& noise = {});

/// The board's pose from its tags as the panel mirrors them, card and camera as in `start`. Fills
/// problem.board_corners with the corners of `seen` that agree on one pose (a decoder finds tags where there
/// are none); nothing when fewer than two tags do. The nominal distance becomes what the tags say.
std::optional<PanelVector> start_board(BundleProblem& problem, const std::vector<BoardCorner>& seen,
                                       const PanelVector& start);

enum class BundleFreedom { board_only, everything };

/// Predicted minus measured phase, cycles.
double phase_error(const PanelModel<double>& model, const PhaseSample& sample);

/// Cost and derivatives of everything at a place; parameters that nothing speaks of stay where they are.
NormalEquations bundle_equations(const BundleProblem& problem, const PanelVector& parameters,
                                 const BundleNoise& noise);

/// What the stripes say of a fold that the panel does not have yet: derivatives of the cost by its turn and
/// by cycles that were miscounted beyond it, second ones, and those mixed with all other parameters.
struct FoldTerms {
  Eigen::Vector2d gradient = Eigen::Vector2d::Zero();
  Eigen::Matrix2d information = Eigen::Matrix2d::Zero();
  Eigen::Matrix<double, panel_parameters, 2> with_others = Eigen::Matrix<double, panel_parameters, 2>::Zero();
};
/// `flat` has the problem's folds; `folded` is the same with one more, a small turn at the place in question.
FoldTerms fold_terms(const BundleProblem& problem, const PanelVector& flat, const PanelVector& folded,
                     const BundleNoise& noise);

/// Improves `start` with tags and phase samples under a Cauchy loss.
BundleResult fit_bundle(const BundleProblem& problem, const PanelVector& start, BundleFreedom freedom,
                        const BundleNoise& noise = {});

/// The same without its uncertainties, for poses on the way, in `most_iterations` steps.
PanelVector settle_bundle(const BundleProblem& problem, const PanelVector& start, BundleFreedom freedom,
                          const BundleNoise& noise = {}, int most_iterations = 25);

/// The best of `flat` and fits that start with one end of the card, or both, above the panel: a curled end
/// looks much like crown, and the corners' robust cost lets go of it. `flat` itself where the corners agree.
PanelVector with_card_ends_free(const BundleProblem& problem, const PanelVector& flat,
                                BundleNoise noise = {});

/// Corners of a card's tag in the card frame (z = 0), order of SeenTag, widened by the ink parameter.
template <class T>
std::array<std::array<T, 2>, 4> tag_corners_mm(const CardTag& tag, double side_mm, double scale,
                                               const T& ink_mm) {
  const T half = 0.5 * side_mm + ink_mm;
  const double sx[4] = {-1, 1, 1, -1}, sy[4] = {1, 1, -1, -1};
  std::array<std::array<T, 2>, 4> corners;
  for (std::size_t k = 0; k < 4; ++k)
    corners[k] = {(tag.x_mm + sx[k] * half) * scale, (tag.y_mm + sy[k] * half) * scale};
  return corners;
}

}  // namespace ripplegauge
