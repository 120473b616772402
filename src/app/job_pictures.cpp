// Pictures beside the job file, and what is kept to draw them again.
#include "app/job_pictures.hpp"

#include <algorithm>
#include <set>
#include <utility>

#include "app/job_parts.hpp"
#include "files/atomic_write.hpp"
#include "json/json_write.hpp"
#include "photo/file_hash.hpp"
#include "picture/annotate.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/json/json_reader.hpp"
#include "ripplegauge/json/reading_file.hpp"
#include "ripplegauge/photo/photo.hpp"

namespace ripplegauge {

namespace fs = std::filesystem;

namespace {

constexpr int longer_side_px = 1600, jpeg_quality = 80;  // sharp on a phone and on half a page of paper
constexpr int undrawn_quality = 92;                      // it is compressed once more when it is drawn on

/// Beside a picture: the photo as it was before anything was drawn on it, and what was drawn.
fs::path undrawn_of(const fs::path& picture) {
  return picture.parent_path() / (picture.stem().string() + "-undrawn.jpg");
}
fs::path drawn_reading_of(const fs::path& picture) { return fs::path(picture).replace_extension(".json"); }

void keep_to_draw_again(const AnnotateInput& input, const fs::path& picture) {
  const OrderedJson kept{{"schema", 1},
                         {"language", input.words.language()},
                         {"locale", input.words.locale()},
                         {"inches", input.words.units().inches},
                         {"reading", OrderedJson::parse(reading_to_json(input.reading))}};
  write_atomically(undrawn_of(picture), encode_jpeg(input.photo_bgr, undrawn_quality), Links::replaced);
  write_atomically(drawn_reading_of(picture), json_text(kept), Links::replaced);
}

void write_drawn(const AnnotateInput& input, const fs::path& picture) {
  write_atomically(picture, encode_jpeg(annotated_picture(input).bgr, jpeg_quality), Links::replaced);
}

AnnotateInput kept_for(const fs::path& picture) {
  const JsonFile file = JsonFile::read(drawn_reading_of(picture), {.max_bytes = 64u << 20});
  ObjectReader kept = file.object();
  kept.require_schema(1);
  kept.optional<std::string>("program");
  const auto language = kept.required<std::string>("language"), locale = kept.required<std::string>("locale");
  const ShownUnits units{.inches = kept.optional<bool>("inches").value_or(false)};
  ObjectReader reading = kept.required_object("reading");
  AnnotateInput input{read_photo_colour(undrawn_of(picture), longer_side_px),
                      reading_from_object(reading),
                      {},
                      wording_for(language, locale).in(units)};
  kept.finish();
  return input;
}

/// The other spots keep their numbers, which quotes name.
void leave_out(const std::vector<int>& numbers, AnnotateInput& input) {
  const auto dents = std::exchange(input.reading.dents, {});
  const auto outlines_px = std::exchange(input.reading.outlines_px, {});
  for (std::size_t i = 0; i < dents.size(); ++i) {
    const int number = static_cast<int>(i) + 1;
    if (std::find(numbers.begin(), numbers.end(), number) != numbers.end()) continue;
    input.reading.dents.push_back(dents[i]);
    if (i < outlines_px.size()) input.reading.outlines_px.push_back(outlines_px[i]);
    input.numbers.push_back(number);
  }
}

int bearer_of(const JobPhoto& photo) { return photo.together_with.value_or(photo.id); }

std::vector<int> voided_numbers(const Job& job, int bearer) {
  std::vector<int> numbers;
  for (const JobSpot& spot : job.spots)
    if (spot.photo == bearer && spot.voided && spot.number_in_photo) numbers.push_back(*spot.number_in_photo);
  return numbers;
}

/// Of the photos that bear one of the spots, each once.
std::set<std::string> pictures_with(const Job& job, const std::vector<int>& spots) {
  std::set<std::string> pictures;
  for (const JobSpot& spot : job.spots)
    if (std::find(spots.begin(), spots.end(), spot.id) != spots.end())
      for (const JobPhoto& photo : job.photos)
        if (spot.photo == bearer_of(photo) && !photo.picture.empty()) pictures.insert(photo.picture);
  return pictures;
}

/// Of a photo that was added again the picture shows what it gave last.
int last_bearer_of(const Job& job, const std::string& picture) {
  int bearer = 0;
  for (const JobPhoto& photo : job.photos)
    if (photo.picture == picture) bearer = bearer_of(photo);
  return bearer;
}

bool is_own_file(const fs::path& file) {
  std::error_code ignored;
  return fs::symlink_status(file, ignored).type() == fs::file_type::regular;
}

/// Why it cannot be drawn again; empty when it could.
std::string redraw(const Job& job, const std::string& name, const fs::path& job_file) {
  const fs::path folder = picture_folder_of(job_file), picture = folder / fs::path(name).filename();
  std::error_code ignored;
  if (fs::path(name) != folder.filename() / picture.filename() || fs::is_symlink(folder, ignored))
    return "it is none that was drawn for this job, and is left alone";
  if (!is_own_file(undrawn_of(picture)) || !is_own_file(drawn_reading_of(picture)))
    return "nothing was kept beside it to draw it again";
  try {
    AnnotateInput input = kept_for(picture);
    leave_out(voided_numbers(job, last_bearer_of(job, name)), input);
    write_drawn(input, picture);
  } catch (const std::exception& error) {
    return error.what();
  }
  return "";
}

}  // namespace

fs::path picture_of_job(const std::string& picture, const fs::path& job_file) {
  std::error_code error;
  const fs::path file = job_file.parent_path() / picture,
                 folder = fs::weakly_canonical(fs::absolute(job_file).parent_path(), error),
                 real = fs::weakly_canonical(fs::absolute(file), error);
  const bool is_inside =
      std::mismatch(folder.begin(), folder.end(), real.begin(), real.end()).first == folder.end();
  if (error || !is_inside)
    throw FileError(
        file.string(),
        "lies outside the job's folder, and a job shows pictures of its own folder alone; copy it there");
  return file;
}

fs::path picture_folder_of(const fs::path& job_file) {
  return job_file.parent_path() / (job_file.stem().string() + "-pictures");
}

std::string draw_for_job(const Reading& reading, const fs::path& photo, const fs::path& job_file,
                         const Wording& words) {
  const AnnotateInput input{read_photo_colour(photo, longer_side_px), reading, {}, words};
  const fs::path folder = picture_folder_of(job_file);
  std::error_code error;
  if (fs::is_symlink(folder, error))
    throw FileError(folder.string(), "is a link; remove it, so that a folder can be made there");
  fs::create_directories(folder, error);
  if (error) throw FileError(folder.string(), "cannot be made: " + error.message());
  // Photos of different folders often have the same name: the hash keeps their pictures apart.
  const std::string hash = reading.photo.sha256.empty() ? sha256_of_file(photo) : reading.photo.sha256;
  const fs::path picture = folder / (photo.stem().string() + "-" + hash.substr(0, 8) + ".jpg");
  if (!reading.dents.empty()) keep_to_draw_again(input, picture);
  write_drawn(input, picture);
  return relative_to_job(picture, job_file);
}

std::vector<std::string> redraw_for_job(const Job& job, const std::vector<int>& spots,
                                        const fs::path& job_file) {
  std::vector<std::string> left;
  for (const std::string& picture : pictures_with(job, spots))
    if (const std::string why = redraw(job, picture, job_file); !why.empty())
      left.push_back("the picture " + picture + " still shows its spots as before: " + why);
  return left;
}

}  // namespace ripplegauge
