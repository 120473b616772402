// A coarse look at the stripes wherever the photo shows them, without fitting anything: where they are as the
// smooth panel would show them, where something bends or hides them, and where there are none.
#pragma once

#include <opencv2/core/mat.hpp>
#include <optional>
#include <vector>

#include "ripplegauge/core/reading.hpp"
#include "stripes/residual_field.hpp"
#include "stripes/stripe_field.hpp"

namespace ripplegauge {

/// A gap in the striped area: something bends or hides the stripes.
struct Disturbance {
  double x_mm = 0, y_mm = 0,
         size_mm = 0;  ///< centre; diameter of the circle of equal area, blurred by the window
  double width_mm =
      0;  ///< of what bends the stripes: without the half period by which the window reaches over each side
  double ring_striped = 0;  ///< shares of the ring around it: undisturbed stripes,
  double ring_covered =
      0;                 ///< card, board tags or beyond the photo's edge; the rest is the end of the stripes
  double ring_bare = 0;  ///< what ends the stripes: see without_stripes()
  double clipped_share = 0;  ///< of its area, burnt out to white
  double card_gap_mm = 0;    ///< from its centre to the card's paper
  double coherence = 0;      ///< mean inside, over the typical: orange peel leaves 0.5 and more, dents little
  bool hidden = false;       ///< no stripes in it at all; else they are bent
};

struct StripeLook {
  PanelGrid grid;
  double period_mm = 0;
  cv::Mat
      coherence;  ///< CV_32FC1, 0..1: share of the local light's variance that goes with the model's stripes
  cv::Mat striped;               ///< CV_8UC1, 255 where stripes are as modelled
  cv::Mat near_bare;             ///< CV_8UC1: nearer to where stripes end than they can be told by
  double coherence_typical = 0;  ///< where there are stripes: 0.9 when they are clean
  double contrast_typical = 0;   ///< standard deviation of the linear light there
  double striped_mm2 = 0;
  double periods_in_a_row =
      0;  ///< how many times light and dark follow each other without a gap, across the stripes
  double striped_share = 0;  ///< of the card's neighbourhood that the photo shows (50 mm, without the card)
  std::vector<Disturbance> disturbances;  ///< largest first
};

/// Stripes over less than this many square periods are none.
constexpr double fewest_square_periods = 5;
/// A lamp or a window is mirrored as one light bar between two dark sides, a double tube as two; both edges
/// of a bar fit a carrier of twice its width. A board shows more: 29 cm of the coarsest pitch, 25 mm, are
/// eleven periods.
constexpr double fewest_in_a_row = 4;

/// Whether a board's stripes are there, not just something that fits their period.
bool shows_stripes(const StripeLook& look);

StripeLook look_at_stripes(const cv::Mat& grey, const BundleProblem& problem, const StripeField& field,
                           double pixels_per_mm);

/// From a panel point to the card's paper; 0 on it.
double card_gap_mm(const BundleProblem& problem, double x_mm, double y_mm);

/// The panel area in which a dent would have been seen: what lies well inside the stripes, without what is
/// marked in `unexplained` (may be empty).
std::optional<JudgedArea> judged_area(const BundleProblem& problem, const ResidualField& field,
                                      const PanelVector& parameters, cv::Size photo,
                                      const cv::Mat& unexplained = {});

/// A body line as the photo shows it, from one end in view to the other, in pixels.
std::vector<std::pair<double, double>> body_line_outline(const PanelModel<double>& model,
                                                         const BodyLine& line, cv::Size photo);

/// The same area's outlines in the photo, holes included; specks of it are left out.
std::vector<PixelOutline> judged_outlines(const ResidualField& field, const PanelModel<double>& model,
                                          const cv::Mat& unexplained);

/// Of the striped area round the card, gaps in it included, the share in which a dent would not have been
/// seen.
double unjudged_share(const StripeLook& look, const BundleProblem& problem, const ResidualField& field,
                      const cv::Mat& unexplained);

/// Where a panel point lies from the card's middle, as the photo shows it: "right of", "above", "above and
/// left of".
std::string side_of_card(const BundleProblem& problem, const PanelVector& parameters, double x_mm,
                         double y_mm);

}  // namespace ripplegauge
