// What the bundle and its starts share.
#pragma once

#include "panel/bundle.hpp"

namespace ripplegauge {

/// The card's tag of this number; null where it has none.
inline const CardTag* find_card_tag(const CardDefinition& card, int id) {
  for (const CardTag& tag : card.tags)
    if (tag.id == id) return &tag;
  return nullptr;
}

/// Calls accept(corner, predicted minus true position on the board, mm) for both coordinates of every board
/// corner.
template <class C, class T, class Accept>
void for_each_board_error(const BundleProblem& problem, const PanelModel<C>& camera,
                          const PanelModel<T>& board, const Accept& accept) {
  for (const BoardCorner& corner : problem.board_corners) {
    const auto point = camera.panel_from_pixel(corner.u_px, corner.v_px);
    const auto seen = board.board_frame_from_panel(point.x_mm, point.y_mm);
    accept(corner, seen.x_mm - corner.x_mm);
    accept(corner, seen.y_mm - corner.y_mm);
  }
}

/// A solution with its covariance and how well it explains the data.
BundleResult describe(const BundleProblem& problem, const BundleNoise& noise, const PanelVector& parameters);

}  // namespace ripplegauge
