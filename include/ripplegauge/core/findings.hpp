// Every reason for which a photo is refused and every warning that a reading can carry, in one list.
//
// A new one:
// 1. Add it to PhotoFinding.
// 2. Add its row to the list in findings.cpp: code, what it means, what to do.
// 3. Return refusal(PhotoFinding::...) or warning(PhotoFinding::...) where it is found.
// 4. Add it to src/guide/findings.md: a test goes through the list and misses it there.
// 5. If an option helps, add it to cli/option_hints.cpp.
#pragma once

#include <span>
#include <string>

#include "ripplegauge/core/reading.hpp"

namespace ripplegauge {

enum class PhotoFinding {
  // The file.
  file_unreadable,
  out_of_memory,
  unexpected,
  no_panel,
  senseless,
  // The card and the view of it.
  card_not_found,
  card_unknown,
  two_cards,
  card_too_small,
  too_few_tags,
  card_not_flat,
  too_oblique,
  blurred,
  much_blurred,
  edges_doubled,
  overexposed,
  too_dark,
  // The lens.
  camera_profile_misfit,
  camera_profile_unchecked,
  focal_length_unknown,
  photo_cropped,
  // Board and stripes.
  no_stripes,
  stripes_not_resolved,
  stripes_not_followed,
  weak_stripes,
  light_edge,
  pitch_contradicted,
  pitch_not_determined,
  board_tags_not_seen,
  bar_not_measured,
  board_distance_unusual,
  board_distance_doubtful,
  glare,
  // Dents.
  dent_cut,
  card_too_far,
  stripes_hidden,
  dent_not_explained,
  dent_uncertain,
  stripes_cut,
  not_all_measured,
  partly_judged,
  card_far_for_crown,
  poorly_explained,
  dense_fringes,
  may_be_mark,
  many_small_spots,
  // Several photos of one place.
  photos_contradict,
  photo_left_out,
};

struct FindingText {
  PhotoFinding finding;
  const char* code;     ///< Refusal::code, Warning::code; never changes, since files hold it
  const char* message;  ///< what it means, without the figures of one photo
  const char* remedy;   ///< what to do
};

std::span<const FindingText> all_findings();
const FindingText& text_of(PhotoFinding finding);

/// The code alone, where message and remedy have figures in them.
std::string code_of(PhotoFinding finding);

/// As the list has it.
Refusal refusal(PhotoFinding finding);
Warning warning(PhotoFinding finding);

/// Whether this is what a reading says. Readings of other versions of the program may say what is in no list.
bool is(const Refusal& refusal, PhotoFinding finding);
bool is(const Warning& warning, PhotoFinding finding);

}  // namespace ripplegauge
