// The reading: everything one photo says about its panel. It is what measure() returns, what the JSON
// contract holds, and what plan, quote, compare and the pictures start from.
//
// Frames and units: millimetres, degrees, milliradians, in the card frame (origin at the centre of tag 0, x
// along the card's long arm, y along its short arm, z out of the panel towards the camera) unless a name says
// otherwise.
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "ripplegauge/core/quantity.hpp"

namespace ripplegauge {

enum class Kind { low, high };
enum class Status { measured, no_dent, refused };

struct PointMm {
  double x_mm = 0, y_mm = 0;
  bool operator==(const PointMm&) const = default;
};

/// A point of a straight section through a spot: distance from the spot's deepest (highest) point, height.
struct ProfilePoint {
  double along_mm = 0, height_mm = 0;
  bool operator==(const ProfilePoint&) const = default;
};

/// Length over which a spot's bend is averaged: about the smallest tab face. A tighter bend over less is
/// nothing that a tab could reach into, and seldom anything that a stripe resolves.
constexpr double bend_length_mm = 5;

/// A body line that lost its sharpness where a spot lies on it.
struct FlattenedLine {
  Quantity length_mm;  ///< along the line, where it lost at least a tenth of the spot's depth
  Quantity depth_mm;   ///< that it lost at most: low, or high where the panel turns up
  bool operator==(const FlattenedLine&) const = default;
};

/// One low or high spot. The relief h is measured against the panel's own smooth shape (for a spot inside
/// another one: against the smooth shape of the outer one); "10 % region" is the connected region where |h|
/// is at least a tenth of the spot's peak.
struct Dent {
  Kind kind = Kind::low;
  double x_mm = 0, y_mm = 0;         ///< centroid of the 10 % region
  Quantity diameter_mm;              ///< diameter of the circle with the area of the 10 % region
  Quantity length_mm, width_mm;      ///< 4 sqrt of the eigenvalues of that region's second-moment matrix
  Quantity half_diameter_mm;         ///< as diameter, for the 50 % region
  double angle_deg = 0;              ///< direction of the length axis from +x towards +y, in [0, 180)
  std::optional<Quantity> depth_mm;  ///< largest |h|; absent where it cannot be known
  std::optional<Quantity> max_slope_mrad;  ///< largest gradient of h
  std::optional<Quantity> min_radius_mm;   ///< smallest radius of bend of the relief (1 / largest curvature)
  std::optional<Quantity> bend_radius_mm;  ///< smallest radius of bend, averaged over bend_length_mm
  std::optional<Quantity> volume_mm3;      ///< integral of |h| over the 10 % region
  std::optional<double> stretch;           ///< arc length over chord, minus 1, along the worst section
  double agreement = 0;               ///< share of the disturbance that the re-drawn stripes explain, 1 = all
  std::optional<int> inside_of;       ///< index in Reading::dents of the spot that this one lies in
  std::vector<PointMm> outline;       ///< 10 % contour, closed (the first point is not repeated)
  std::optional<PointMm> deepest;     ///< where |h| is largest; absent in older files
  std::vector<ProfilePoint> section;  ///< along the length axis through the deepest point
  std::vector<ProfilePoint> cross_section;      ///< across it, towards angle_deg + 90; empty in older files
  std::optional<FlattenedLine> flattened_line;  ///< where the spot lies on the body line
  /// From the spot's middle to where the panel is seen to end or to be covered: its edge, a gap, trim, handle
  /// or badge. Absent where the photo shows none.
  std::optional<Quantity> panel_end_mm;
  std::string severity;  ///< grade in plain trade words; empty until it is assessed
  std::string severity_reason;
  std::vector<std::string> notes;  ///< what makes this spot's numbers less sure
};

struct Refusal {
  std::string code, message, remedy;
};

struct Warning {
  std::string code, message;
};

/// One term of an uncertainty budget (JCGM 100:2008, 5.1): its standard uncertainty in the result, in per
/// cent.
struct BudgetTerm {
  std::string name, note;
  double diameter_percent = 0, depth_percent = 0;
};

/// The part of the panel in which a dent would have been seen: a mask of square cells. What the card hides,
/// where no stripes are mirrored, and where stripes are that could not be followed or explained is no part of
/// it.
struct JudgedArea {
  double x0_mm = 0, y0_mm = 0, x1_mm = 0, y1_mm = 0;  ///< the rectangle round all judged cells
  double area_mm2 = 0;                                ///< of the judged cells
  double cell_mm = 0;               ///< side of a cell; 0 where the mask is not known (older files)
  std::vector<std::string> rows{};  ///< '#' judged, '.' not; row 0 starts at (x0_mm, y0_mm) and runs along +x
  /// Of the panel round the card in which dents are looked for, without what the card covers: the share that
  /// was judged.
  double share = 1;
  bool operator==(const JudgedArea&) const = default;

  /// Whether the cell at a place was judged; false outside, and everywhere where the mask is not known.
  bool covers(double x_mm, double y_mm) const;
  /// The share of a disc's cells that were judged, 0 to 1.
  double covered_share(double x_mm, double y_mm, double diameter_mm) const;
};

/// The shallowest round dent of one width that would have been found.
struct VisibleDent {
  double width_mm = 0, depth_mm = 0;
  bool operator==(const VisibleDent&) const = default;
};

/// A body line: a straight fold of the panel.
struct BodyLine {
  double x_mm = 0, y_mm = 0;  ///< its point nearest to the middle of what the card surrounds
  double angle_deg = 0;       ///< its direction from the card's x axis, -90 to 90
  Quantity
      turn_deg;  ///< by which the panel turns away beyond it, as seen from the card; negative = towards us
  Quantity width_mm;  ///< within which it does nine tenths of that
  bool operator==(const BodyLine&) const = default;
};

/// What the photo and the user's words say of camera, panel and board.
struct Setup {
  double board_pitch_mm = 0;
  std::optional<double> board_distance_given_mm;
  double bar_length_mm = 100;
  std::string card_name;
  int tags_found = 0;
  double pixels_per_mm = 0;                                     ///< at the card's middle
  std::optional<Quantity> focal_px;                             ///< at full size of the upright photo
  std::optional<Quantity> camera_distance_mm, camera_tilt_deg;  ///< to the card; from the panel's normal
  std::optional<Quantity> board_distance_mm, board_tilt_deg;
  std::optional<Quantity> crown_x_per_m, crown_y_per_m;  ///< panel curvature, 1/m, positive = convex
  std::optional<double> stripe_period_mm;                ///< on the panel
  /// A spot whose steepest slope is below this would not have been found among the paint's own waviness. Told
  /// for a spot 10 mm wide; a larger one shows no later, a smaller one needs more in proportion.
  std::optional<double> visible_slope_mrad;
  std::optional<JudgedArea> judged;           ///< absent when the stripes were not followed
  std::vector<VisibleDent> smallest_visible;  ///< for widths of 5, 10 and 20 mm; empty where it is not known
  /// Dents are measured against the panel folded so; of two lines the one nearer to the card comes first.
  std::optional<BodyLine> body_line{}, second_body_line{};

  /// Those that there are.
  std::vector<BodyLine> body_lines() const;
};

struct PhotoInfo {
  std::string name;                 ///< as the user gave it
  std::string date_taken;           ///< EXIF, "YYYY-MM-DD HH:MM:SS", empty when unknown
  std::string sha256;               ///< of the file's bytes, lower-case hex; empty until somebody needs it
  int width_px = 0, height_px = 0;  ///< upright
};

/// A closed line in pixels of the upright photo (the first point is not repeated).
struct PixelOutline {
  std::vector<std::pair<double, double>> points_px;
  bool operator==(const PixelOutline&) const = default;
};

/// A photo of several that were read as one.
struct PhotoOfSet {
  PhotoInfo photo;
  std::string left_out;  ///< why; empty for a photo that the reading stands on
};

struct Reading {
  PhotoInfo photo;  ///< of a set: the first one that the reading stands on
  Status status = Status::refused;
  std::optional<Refusal> refusal;
  std::vector<Dent> dents;
  std::vector<Warning> warnings;
  Setup setup;
  std::vector<std::vector<BudgetTerm>> budgets;  ///< one list a dent, in the order of dents
  /// Outlines in pixels of the upright photo, in the order of dents: a picture can be drawn from a reading
  /// alone.
  std::vector<std::vector<std::pair<double, double>>> outlines_px;
  std::vector<std::pair<double, double>> body_line_px,
      second_body_line_px;              ///< along a body line, from one end in view to the other
  std::vector<PixelOutline> judged_px;  ///< round the area that was judged, and round holes in it
  std::vector<PhotoOfSet> set;  ///< all photos that were read as one; empty for a reading of a single photo
};

const char* to_string(Kind kind);
const char* to_string(Status status);

}  // namespace ripplegauge
