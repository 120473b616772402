// One photo to one reading for every front end: what cannot be read becomes a refusal, so that a folder goes
// on.
#include "photo_reading.hpp"

#include <algorithm>
#include <cmath>
#include <exception>
#include <filesystem>
#include <functional>
#include <optional>
#include <utility>

#include "app/memory.hpp"
#include "json/read_bytes.hpp"
#include "photo/file_hash.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/core/findings.hpp"
#include "ripplegauge/measure/together.hpp"
#include "ripplegauge/photo/photo.hpp"
#include "words/text.hpp"

namespace ripplegauge {
namespace {

namespace fs = std::filesystem;

/// "FILE: what is wrong; what to do" as a refusal.
Refusal refusal_from(const FileError& error) {
  std::string text = std::string(error.what()).substr(error.file().size() + 2);
  const std::size_t cut = text.rfind("; ");
  Refusal refusal{code_of(PhotoFinding::file_unreadable), "The file " + text.substr(0, cut) + ".",
                  "Copy it from the phone again."};
  if (cut != std::string::npos) {
    refusal.remedy = text.substr(cut + 2) + ".";
    if (refusal.remedy[0] >= 'a' && refusal.remedy[0] <= 'z')
      refusal.remedy[0] = static_cast<char>(refusal.remedy[0] - 'a' + 'A');
  }
  return refusal;
}

/// Runs it; what went wrong, if anything did.
std::optional<Refusal> refusal_of(const std::function<void()>& work) {
  try {
    work();
    return std::nullopt;
  } catch (const UsageError&) {
    throw;
  } catch (const FileError& error) {
    return refusal_from(error);
  } catch (const std::exception& error) {
    if (is_out_of_memory(error))
      return Refusal{code_of(PhotoFinding::out_of_memory), "The photo needs more memory than there is.",
                     "Measure fewer photos at once, or set the phone to a smaller size."};
    return Refusal{code_of(PhotoFinding::unexpected),
                   std::string("The program failed on this photo: ") + error.what() + ".",
                   "Photograph again; if it fails again, keep the photo for whoever mends the program."};
  }
}

Photo decoded(const FolderPhoto& photo, std::string& sha256) {
  constexpr std::size_t most_bytes = 400'000'000;  // PhotoLimits::max_megabytes
  const std::string bytes = read_bytes(photo.file, most_bytes);
  sha256 = sha256_of_bytes(bytes);  // of what is measured, even if the file is changed meanwhile
  return decode_photo(bytes, photo.file.string());
}

PhotoReading alone(const FolderPhoto& photo, Reading reading) {
  PhotoReading one{std::move(reading), {&photo}, {}};
  one.views = {one.reading};
  return one;
}

/// `refused` names no photo yet.
PhotoReading refused(const FolderPhoto& photo, const std::string& sha256, const Refusal& refusal) {
  Reading reading;
  reading.status = Status::refused;
  reading.refusal = refusal;
  reading.photo.name = photo.file.string();
  reading.photo.sha256 = sha256;
  return alone(photo, std::move(reading));
}

PhotoReading read_alone(const FolderPhoto& photo, const MeasureRequest& request) {
  Reading reading;
  std::string sha256;
  const auto trouble = refusal_of([&] { reading = measure(decoded(photo, sha256), request).reading; });
  if (trouble) return refused(photo, sha256, *trouble);
  reading.photo.name = photo.file.string();
  reading.photo.sha256 = sha256;
  return alone(photo, std::move(reading));
}

/// The photos of a set that could be decoded.
struct DecodedSet {
  std::vector<const FolderPhoto*> photos;
  std::vector<std::string> sha256;
  std::vector<PhotoOfPlace> places;
};

/// Each photo of the set as it is drawn: its own picture and set-up with what all tell together.
std::vector<Reading> views_of(const TogetherMeasurement& together) {
  std::vector<Reading> views;
  for (std::size_t i = 0; i < together.singles.size(); ++i) {
    const Reading& single = together.singles[i];
    Reading view = together.joint.reading;
    if (!view.set[i].left_out.empty()) {
      views.push_back(single);
      continue;
    }
    view.photo = single.photo;
    view.setup = single.setup;
    view.outlines_px = together.outlines_px[i];
    view.body_line_px = single.body_line_px;
    view.second_body_line_px = single.second_body_line_px;
    view.judged_px = single.judged_px;
    views.push_back(std::move(view));
  }
  return views;
}

bool all_refused(const std::vector<Reading>& readings) {
  for (const Reading& reading : readings)
    if (reading.status != Status::refused) return false;
  return true;
}

void name_photos(const DecodedSet& decoded, TogetherMeasurement& together) {
  Reading& joint = together.joint.reading;
  for (std::size_t i = 0; i < decoded.photos.size(); ++i) {
    for (PhotoInfo* info : {&together.singles[i].photo, &joint.set[i].photo})
      info->sha256 = decoded.sha256[i];
    if (joint.photo.name == joint.set[i].photo.name) joint.photo.sha256 = decoded.sha256[i];
  }
}

bool same_spot(const Dent& a, const Dent& b) {
  constexpr double alike = 0.5;  // of the larger width, and the logarithm of their ratio
  const double wide = a.diameter_mm.value, other = b.diameter_mm.value;
  return std::hypot(a.x_mm - b.x_mm, a.y_mm - b.y_mm) < alike * std::max(wide, other) &&
         std::abs(std::log(wide / other)) < alike;
}

bool has(const std::vector<Dent>& dents, const Dent& wanted) {
  return std::any_of(dents.begin(), dents.end(), [&](const Dent& one) { return same_spot(one, wanted); });
}

/// Two places that a card was moved between may each lack a spot where the other has one, and a joint reading
/// can believe in both. So each photo must show by itself every spot whose place it judged, and no other.
/// Returns what is against it, or nothing.
std::string disagreement(const TogetherMeasurement& together) {
  const Reading& joint = together.joint.reading;
  for (std::size_t i = 0; i < together.singles.size(); ++i) {
    const Reading& single = together.singles[i];
    if (!joint.set[i].left_out.empty()) continue;
    const auto judged = [&](const Dent& dent) {
      constexpr double mostly = 0.5;
      return single.setup.judged &&
             single.setup.judged->covered_share(dent.x_mm, dent.y_mm, dent.diameter_mm.value) > mostly;
    };
    for (const auto& [spots, others] :
         {std::pair(&joint.dents, &single.dents), {&single.dents, &joint.dents}})
      for (const Dent& dent : *spots)
        if (judged(dent) && !has(*others, dent))
          return fs::path(single.photo.name).filename().string() + " shows the spot at x " +
                 std::to_string(std::lround(dent.x_mm)) + ", y " + std::to_string(std::lround(dent.y_mm)) +
                 " mm otherwise than the others.";
  }
  return "";
}

/// What only the clock takes for a set is none where its photos do not agree: none of them is lost.
void part_by_time(const DecodedSet& decoded, TogetherMeasurement& together, ReadSet& result) {
  Reading& joint = together.joint.reading;
  const std::string against =
      joint.status == Status::refused ? joint.refusal->message : disagreement(together);
  if (!against.empty()) {
    result.remark = "were not read as one: " + printable(against) +
                    " Each counts by itself. If they show one place, put them into a folder of their own.";
    for (std::size_t i = 0; i < decoded.photos.size(); ++i)
      result.readings.push_back(alone(*decoded.photos[i], std::move(together.singles[i])));
    return;
  }
  PhotoReading kept{joint, {}, {}};
  kept.reading.set.clear();
  std::vector<Reading> views = views_of(together);
  for (std::size_t i = 0; i < decoded.photos.size(); ++i) {
    if (joint.set[i].left_out.empty()) {
      kept.reading.set.push_back(joint.set[i]);
      kept.photos.push_back(decoded.photos[i]);
      kept.views.push_back(std::move(views[i]));
      continue;
    }
    std::erase_if(kept.reading.warnings,
                  [](const Warning& w) { return is(w, PhotoFinding::photo_left_out); });
    result.remark = "were not all read as one: " + printable(decoded.photos[i]->name) +
                    " counts by itself. " + joint.set[i].left_out;
    result.readings.push_back(alone(*decoded.photos[i], std::move(together.singles[i])));
  }
  if (kept.photos.size() == 1) kept.reading.set.clear();
  result.readings.insert(result.readings.begin(), std::move(kept));
}

void read_together(const FolderSet& set, const DecodedSet& decoded, ReadSet& result) {
  TogetherMeasurement together;
  const auto trouble = refusal_of([&] { together = measure_together(decoded.places); });
  if (trouble) {
    for (std::size_t i = 0; i < decoded.photos.size(); ++i)
      result.readings.push_back(refused(*decoded.photos[i], decoded.sha256[i], *trouble));
    return;
  }
  name_photos(decoded, together);
  if (set.by_time) return part_by_time(decoded, together, result);
  if (all_refused(together.singles)) {  // each says itself what is wrong with it
    for (std::size_t i = 0; i < decoded.photos.size(); ++i)
      result.readings.push_back(alone(*decoded.photos[i], std::move(together.singles[i])));
    return;
  }
  std::vector<Reading> views = views_of(together);
  result.readings.push_back({std::move(together.joint.reading), decoded.photos, std::move(views)});
}

}  // namespace

ReadSet read_set(const FolderSet& set, const std::vector<const MeasureRequest*>& requests) {
  ReadSet result;
  if (set.photos.size() == 1) {
    result.readings.push_back(read_alone(*set.photos.front(), *requests.front()));
    return result;
  }
  DecodedSet whole;
  for (std::size_t i = 0; i < set.photos.size(); ++i) {
    PhotoOfPlace place{{}, *requests[i]};
    std::string sha256;
    const auto trouble = refusal_of([&] { place.photo = decoded(*set.photos[i], sha256); });
    if (trouble) {
      result.readings.push_back(refused(*set.photos[i], sha256, *trouble));
      continue;
    }
    whole.photos.push_back(set.photos[i]);
    whole.sha256.push_back(sha256);
    whole.places.push_back(std::move(place));
  }
  if (whole.photos.size() >= fewest_together)
    read_together(set, whole, result);
  else if (!whole.photos.empty())
    result.readings.push_back(read_alone(*whole.photos.front(), whole.places.front().request));
  return result;
}

}  // namespace ripplegauge
