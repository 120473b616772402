// First attempts at many candidates, made ahead on several threads without changing what comes of them.
#pragma once

#include <cmath>
#include <cstdint>
#include <optional>
#include <utility>
#include <vector>

#include "attempt.hpp"
#include "core/parallel_for.hpp"

namespace ripplegauge {

/// First attempts at candidates, several at once where there are threads: most of those that follow will be
/// wanted, too, whatever comes of the first. An attempt counts as long as no spot that was accepted since
/// reaches what it looked at: it would come out the same.
class FirstAttempts {
 public:
  FirstAttempts(const PanelScene& scene, const std::vector<Candidate>& candidates,
                const std::vector<SpotVector>& accepted)
      : scene_(scene), candidates_(candidates), accepted_(accepted), made_(candidates.size()) {}

  /// The attempt at a candidate; and, while about it, at up to `most` - 1 of those after it that
  /// `worth_trying` names and that are surely not parts of it.
  template <class WorthTrying>
  Attempt at(std::size_t index, std::size_t most, const WorthTrying& worth_trying) {
    if (counts(index)) return wanted(index);
    std::vector<std::size_t> batch{index};
    if (scene_.threads == 1) most = 1;
    for (std::size_t i = index + 1; i < candidates_.size() && batch.size() < most; ++i)
      if (!counts(i) && worth_trying(candidates_[i]) && lies_apart(candidates_[i], candidates_[index]))
        batch.push_back(i);
    parallel_for(batch.size(), scene_.threads, [&](std::size_t k) {
      const Outline& outline = candidates_[batch[k]].outline;
      FitWork work;
      PanelScene scene = scene_;
      scene.work = &work;
      made_[batch[k]] = {attempt_beside_others(scene, outline, candidates_, accepted_), accepted_.size(),
                         work.pixels};
    });
    return wanted(index);
  }

 private:
  struct Made {
    Attempt attempt;
    std::size_t accepted;        ///< spots when it was made
    std::int64_t fitted_pixels;  ///< by it, not yet counted as the scene's work
  };

  /// An attempt's work counts when it is asked for: what was made ahead in vain, one thread would not have
  /// made.
  const Attempt& wanted(std::size_t index) {
    Made& made = *made_[index];
    if (scene_.work) scene_.work->pixels += std::exchange(made.fitted_pixels, 0);
    return made.attempt;
  }

  bool counts(std::size_t index) {
    if (!made_[index]) return false;
    Made& made = *made_[index];
    for (; made.accepted < accepted_.size(); ++made.accepted)
      for (const LookedAt& square : made.attempt.looked_at)
        if (reaches(accepted_[made.accepted], square)) {
          made_[index].reset();
          return false;
        }
    return true;
  }

  static bool lies_apart(const Candidate& a, const Candidate& b) {
    return std::hypot(a.outline.x_mm - b.outline.x_mm, a.outline.y_mm - b.outline.y_mm) >
           longest_of(a.outline) + longest_of(b.outline);
  }

  const PanelScene& scene_;
  const std::vector<Candidate>& candidates_;
  const std::vector<SpotVector>& accepted_;
  std::vector<std::optional<Made>> made_;
};

}  // namespace ripplegauge
