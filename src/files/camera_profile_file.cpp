// Camera profiles as JSON, schema 1: a lens with the uncertainty of each parameter, and the photos that it
// holds for.
#include "files/camera_profile_file.hpp"

#include "json/field_rules.hpp"
#include "json/json_write.hpp"
#include "ripplegauge/json/json_reader.hpp"

namespace ripplegauge {
namespace {

constexpr double largest_side_px = 100000;
const NumberRule side_rule = between(1, largest_side_px), rms_rule = between(0, largest_side_px);

struct Estimate {
  double value = 0, standard_uncertainty = 0;
};

Estimate estimate_from(ObjectReader& object, std::string_view key, const NumberRule& rule) {
  ObjectReader pair = object.required_object(key);
  // Zero would say that it is known for certain, and divide by zero where it is weighed.
  const Estimate estimate{pair.required<double>("value", rule),
                          pair.required<double>("standard_uncertainty", above(0))};
  pair.finish();
  return estimate;
}

OrderedJson estimate_json(double value, double standard_uncertainty) {
  return {{"value", json_number(value)}, {"standard_uncertainty", json_number(standard_uncertainty)}};
}

CameraProfile profile_from(ObjectReader object) {
  object.require_schema(1);
  CameraProfile profile;
  profile.date = object.required<std::string>("date", label_rule);
  profile.program_version = object.required<std::string>("program_version", label_rule);
  profile.opencv_version = object.required<std::string>("opencv_version", label_rule);
  profile.target = object.required<std::string>("target", label_rule);
  profile.width_px = object.required<int>("width_px", side_rule);
  profile.height_px = object.required<int>("height_px", side_rule);
  profile.focal_35mm_mm =
      object.optional<double>("focal_35mm_mm", {.low = 0, .high = 10000, .low_allowed = false});
  const Estimate focal = estimate_from(object, "focal_px", between(1, 100 * largest_side_px));
  // A principal point outside of the picture, or a lens that bends rays by their own size, is a slip of the
  // pen.
  const Estimate u = estimate_from(object, "centre_u_px", between(0, profile.width_px - 1.0));
  const Estimate v = estimate_from(object, "centre_v_px", between(0, profile.height_px - 1.0));
  const Estimate k1 = estimate_from(object, "k1", between(-2, 2)),
                 k2 = estimate_from(object, "k2", between(-2, 2));
  profile.lens = {focal.value, u.value, v.value, k1.value, k2.value};
  profile.uncertainty = {focal.standard_uncertainty / focal.value, u.standard_uncertainty,
                         v.standard_uncertainty, k1.standard_uncertainty, k2.standard_uncertainty};
  profile.rms_px = object.required<double>("rms_px", rms_rule);
  profile.held_out_rms_px = object.required<double>("held_out_rms_px", rms_rule);
  for (ObjectReader& photo : object.required_objects("photos", {.min = 1, .max = 1000})) {
    profile.photos.push_back({photo.required<std::string>("name", {.min_bytes = 1, .max_bytes = 4096}),
                              photo.required<std::string>("sha256", {.min_bytes = 64, .max_bytes = 64}),
                              photo.required<double>("tilt_deg", between(0, 90)),
                              photo.required<double>("rms_px", rms_rule),
                              photo.required<double>("held_out_rms_px", rms_rule)});
    photo.finish();
  }
  object.finish();
  return profile;
}

}  // namespace

CameraProfile read_camera_profile(const std::filesystem::path& file) {
  return profile_from(JsonFile::read(file).object());
}

CameraProfile camera_profile_from_json(std::string_view text, const std::string& name) {
  return profile_from(JsonFile::parse(text, name).object());
}

std::string camera_profile_to_json(const CameraProfile& profile) {
  const Lens& lens = profile.lens;
  const LensUncertainty& u = profile.uncertainty;
  OrderedJson json{{"schema", 1},
                   {"date", profile.date},
                   {"program_version", profile.program_version},
                   {"opencv_version", profile.opencv_version},
                   {"target", profile.target},
                   {"width_px", profile.width_px},
                   {"height_px", profile.height_px},
                   {"focal_35mm_mm", json_number(profile.focal_35mm_mm)},
                   {"focal_px", estimate_json(lens.focal_px, lens.focal_px * u.log_focal)},
                   {"centre_u_px", estimate_json(lens.centre_u_px, u.centre_u_px)},
                   {"centre_v_px", estimate_json(lens.centre_v_px, u.centre_v_px)},
                   {"k1", estimate_json(lens.k1, u.k1)},
                   {"k2", estimate_json(lens.k2, u.k2)},
                   {"rms_px", json_number(profile.rms_px)},
                   {"held_out_rms_px", json_number(profile.held_out_rms_px)},
                   {"photos", OrderedJson::array()}};
  for (const ProfilePhoto& photo : profile.photos)
    json["photos"].push_back({{"name", photo.name},
                              {"sha256", photo.sha256},
                              {"tilt_deg", json_number(photo.tilt_deg)},
                              {"rms_px", json_number(photo.rms_px)},
                              {"held_out_rms_px", json_number(photo.held_out_rms_px)}});
  return json_text(json);
}

}  // namespace ripplegauge
