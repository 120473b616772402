// A small renderer for tests: the photo that a phone would take of a corner card and of a striped board
// mirrored in a crowned panel with dents. Ray by ray and on its own: it shares no geometry with the library,
// only the tags' cells.
//
// Frames as everywhere: card frame, mm, z out of the panel; pixel centres at whole numbers.
#pragma once

#include <Eigen/Core>
#include <memory>
#include <numbers>
#include <opencv2/core.hpp>
#include <optional>
#include <vector>

#include "ripplegauge/measure/measure.hpp"

namespace ripplegauge::rendered {

/// Heights of dents, all 1 in the middle and a tenth on the ellipse of length and width.
enum class Form {
  power,    ///< exp(-ln 10 rho^power): a Gaussian at 2, flat-bottomed above
  bell,     ///< cosine bell: outside the family of shapes that the library fits
  slanted,  ///< a Gaussian, steep on one side along its length, shallow on the other: outside too
};

struct Dent {
  Form form = Form::power;
  double x_mm = 0, y_mm = 0;
  double length_mm = 20, width_mm = 20,
         angle_deg = 0;     ///< axes of the 10 % contour (of a slanted one: nearly)
  double height_mm = -0.1;  ///< negative is low
  double power = 2, lean = 0;

  double height(double x_mm, double y_mm) const;
  /// Beyond this distance from the middle the dent is flatter than any noise.
  double reach_mm() const;
  /// Diameter of the circle with the area in which |height| is at least a tenth of its largest.
  double diameter_mm() const;
  /// Largest slope, not in mrad.
  double steepest() const;
};

/// Orange peel: a random slope, the same at the same place, with the stated rms of each of its two
/// components.
class OrangePeel {
 public:
  OrangePeel(unsigned seed, double slope_rms, double wavelength_mm);
  Eigen::Vector2d slope(double x_mm, double y_mm) const;

 private:
  cv::Mat slope_;  ///< CV_32FC2
};

struct Camera {
  int width_px = 1600, height_px = 1200;
  double focal_px = 2400;
  double centre_off_u_px = 0, centre_off_v_px = 0;  ///< principal point minus the photo's middle
  double k1 = 0, k2 = 0;
  Eigen::Vector3d centre_mm{45, 35, 350};
  Eigen::Matrix3d camera_from_card = Eigen::Matrix3d::Identity();
};

/// A camera that looks at (x, y) of the panel from this distance, so many degrees off the normal. Azimuth:
/// direction from the target to the camera in the card's plane, from +x towards +y.
void look_at(Camera& camera, double x_mm, double y_mm, double distance_mm, double tilt_deg,
             double azimuth_deg, double roll_deg);

struct Board {
  Eigen::Vector3d middle_mm, across, along, normal;
  double pitch_mm = 12, phase_cycles = 0, duty = 0.5,
         edge_mm = 0.6;  ///< edge: width of the blurred step of light
  double half_across_mm = 500, half_along_mm = 500;
  /// How far its edge stands nearer than its middle, in the direction `bow_deg` from across towards along.
  double bow_mm = 0, bow_deg = 0;
};

/// Radiances as the photo shows them, 1 is a fully exposed pixel.
struct Light {
  double paper = 0.75, ink = 0.06;
  double base = 0.12;             ///< of the paint itself
  double stripes = 0.5;           ///< bright stripe minus dark stripe
  double room = 0.03;             ///< mirrored beside the board
  double fall_x = 0, fall_y = 0;  ///< relative change of the board's light over 100 mm of panel
};

/// A fold along a straight line: beyond it, the panel's slope is less by `turn`, rounded off as the error
/// function.
struct BodyLine {
  double place_mm = 0,
         normal_deg = 0;  ///< distance from the origin along the normal, which points beyond the line
  double turn = 0, width_mm = 2;
  /// Where the fold was hit and lost its sharpness: middle (along the line, from the foot of its normal),
  /// length of the stretch where the lost height is at least a tenth, and the rounding's width in its middle.
  double flat_along_mm = 0, flat_length_mm = 0, flat_width_mm = 0;

  /// How much lower the crest is in the middle of the flattened stretch than the line would have it.
  double lost_height_mm() const;
};

/// Something that covers the panel or stands in its place: a gap, trim, badge, handle, the next panel. A
/// rectangle with round corners.
struct Cover {
  double x_mm = 0, y_mm = 0, angle_deg = 0;  ///< middle, direction of the length
  double half_length_mm = 10, half_width_mm = 10, corner_mm = 0;
  bool mirrors = false;  ///< or is matt, as light as this:
  double radiance = 0.02;
  Eigen::Vector2d tilt{0, 0};  ///< of what mirrors, beyond the panel's own slope
  double bulge_per_mm = 0;     ///< slope that it gains for each mm off its middle

  bool holds(double x_mm, double y_mm) const;
};

/// The end of an arm of the card that does not lie on the panel: it bends up as a parabola.
struct LiftedTip {
  bool along_x = true;
  double from_mm = 40, tip_mm = 0;  ///< where it leaves the panel; how high its end stands
};

struct Scene {
  Camera camera;
  double crown_x = 0, crown_y = 0, crown_xy = 0;  ///< 1/mm, convex positive
  /// Its change over the picture, 1/mm^2: z = -(xxx x^3 + 3 xxy x^2 y + 3 xyy x y^2 + yyy y^3) / 6.
  double crown_xxx = 0, crown_xxy = 0, crown_xyy = 0, crown_yyy = 0;
  std::vector<BodyLine> lines;
  std::vector<Cover> covers;
  std::vector<Dent> dents;
  std::shared_ptr<const OrangePeel> peel;
  CardDefinition card;
  double card_scale = 1;  ///< of the print
  LiftedTip lifted;
  Board board;
  Light light;
  double blur_px = 0.8;
};

/// Places the board so that the smooth panel at (x, y) mirrors its middle, this far along the reflected ray.
/// Tilts in degrees from square to that ray; spin turns the stripes.
void place_board(Scene& scene, double x_mm, double y_mm, double distance_mm, double spin_deg,
                 double tilt_u_deg = 0, double tilt_v_deg = 0);

/// Where on the board the smooth panel at (x, y) looks: across and along the stripes, from the board's
/// middle.
Eigen::Vector2d on_board(const Scene& scene, double x_mm, double y_mm);

/// By how many stripes the picture moves at (x, y) for each unit of slope, in the direction in which it moves
/// most.
double cycles_per_slope(const Scene& scene, double x_mm, double y_mm);

/// Where a point of the panel lies in the photo.
cv::Point2d pixel_of(const Scene& scene, double x_mm, double y_mm);

/// Linear light, CV_32FC1, of the whole photo or of a part of it, without noise.
cv::Mat render(const Scene& scene, std::optional<cv::Rect> part = std::nullopt);

/// What a phone does to code values, in this order: an S-shaped curve of contrast (0: none, 1: a full cosine)
/// and an unsharp mask.
struct Processing {
  double contrast = 0;
  double sharpen = 0, sharpen_radius_px = 1;
};

/// Linear light with Gaussian noise of this standard deviation as the 8-bit sRGB code values of a photo.
cv::Mat develop(const cv::Mat& light, double noise, unsigned seed, const Processing& processing = {});

/// What a phone would write: focal length for 35 mm film from pixels, not rounded.
double focal_35mm_of(const Camera& camera);

/// A plain good photo of one dent: 28 degrees off the normal, seven pixels a millimetre, a slightly crowned
/// panel, stripes of 12 mm at this distance; and what is to be said of it, without any error.
inline constexpr double usual_distance_mm = 280;
Scene usual_scene(const Dent& dent);
MeasureRequest usual_request(const Scene& scene);
Photo usual_photo(const Scene& scene, const cv::Mat& light, double noise, unsigned seed);

/// Whether an interval holds the truth.
inline bool holds(const Quantity& q, double truth) { return q.low <= truth && truth <= q.high; }

}  // namespace ripplegauge::rendered
