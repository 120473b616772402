// A set of photos: each is read by itself, sightings are matched, contradictions named, and every dent is
// read jointly.
#include "ripplegauge/measure/together.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <optional>
#include <string>
#include <utility>

#include "core/visible_dent.hpp"
#include "dents/loudness.hpp"
#include "flattened_line.hpp"
#include "format.hpp"
#include "joint_spot.hpp"
#include "measured_photo.hpp"
#include "one_panel.hpp"
#include "panel_end.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/core/findings.hpp"

namespace ripplegauge {
namespace {

/// A dent as some photos found it, each by itself.
struct Sighting {
  std::size_t view;
  std::size_t spot;  ///< number in that photo's list
};
using Sightings = std::vector<Sighting>;

std::vector<SpotVector> parts_of(const FoundSpot& f) {
  return f.second ? std::vector{f.fit.spot, *f.second} : std::vector{f.fit.spot};
}

/// What a photo says of a dent by itself; uncertainties are relative.
struct Told {
  Kind kind = Kind::low;
  double diameter_mm = 0, depth_mm = 0, u_diameter = 0, u_depth = 0;
};

/// `dent` has a depth.
Told told_by(const Dent& dent) {
  return {dent.kind, dent.diameter_mm.value, dent.depth_mm->value, relative_uncertainty(dent.diameter_mm),
          relative_uncertainty(*dent.depth_mm)};
}

/// One photo's spots beside another's.
struct Pair {
  double unlike;  ///< 0 for the same place, size and kind
  std::size_t group, spot;
};

/// How unlike two spots are; nothing where they cannot be one. A sign may be a rival of the other, so it only
/// counts against a pair.
std::optional<double> unlike(const FoundSpot& a, const FoundSpot& b) {
  const SpotVector &s = a.fit.spot, &t = b.fit.spot;
  const double near_mm = std::max(2.0, 0.6 * std::min(half_length_mm(s), half_length_mm(t)));
  const double apart = std::hypot(s[s_x] - t[s_x], s[s_y] - t[s_y]) / near_mm;
  const double size = std::abs(std::log(mean_radius_mm(s) / mean_radius_mm(t)));
  constexpr double most_size = 0.7;
  if (apart > 1 || size > most_size) return std::nullopt;
  return apart + size / most_size + (s[s_height] * t[s_height] < 0 ? 1 : 0);
}

/// What the photos found, matched by place: the card is the same for all.
std::vector<Sightings> match(const std::vector<const std::vector<FoundSpot>*>& found) {
  std::vector<Sightings> groups;
  for (std::size_t v = 0; v < found.size(); ++v) {
    std::vector<Pair> pairs;
    for (std::size_t g = 0; g < groups.size(); ++g)
      for (std::size_t i = 0; i < found[v]->size(); ++i) {
        const Sighting& first = groups[g].front();
        if (const auto u = unlike((*found[first.view])[first.spot], (*found[v])[i]))
          pairs.push_back({*u, g, i});
      }
    std::sort(pairs.begin(), pairs.end(), [](const Pair& a, const Pair& b) { return a.unlike < b.unlike; });
    std::vector<bool> used(found[v]->size());
    std::vector<std::size_t> taken;
    for (const Pair& p : pairs) {
      if (used[p.spot] || std::find(taken.begin(), taken.end(), p.group) != taken.end()) continue;
      groups[p.group].push_back({v, p.spot});
      used[p.spot] = true, taken.push_back(p.group);
    }
    for (std::size_t i = 0; i < found[v]->size(); ++i)
      if (!used[i]) groups.push_back({{v, i}});
  }
  return groups;
}

bool alike(const FoundSpot& spot, const std::vector<FoundSpot>& others) {
  return std::any_of(others.begin(), others.end(),
                     [&](const FoundSpot& o) { return unlike(spot, o).has_value(); });
}

/// Whether a photo may have taken this spot and a neighbour for one.
bool taken_for_one(const FoundSpot& spot, const std::vector<FoundSpot>& with_neighbours,
                   const std::vector<FoundSpot>& others) {
  return std::any_of(others.begin(), others.end(), [&](const FoundSpot& o) {
    const RadiusIn in(o.fit.spot);
    const auto inside = [&](const FoundSpot& s) { return in(s.fit.spot[s_x], s.fit.spot[s_y]) < 1; };
    return inside(spot) && std::count_if(with_neighbours.begin(), with_neighbours.end(), inside) > 1;
  });
}

/// Photos in the order of the request, and what was made of each.
class PhotoSet {
 public:
  PhotoSet(std::span<const PhotoOfPlace> photos, const MeasureOptions& options)
      : photos_(photos), options_(options), left_out_(photos.size()) {}

  TogetherMeasurement run() {
    read_singles();
    TogetherMeasurement out;
    for (const MeasuredPhoto& m : measured_) out.singles.push_back(m.result.reading);
    if (in_use().empty()) return refused(out, measured_.front().result.reading.refusal.value_or(Refusal{}));
    while (const auto stranger = most_of_another_panel()) {
      if (in_use().size() < 3) return refused(out, contradiction());
      left_out_[*stranger] = "It contradicts the others: " + why_against_;
    }
    for (;;) {
      read_dents();
      const auto worst = most_contradicted();
      if (!worst) break;
      if (in_use().size() < 3) return refused(out, contradiction());
      left_out_[*worst] = "It contradicts the others: " + why_against_;
    }
    if (shares_no_dent()) return refused(out, contradiction());
    assemble(out);
    return out;
  }

 private:
  void read_singles() {
    measured_.reserve(photos_.size());
    for (const PhotoOfPlace& p : photos_) {
      MeasuredPhoto& m = measured_.emplace_back(measure_with_look(p.photo, p.request, options_));
      // Maps that the joint fit does not need: of eight photos they would be a tenth of the memory.
      m.result.relief = {};
      m.look.stripes.coherence.release();
      m.look.stripes.striped.release();
      m.look.stripes.near_bare.release();
      m.look.field.light = {};
    }
    for (std::size_t i = 0; i < measured_.size(); ++i) {
      const MeasuredPhoto& m = measured_[i];
      if (m.look.reading.refusal) {
        left_out_[i] = m.look.reading.refusal->message;
        continue;
      }
      SetView view;
      view.bundle = m.tied.bundle;
      view.scene = {&m.look.grey,     &m.tied.problem,      m.tied.bundle.parameters,
                    &m.look.residual, m.look.pixels_per_mm, options_.threads};
      views_.push_back(view);
      photo_of_.push_back(i);
    }
    agree_on_panel(views_);
  }

  /// Numbers of the views that are not left out.
  std::vector<std::size_t> in_use() const {
    std::vector<std::size_t> views;
    for (std::size_t v = 0; v < views_.size(); ++v)
      if (left_out_[photo_of_[v]].empty()) views.push_back(v);
    return views;
  }

  const std::vector<FoundSpot>& found_in(std::size_t view) const {
    static const std::vector<FoundSpot> none;
    return left_out_[photo_of_[view]].empty() ? measured_[photo_of_[view]].tied.found : none;
  }

  /// A dent that one photo has and the other has not, though it would have shown twice over.
  const Dent* missed(std::size_t by, std::size_t found_by) const {
    const std::vector<FoundSpot>&mine = found_in(found_by), &theirs = found_in(by);
    const Setup& setup = measured_[photo_of_[by]].result.reading.setup;
    for (const FoundSpot& spot : mine) {
      const SpotVector& s = spot.fit.spot;
      if (alike(spot, theirs) || taken_for_one(spot, mine, theirs) || !shows_place(views_[by], s)) continue;
      const Dent* dent = read_there(found_by, {s[s_x], s[s_y]}, 2 * mean_radius_mm(s));
      if (dent == nullptr || !dent->depth_mm) continue;
      const auto visible = smallest_visible(setup, dent->diameter_mm.value);
      constexpr double clearly = 2;
      if (visible && dent->depth_mm->low > clearly * visible->depth_mm) return dent;
    }
    return nullptr;
  }

  /// The photo that shows another panel than most others: two photos do where each has a dent that the other
  /// has not. One dent that only one photo has may lie where the other's stripes tell little.
  std::optional<std::size_t> most_of_another_panel() {
    const std::vector<std::size_t> views = in_use();
    std::optional<std::size_t> stranger;
    int most = 0;
    for (const std::size_t v : views) {
      int others = 0;
      const Dent* shown = nullptr;
      for (const std::size_t w : views) {
        const Dent* dent = v == w ? nullptr : missed(w, v);
        if (dent == nullptr || missed(v, w) == nullptr) continue;
        ++others;
        shown = dent;
      }
      if (others < most || others == 0) continue;
      most = others;
      stranger = photo_of_[v];
      why_against_ =
          measured_[*stranger].look.reading.photo.name +
          format(" shows a dent at x %.0f, y %.0f mm that the others do not show, and does not show theirs.",
                 shown->x_mm, shown->y_mm);
    }
    return stranger;
  }

  void read_dents() {
    std::vector<const std::vector<FoundSpot>*> found;
    for (std::size_t v = 0; v < views_.size(); ++v) found.push_back(&found_in(v));
    groups_ = match(found);
    dents_.assign(groups_.size(), std::nullopt);
    const int sweeps = groups_.size() > 1 ? 2 : 1;
    for (int sweep = 0; sweep < sweeps; ++sweep) {
      const auto before = dents_;
      for (std::size_t g = 0; g < groups_.size(); ++g) dents_[g] = read_dent(g, before, sweep + 1 == sweeps);
    }
  }

  /// The panel's other spots as far as they are known.
  std::vector<SpotVector> others(std::size_t self, const std::vector<std::optional<JointSpot>>& known) const {
    std::vector<SpotVector> rest;
    for (std::size_t g = 0; g < groups_.size(); ++g) {
      if (g == self) continue;
      const std::vector<SpotVector> parts = known[g] ? known[g]->parts : parts_of(first_of(g));
      rest.insert(rest.end(), parts.begin(), parts.end());
    }
    return rest;
  }

  const FoundSpot& first_of(std::size_t group) const {
    const Sighting& s = groups_[group].front();
    return found_in(s.view)[s.spot];
  }

  std::optional<JointSpot> read_dent(std::size_t group, const std::vector<std::optional<JointSpot>>& known,
                                     bool finally) {
    JointRequest request;
    for (const Sighting& s : groups_[group]) request.starts.push_back(parts_of(found_in(s.view)[s.spot]));
    request.others = others(group, known);
    for (const std::size_t v : in_use()) {
      const bool found = std::any_of(groups_[group].begin(), groups_[group].end(),
                                     [&](const Sighting& s) { return s.view == v; });
      if (found || shows_place(views_[v], first_of(group).fit.spot)) request.views.push_back(v);
    }
    const MeasureRequest& said = photos_.front().request;
    request.bar_relative = options_.bar_uncertainty_mm / said.bar_length_mm;
    request.free_surface = options_.free_surface && finally;
    request.threads = options_.threads;
    return read_jointly(views_, request);
  }

  /// The photo that speaks most surely against a dent as all tell it. Odds of e^10 are sure; and its own
  /// answer must be another one by more than both intervals allow: a little misfit, which every photo has,
  /// is sure, too, where a dent moves stripes a lot.
  std::optional<std::size_t> most_contradicted() {
    constexpr double surely = 10;
    std::optional<std::size_t> worst;
    double most = surely;
    for (const auto& dent : dents_) {
      if (!dent) continue;
      for (const JointPart& p : dent->photos) {
        if (p.against <= most || !differs(*dent, p)) continue;
        most = p.against;
        worst = photo_of_[p.view];
      }
    }
    return worst;
  }

  /// Whether a dent leaves most of what the photos show there unexplained: then they do not show the same.
  bool shares_no_dent() {
    constexpr double most = 0.5;
    for (const auto& dent : dents_) {
      if (!dent || dent->explained > most) continue;
      const SpotGeometry& g = dent->answer.shape;
      why_against_ = format("no dent at x %.0f, y %.0f mm explains what all of them show.", g.x_mm, g.y_mm);
      return true;
    }
    return false;
  }

  bool differs(const JointSpot& joint, const JointPart& part) {
    const SpotGeometry& g = joint.answer.shape;
    const auto place = format("the dent at x %.0f, y %.0f mm ", g.x_mm, g.y_mm);
    if (!part.alone) {
      why_against_ = place + "is not in it.";
      return true;
    }
    Told told{part.alone->kind, part.alone->diameter_mm, part.alone->depth_mm};
    if (const Dent* own = read_there(part.view, {g.x_mm, g.y_mm}, g.diameter_mm);
        own != nullptr && own->depth_mm)
      told = told_by(*own);
    constexpr double intervals = 3, least_diameter = 0.05, least_depth = 0.1;
    // An answer that is less sure than that says nothing, and would contradict nothing.
    constexpr double least_sure = 0.2;
    const double u_diameter = std::min(joint.answer.u_diameter, least_sure),
                 u_depth = std::min(joint.answer.u_depth, least_sure);
    const double diameter = std::abs(std::log(told.diameter_mm / g.diameter_mm)),
                 depth = std::abs(std::log(told.depth_mm / g.depth_mm));
    if (told.kind == g.kind &&
        diameter < std::max(intervals * std::hypot(told.u_diameter, u_diameter), least_diameter) &&
        depth < std::max(intervals * std::hypot(told.u_depth, u_depth), least_depth))
      return false;
    why_against_ = place + format("is %.1f mm across and %.3f mm %s there.", told.diameter_mm, told.depth_mm,
                                  told.kind == Kind::low ? "deep" : "high");
    return true;
  }

  /// The dent that a photo reads there by itself.
  const Dent* read_there(std::size_t view, PointMm place, double diameter_mm) const {
    const Reading& single = measured_[photo_of_[view]].result.reading;
    for (const Dent& dent : single.dents)
      if (std::hypot(dent.x_mm - place.x_mm, dent.y_mm - place.y_mm) < 0.25 * diameter_mm) return &dent;
    return nullptr;
  }

  Refusal contradiction() const {
    return {code_of(PhotoFinding::photos_contradict), "The photos contradict each other: " + why_against_,
            "Was the card moved, or the dent worked on, between them? Photograph the place again, the card "
            "left where it is."};
  }

  TogetherMeasurement& refused(TogetherMeasurement& out, const Refusal& refusal) const {
    Reading& reading = out.joint.reading;
    reading = measured_.front().look.reading;
    reading.status = Status::refused;
    reading.refusal = refusal;
    reading.set = set();
    out.outlines_px.resize(photos_.size());
    return out;
  }

  std::vector<PhotoOfSet> set() const {
    std::vector<PhotoOfSet> all;
    for (std::size_t i = 0; i < photos_.size(); ++i)
      all.push_back({measured_[i].look.reading.photo, left_out_[i]});
    return all;
  }

  void assemble(TogetherMeasurement& out) const {
    const std::vector<std::size_t> views = in_use();
    Reading& reading = out.joint.reading;
    reading = measured_[photo_of_[views.front()]].result.reading;
    reading.set = set();
    reading.refusal.reset();
    reading.dents.clear(), reading.budgets.clear();
    reading.warnings = warnings(views);
    out.outlines_px.resize(photos_.size());
    std::vector<const Relief*> maps;
    std::vector<std::optional<int>> number(dents_.size());
    for (std::size_t g = 0; g < dents_.size(); ++g) {
      if (!dents_[g]) continue;
      number[g] = static_cast<int>(reading.dents.size());
      add_dent(*dents_[g], out);
      maps.push_back(&dents_[g]->answer.map);
    }
    for (std::size_t g = 0; g < dents_.size(); ++g)
      if (const auto outer = outer_of(g); number[g] && outer)
        reading.dents[static_cast<std::size_t>(*number[g])].inside_of = number[*outer];
    reading.outlines_px = out.outlines_px[photo_of_[views.front()]];
    out.joint.relief = one_map(maps);
    tell_flattened_lines(out.joint.relief, reading);
    std::vector<PanelEnds> ends;
    for (const std::size_t v : views) ends.push_back(panel_ends(measured_[photo_of_[v]].look.field));
    tell_panel_ends(ends, reading.dents);
    reading.status = reading.dents.empty() ? Status::no_dent : Status::measured;
    if (reading.dents.empty()) reading.refusal = why_not_bare(views);
    if (reading.refusal) reading.status = Status::refused;
  }

  /// A bare panel is proven only where no photo sees anything that it cannot explain, and none has a dent.
  std::optional<Refusal> why_not_bare(const std::vector<std::size_t>& views) const {
    for (const std::size_t v : views)
      if (const auto& told = measured_[photo_of_[v]].result.reading.refusal) return told;
    if (dents_.empty()) return std::nullopt;
    return refusal(PhotoFinding::dent_not_explained);
  }

  /// The dent that another one lies in, as the photo that saw it first has it.
  std::optional<std::size_t> outer_of(std::size_t group) const {
    const Sighting& s = groups_[group].front();
    const auto& outer = found_in(s.view)[s.spot].inside_of;
    if (!outer) return std::nullopt;
    for (std::size_t g = 0; g < groups_.size(); ++g)
      for (const Sighting& other : groups_[g])
        if (other.view == s.view && other.spot == *outer) return g;
    return std::nullopt;
  }

  /// What each photo that counts was warned of, by name; how well it explains the dents is told anew.
  std::vector<Warning> warnings(const std::vector<std::size_t>& views) const {
    std::vector<Warning> all;
    for (const std::size_t v : views) {
      const Reading& single = measured_[photo_of_[v]].result.reading;
      for (const Warning& w : single.warnings)
        if (!is(w, PhotoFinding::poorly_explained) && !is(w, PhotoFinding::dense_fringes))
          all.push_back({w.code, single.photo.name + ": " + w.message});
    }
    for (std::size_t i = 0; i < photos_.size(); ++i)
      if (!left_out_[i].empty())
        all.push_back({code_of(PhotoFinding::photo_left_out),
                       measured_[i].look.reading.photo.name + " is left out. " + left_out_[i]});
    for (const auto& dent : dents_)
      if (dent && is_poorly_explained(dent->explained, dent->explained_at_start))
        all.push_back(warning(PhotoFinding::poorly_explained));
    return all;
  }

  void add_dent(const JointSpot& joint, TogetherMeasurement& out) const {
    Reading& reading = out.joint.reading;
    Dent dent = dent_of(joint.answer);
    dent.agreement = std::clamp(joint.explained, 0.0, 1.0);
    reading.dents.push_back(dent);
    reading.budgets.push_back(joint.budget);
    for (const std::size_t v : in_use()) {
      const auto part = std::find_if(joint.photos.begin(), joint.photos.end(),
                                     [&](const JointPart& p) { return p.view == v; });
      const PanelVector& parameters =
          part == joint.photos.end() ? views_[v].scene.parameters : part->parameters;
      const PanelModel<double> model(views_[v].scene.problem->constants, parameters);
      std::vector<std::pair<double, double>> outline;
      for (const PointMm& p : dent.outline) {
        const auto pixel = model.pixel_from_panel(p.x_mm, p.y_mm);
        outline.emplace_back(pixel.u_px, pixel.v_px);
      }
      out.outlines_px[photo_of_[v]].push_back(std::move(outline));
    }
  }

  std::span<const PhotoOfPlace> photos_;
  const MeasureOptions& options_;
  std::vector<std::string> left_out_;  ///< why, of each photo
  std::vector<MeasuredPhoto> measured_;
  std::vector<SetView> views_;
  std::vector<std::size_t> photo_of_;  ///< of each view
  std::vector<Sightings> groups_;
  std::vector<std::optional<JointSpot>> dents_;
  std::string why_against_;
};

}  // namespace

TogetherMeasurement measure_together(std::span<const PhotoOfPlace> photos, const MeasureOptions& options) {
  if (photos.size() < fewest_together || photos.size() > most_together)
    throw UsageError(format("%zu to %zu photos can be read together; %zu were given", fewest_together,
                            most_together, photos.size()));
  return PhotoSet(photos, options).run();
}

}  // namespace ripplegauge
