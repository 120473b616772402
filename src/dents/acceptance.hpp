// The rules by which a judged fit is believed. Each is a function of figures, so that each can be tested
// alone.
#pragma once

#include <vector>

#include "attempt.hpp"
#include "dents/spot_search.hpp"

namespace ripplegauge {

/// Louder than peel gets: it is real slope, but whitening knows it, so that it cannot disturb the stripes
/// much beyond what they show everywhere.
bool loud(const SpotJudgement& j, const Acceptance& acceptance);

/// A whisper, but over so wide an area of so quiet a panel that it adds up.
bool wide_and_faint(const SpotJudgement& j, const Acceptance& acceptance);

/// How far a spot must move the stripes (SpotJudgement::moved_snr) to be no orange peel: the louder, the
/// less; geometrically between the two.
double needed_moved_snr(const SpotJudgement& j, const Acceptance& acceptance);

bool louder_than_peel(const SpotJudgement& j, const Acceptance& acceptance);

/// The ring around is as quiet as stripes that are as modelled; `slack` times as loud will do.
bool quiet_around(const SpotJudgement& j, const Acceptance& acceptance, double slack = 1);

/// Place, size and height fit four looks at orange peel whatever they show, unless it is louder than peel
/// ever is.
bool hangs_on_few_looks(const SpotJudgement& j, const Acceptance& acceptance);

/// What hangs on few looks must stand out by these few alone. And what they show, some spot explains whatever
/// its shape, unless it is a speck.
bool more_than_few_looks(const SpotJudgement& j, const Acceptance& acceptance);

/// By how much worse the other sign explains what is seen inside; or surely worse, where most of it is seen
/// and not burnt out.
bool sign_is_told(const SpotFit& fit, const SpotJudgement& j, const Acceptance& acceptance);

/// Size, elongation and slope are such as a dent can have: a fit to a shadow or to a lamp runs out of them.
bool shaped_as_a_dent(const SpotVector& spot, const Acceptance& acceptance);

/// All of these, and in a place where it can be seen, near the outline that it is to explain.
bool believable(const PanelScene& scene, const Attempt& attempt, const Outline& outline);

/// The same but for the ring around, which neighbours that are not explained yet make loud.
bool believable_beside_others(const PanelScene& scene, const Attempt& attempt, const Outline& outline);

/// Where few looks are all there is, the best fit may lie between those that explain what is seen as well:
/// whether all of them stand out.
bool surely_stands_out(const PanelScene& scene, const Attempt& attempt,
                       const std::vector<SpotVector>& others);

/// Whether a small spot in an accepted one, or beside it, may be no more than what that one's shape leaves
/// over: its slope does not stand out from the slope that the unexplained share of the disturbance stands for
/// (a share of energy, hence the root).
bool may_be_misfit(const std::vector<FoundSpot>& accepted, const SpotVector& spot,
                   const Acceptance& acceptance);

/// Whether a smaller spot may be the rest of one beside it: a line crosses both, so that neither shows more
/// than its flanks.
bool may_be_rest_on_line(const ResidualField& field, const std::vector<FoundSpot>& accepted,
                         const SpotVector& spot, const Acceptance& acceptance);

/// Share of an outline's ellipse where stripes are seen.
double seen_share(const ResidualField& field, const Outline& outline);

/// Share of directions in which, on this ellipse, there are stripes well inside the board's reflection, or
/// the card, or a body line.
double ring_seen(const PanelScene& scene, const Outline& outline);

/// From a place of the panel to the card's paper, 0 under it; 1e9 without one.
double near_paper_mm(const PanelScene& scene, double x_mm, double y_mm);

}  // namespace ripplegauge
