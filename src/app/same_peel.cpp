// Photos are looked at as their readings say that they were measured.
#include "app/same_peel.hpp"

#include "compare/peel.hpp"
#include "measure/peel_pattern.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/photo/photo.hpp"

namespace ripplegauge {
namespace {

PeelPattern pattern_of(const ReadPhoto& read, const CardDefinition& card, int threads) {
  const Setup& setup = read.reading.setup;
  if (read.photo.empty() || !(setup.board_pitch_mm > 0) || !(setup.bar_length_mm > 0)) return {};
  MeasureRequest request;
  request.card = card;
  request.bar_length_mm = setup.bar_length_mm;
  request.board_pitch_mm = setup.board_pitch_mm;
  if (setup.board_distance_mm) request.board_distance_mm = setup.board_distance_mm->value;
  try {
    return peel_pattern(read_photo(read.photo, {}, threads), request, {.threads = threads});
  } catch (const UsageError&) {  // numbers that a file made up
    return {};
  } catch (const FileError&) {
    return {};
  }
}

}  // namespace

bool same_peel(const ReadPhoto& before, const ReadPhoto& after, const CardDefinition& card, int threads) {
  const PeelPattern one = pattern_of(before, card, threads);
  if (one.empty()) return false;
  return peel_agreement(one, before.reading.dents, pattern_of(after, card, threads), after.reading.dents)
      .proves_same_place();
}

}  // namespace ripplegauge
