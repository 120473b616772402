// A believed spot stands in quiet panel, and a near neighbour is not quiet. So the best fit that lacks
// nothing but a quiet ring is taken for granted, the rest is looked at without it, and so on. In the end all
// are fitted once more, each with the others explained, and judged by the same rules as any spot: a chance
// fit that was taken for granted leaves something that no other explains.
#include "neighbours.hpp"

#include <algorithm>
#include <optional>

#include "acceptance.hpp"
#include "dents/loudness.hpp"

namespace ripplegauge {
namespace {

/// All spots but one of the neighbours, those that are explained anyway first.
std::vector<SpotVector> others_of(const std::vector<Attempt>& all, std::size_t self,
                                  std::vector<SpotVector> explained) {
  for (std::size_t i = 0; i < all.size(); ++i)
    if (i != self) explained.push_back(all[i].fit.spot);
  return explained;
}

/// Whether a spot covers the middle of a lobe: between neighbours, lobes are drawn too roughly to ask for
/// more.
bool is_about(const SpotVector& spot, const Outline& lobe) {
  return RadiusIn(spot)(lobe.x_mm, lobe.y_mm) < 1;
}

/// What stands out beside the spots that are granted, drawn anew with them explained: near them, and compact.
std::vector<Outline> left_beside(const PanelScene& scene, const std::vector<Attempt>& granted,
                                 const std::vector<SpotVector>& known) {
  if (granted.empty()) return {};
  cv::Mat explained;
  const ResidualField field =
      residual_with_spots(*scene.field, *scene.problem, scene.parameters, known, explained);
  const auto is_near = [&](const Candidate& c) {
    return std::any_of(granted.begin(), granted.end(), [&](const Attempt& a) {
      const SpotVector& s = a.fit.spot;
      return c.outline.elongation < scene.options.effort.compact_elongation &&
             std::hypot(s[s_x] - c.outline.x_mm, s[s_y] - c.outline.y_mm) <
                 scene.options.effort.reach * half_length_mm(s) + longest_of(c.outline);
    });
  };
  std::vector<Outline> outlines;
  for (const Candidate& c : find_candidates(field, disturbance(field, explained), is_near, scene.options))
    outlines.push_back(c.outline);
  return outlines;
}

/// The fit outside those taken for granted that has most to show, but for a quiet ring.
std::optional<Attempt> next_neighbour(const PanelScene& scene, const std::vector<Outline>& lobes,
                                      const std::vector<Attempt>& granted,
                                      const std::vector<SpotVector>& explained) {
  const std::vector<SpotVector> known = others_of(granted, granted.size(), explained);
  const auto covered = [&](double x_mm, double y_mm) {
    return std::any_of(granted.begin(), granted.end(),
                       [&](const Attempt& n) { return RadiusIn(n.fit.spot)(x_mm, y_mm) < 1; });
  };
  std::vector<Outline> outlines = left_beside(scene, granted, known);
  outlines.insert(outlines.end(), lobes.begin(), lobes.end());
  std::optional<Attempt> best;
  for (const Outline& outline : outlines) {
    if (covered(outline.x_mm, outline.y_mm)) continue;
    const Attempt a = attempt(scene, outline, {}, known);
    if (!is_about(a.fit.spot, outline) || covered(a.fit.spot[s_x], a.fit.spot[s_y]) ||
        !believable_beside_others(scene, a, outline_of(a.fit.spot)))
      continue;
    if (!best || credit(a.judgement) > credit(best->judgement)) best = a;
  }
  return best;
}

}  // namespace

std::vector<Attempt> believed_together(const PanelScene& scene, const std::vector<Outline>& lobes,
                                       const std::vector<SpotVector>& explained) {
  std::vector<Attempt> granted;
  while (granted.size() < scene.options.candidates.max_lobes) {
    const auto next = next_neighbour(scene, lobes, granted, explained);
    if (!next) break;
    granted.push_back(*next);
  }
  if (granted.size() < 2) return {};
  constexpr int sweeps = 2;  // the first one was fitted with none of the others known
  for (int sweep = 0; sweep < sweeps; ++sweep)
    for (std::size_t i = 0; i < granted.size(); ++i) {
      const SpotFit before = granted[i].fit;
      granted[i] = judged_among(scene, before, others_of(granted, i, explained));
    }
  const bool all_believed = std::all_of(granted.begin(), granted.end(), [&](const Attempt& n) {
    return believable(scene, n, outline_of(n.fit.spot));
  });
  return all_believed ? granted : std::vector<Attempt>{};
}

}  // namespace ripplegauge
