// How far the board stands is in the photo: a stripe's pitch on the panel is the board's over 1 + d / c, with
// c the camera's distance, which the card tells; how it changes over the panel tells the board's turn. A tape
// adds to that where it agrees. People hold it to the wrong stripe, write centimetres for millimetres and
// swap digits, so it is heard like a witness: by how well it agrees with the rest.
#include "tape_witness.hpp"

#include <algorithm>
#include <cmath>

#include "format.hpp"
#include "ripplegauge/core/findings.hpp"

namespace ripplegauge {
namespace {

/// The slip that would explain the difference, if one does.
std::string likely_slip(double taped_mm, double photo_mm, double uncertainty_mm) {
  for (const auto& [factor, words] :
       {std::pair{10.0, "Was it written in centimetres"}, std::pair{25.4, "Was it written in inches"},
        std::pair{0.1, "Was a digit too many written"}})
    if (std::abs(factor * taped_mm - photo_mm) < tape_contradicted * uncertainty_mm)
      return format(" %s (%.0f mm)?", words, factor * taped_mm);
  return "";
}

Warning set_aside(const BundleProblem& problem, const Tape& tape, double photo_mm,
                  double photo_uncertainty_mm, double camera_mm) {
  // The stripes' period on the panel fixes pitch / (1 + d / c).
  const double pitch_mm = problem.constants.pitch_mm;
  const double other_pitch_mm = pitch_mm * (1 + tape.distance_mm / camera_mm) / (1 + photo_mm / camera_mm);
  const double both_mm = std::hypot(tape.uncertainty_mm, photo_uncertainty_mm);
  return {
      code_of(PhotoFinding::board_distance_doubtful),
      format("The tape's %.0f mm is set aside: card and stripes put the board %.0f mm from the dent (%.0f "
             "to %.0f).%s If the tape is right, the board's pitch is about %.1f mm, not %g mm, and the "
             "depths are wrong.",
             tape.distance_mm, photo_mm, photo_mm - 2 * photo_uncertainty_mm,
             photo_mm + 2 * photo_uncertainty_mm, likely_slip(tape.distance_mm, photo_mm, both_mm).c_str(),
             other_pitch_mm, pitch_mm)};
}

}  // namespace

double witness_uncertainty_mm(const Tape& tape, double photo_mm) {
  return std::hypot(tape.uncertainty_mm, tape.distance_mm - photo_mm);
}

BundleResult fit_with_tape(BundleProblem& problem, const PanelVector& start, const BundleNoise& noise,
                           const std::optional<Tape>& tape, double card_scale_uncertainty,
                           std::vector<Warning>& warnings) {
  const BundleResult open = fit_bundle(problem, start, BundleFreedom::everything, noise);
  if (!tape) return open;
  const double photo_mm = problem.constants.nominal_distance_mm + open.parameters[p_board_distance];
  const Vector3<double> camera = PanelModel<double>(problem.constants, open.parameters).camera_centre();
  const double camera_mm = std::hypot(camera.x - problem.constants.anchor_x_mm,
                                      camera.y - problem.constants.anchor_y_mm, camera.z);
  // A card told 1 % too large puts the board c / d % too near: see read_spots().
  const double photo_uncertainty_mm =
      std::hypot(open.standard_uncertainty(p_board_distance), camera_mm * card_scale_uncertainty);
  const double off_mm = tape->distance_mm - photo_mm;
  if (std::abs(off_mm) > tape_contradicted * std::hypot(photo_uncertainty_mm, tape->uncertainty_mm)) {
    warnings.push_back(set_aside(problem, *tape, photo_mm, photo_uncertainty_mm, camera_mm));
    return open;
  }
  PanelVector parameters = open.parameters;
  problem.constants.nominal_distance_mm = tape->distance_mm;
  parameters[p_board_distance] = -off_mm;
  problem.priors.board_distance_mm = witness_uncertainty_mm(*tape, photo_mm);
  return fit_bundle(problem, parameters, BundleFreedom::everything, noise);
}

}  // namespace ripplegauge
