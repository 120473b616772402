// The list of refusals and warnings.
#include "ripplegauge/core/findings.hpp"

#include <algorithm>

#include "core/expects.hpp"

namespace ripplegauge {
namespace {

using enum PhotoFinding;

constexpr FindingText list[] = {
    {file_unreadable, "file_unreadable", "The file cannot be read or decoded.",
     "Copy it from the phone again."},
    {out_of_memory, "out_of_memory", "The photo needs more memory than there is.",
     "Measure fewer photos at once, or set the phone to a smaller size."},
    {unexpected, "unexpected", "The program failed on this photo.",
     "Photograph again; if it fails again, keep the photo for whoever mends the program."},
    {no_panel, "no_panel", "Nobody can tell which panel the photo shows.",
     "Rename it, move it into a folder with the panel's name, or say how names tell the panel."},
    {senseless, "senseless", "The measurement makes no sense.",
     "Photograph again, from a little farther round."},
    {card_not_found, "card_not_found", "No scale card was found in the photo.",
     "Lay the printed card flat beside the dent, all of it in the picture and unshaded, and photograph "
     "again."},
    {card_unknown, "card_unknown", "Tags are in the photo, but none of them belongs to this card.",
     "Use the card that the program printed, or name your own."},
    {two_cards, "two_cards", "Two cards are in the photo.", "Take one of them away and photograph again."},
    {card_too_small, "card_too_small", "The card is too small in the photo to measure from.",
     "Go nearer, or use the phone's full resolution."},
    {too_few_tags, "too_few_tags", "Too few of the card's tags can be read.",
     "Bring the whole card into the picture, flat and without shadow or glare on it."},
    {card_not_flat, "card_not_flat",
     "The card's tags do not fit together: the card is bent, lifted or wrongly described.",
     "Press the card flat onto the panel (a few magnets or tape help), and check that it is the card that "
     "was named."},
    {too_oblique, "too_oblique", "The panel is seen too much from the side.",
     "Hold the phone more squarely over the panel: 20 to 45 degrees is best."},
    {blurred, "blurred", "The photo is out of focus or blurred by motion.",
     "Tap on the card to focus on it, rest the phone on something, and photograph again."},
    {much_blurred, "much_blurred",
     "The photo is so blurred that the card's tags do not tell by how much: sizes are less sure, and specks "
     "of dirt can look like small dents.",
     "Tap on the card to focus on it, rest the phone on something, and photograph again."},
    {edges_doubled, "edges_doubled",
     "All edges show twice: the phone laid two exposures upon each other, and moved between them. Sizes may "
     "be far off.",
     "Switch off HDR and night mode, rest the phone on something, and photograph again."},
    {overexposed, "overexposed", "Most of the photo is burnt out to white; no card can be read in it.",
     "Tap on the white card to set the exposure, or turn the lamp down, and photograph again."},
    {too_dark, "too_dark", "The photo is nearly black; no card can be read in it.",
     "Add light on the card and photograph again."},
    {camera_profile_misfit, "camera_profile_misfit",
     "The camera profile is of another lens, zoom or resolution.",
     "Photograph with the lens, zoom and resolution that the profile was made with, make a profile for this "
     "one, or "
     "measure without a profile."},
    {camera_profile_unchecked, "camera_profile_unchecked",
     "Photo and camera profile do not both say their focal length, so nothing shows that they are of the "
     "same lens and "
     "zoom.",
     "Photograph with the phone's own camera, which writes the focal length into the photo."},
    {focal_length_unknown, "focal_length_unknown",
     "The photo does not say its focal length; it was taken from the card's perspective, with wide "
     "intervals.",
     "Measure the photo as the phone wrote it, or make a profile of the phone's lens."},
    {photo_cropped, "photo_cropped",
     "The photo seems to be cropped or rescaled: what it says of its lens does not fit.",
     "Measure the photo as the phone wrote it."},
    {no_stripes, "no_stripes", "No reflected stripes of the board were found round the card.",
     "Stand the board so that its reflection surrounds the card, and check pitch and distance with a tape."},
    {stripes_not_resolved, "stripes_not_resolved",
     "The stripes stand too close in the photo to be told apart.",
     "Use a board with a coarser pitch, bring the board nearer to the panel, or move the phone closer."},
    {stripes_not_followed, "stripes_not_followed",
     "The stripes cannot be followed in the neighbourhood of the card.",
     "Stand the striped board so that its reflection surrounds the dent, beside the card."},
    {weak_stripes, "weak_stripes", "The stripes are faint.",
     "Put more light on the board, less on the panel."},
    {light_edge, "light_edge",
     "An edge of light or shadow crosses the stripes. It was taken out: beside it sizes are less sure.",
     "Light the board evenly, and keep shadows and sunlight off the panel."},
    {pitch_contradicted, "pitch_contradicted", "The stripes in the photo do not fit the board's pitch.",
     "Measure one light plus one dark stripe across ten of them, and give that as the pitch."},
    {pitch_not_determined, "pitch_not_determined", "The photo does not tell the board's pitch.",
     "Photograph a flat panel, with the card in the middle of the stripes."},
    {board_tags_not_seen, "board_tags_not_seen",
     "Fewer than two of the board's tags can be read in the reflection.",
     "Let the board's margin be mirrored, or tape the distance."},
    {bar_not_measured, "bar_not_measured",
     "Nobody said how long the card's check bar is: all sizes are less sure, since printers scale.",
     "Measure the bar with a steel rule."},
    {board_distance_unusual, "board_distance_unusual",
     "Card and stripes put the board where boards hardly ever stand: its pitch may be wrong.",
     "Tape over ten pitches, and check where the board stands."},
    {board_distance_doubtful, "board_distance_doubtful",
     "Card and stripes put the board elsewhere than the tape: depths are less sure.",
     "Tape again, and check the pitch."},
    {glare, "glare", "Stripes are burnt out to white.",
     "Lower the exposure (tap on a bright stripe) or move the lamp, and photograph again."},
    {dent_cut, "dent_cut", "The dent is cut by the card, the board's edge or the photo's edge.",
     "Move card and board so that undisturbed stripes surround the whole dent."},
    {card_too_far, "card_too_far", "Something bends the stripes too far from the card to be measured.",
     "Lay the card nearer to it."},
    {stripes_hidden, "stripes_hidden", "Something hides the stripes.",
     "Wipe the panel, take away what lies on it or is mirrored there, and photograph again."},
    {dent_not_explained, "dent_not_explained",
     "Something bends or hides the stripes, but no dent explains it.",
     "Wipe the panel, take away what lies on it or is mirrored there, and photograph from a little nearer or "
     "with the "
     "board nearer."},
    {dent_uncertain, "dent_uncertain",
     "Something bends the stripes as a dent would, but too few of them show it to be sure.",
     "Use a board with a finer pitch, or move it further away, so that more stripes cross the place, and "
     "photograph again."},
    {stripes_cut, "stripes_cut",
     "Much of the stripes round the card could not be followed: an edge of light or shadow, a fold of the "
     "panel or something mirrored cuts them.",
     "Light the board evenly, keep shadows and lamps out of its reflection, stay on one side of a body line, "
     "and photograph again."},
    {not_all_measured, "not_all_measured", "Something else bends or hides the stripes; it was not measured.",
     "Photograph it too, with the card beside it."},
    {partly_judged, "partly_judged",
     "Only part of the panel could be checked: a dent elsewhere would not be seen.",
     "Let the reflection of the board cover more of the panel."},
    {card_far_for_crown, "card_far_for_crown",
     "The panel bends much between the card and a spot: sizes there are less sure.",
     "Lay the card nearer to it."},
    {poorly_explained, "poorly_explained",
     "A dent's shape does not explain all that the stripes show inside it: its sizes may be far off.",
     "Photograph it again from nearer or with coarser stripes."},
    {dense_fringes, "dense_fringes", "Inside a dent the stripes run too dense to count surely.",
     "Go nearer or use a coarser pitch."},
    {may_be_mark, "may_be_mark", "A spot may be a mark on the panel, or something that lies on it.",
     "Look at the place, and photograph it again with the board moved by half a stripe."},
    {many_small_spots, "many_small_spots",
     "Most of the spots are small and alike, as water drops and dirt are.",
     "Wipe the panel dry and clean, and photograph it again."},
    {photos_contradict, "photos_contradict", "The photos do not show one and the same place as it is.",
     "Photograph the place again, the card left where it is and the dent as it is."},
    {photo_left_out, "photo_left_out",
     "One of the photos does not count: it contradicts the others, or "
     "cannot be measured.",
     "Photograph that view again, the card left where it is."}};

}  // namespace

std::span<const FindingText> all_findings() { return list; }

const FindingText& text_of(PhotoFinding finding) {
  const auto found =
      std::find_if(std::begin(list), std::end(list), [&](const auto& row) { return row.finding == finding; });
  expects(found != std::end(list), "a row for every finding");
  return *found;
}

std::string code_of(PhotoFinding finding) { return text_of(finding).code; }

Refusal refusal(PhotoFinding finding) {
  const FindingText& text = text_of(finding);
  return {text.code, text.message, text.remedy};
}

Warning warning(PhotoFinding finding) {
  const FindingText& text = text_of(finding);
  return {text.code, std::string(text.message) + " " + text.remedy};
}

bool is(const Refusal& refusal, PhotoFinding finding) { return refusal.code == text_of(finding).code; }
bool is(const Warning& warning, PhotoFinding finding) { return warning.code == text_of(finding).code; }

}  // namespace ripplegauge
