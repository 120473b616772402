// Plans made for tests, and what stands in them.
#pragma once

#include <algorithm>
#include <optional>
#include <random>
#include <stdexcept>
#include <string>
#include <vector>

#include "advice/plan.hpp"
#include "calibration.hpp"
#include "sample_readings.hpp"

namespace ripplegauge::made {

inline bool mentions(const std::string& text, const std::string& part) {
  return text.find(part) != std::string::npos;
}

inline std::string all_text(const Step& step) {
  std::string text = step.action;
  for (const std::string& point : step.points) text += "\n" + point;
  return text + "\n" + step.reason;
}

inline std::vector<Step> all_steps(const Plan& plan) {
  std::vector<Step> steps = plan.before;
  for (const DentPlan& dent : plan.dents) steps.insert(steps.end(), dent.steps.begin(), dent.steps.end());
  steps.insert(steps.end(), plan.after.begin(), plan.after.end());
  return steps;
}

inline const Step* find_step(const std::vector<Step>& steps, const std::string& code) {
  const auto found =
      std::find_if(steps.begin(), steps.end(), [&](const Step& step) { return step.code == code; });
  return found == steps.end() ? nullptr : &*found;
}

inline const Step& step(const std::vector<Step>& steps, const std::string& code) {
  const Step* found = find_step(steps, code);
  if (found == nullptr) throw std::runtime_error("no step " + code);
  return *found;
}

inline bool has_caution(const Plan& plan, const std::string& code) {
  return std::any_of(plan.cautions.begin(), plan.cautions.end(),
                     [&](const Caution& c) { return c.code == code; });
}

inline bool asks(const Plan& plan, const std::string& code) {
  return std::any_of(plan.questions.begin(), plan.questions.end(),
                     [&](const Question& q) { return q.code == code; });
}

inline Plan plan_for(const Dent& dent, const PanelFacts& facts = {},
                     const AdviceData& data = sample::with_sample_kit()) {
  return make_plan(sample::reading({dent}), facts, data);
}

/// Everything known, nothing special.
inline PanelFacts plain_steel() {
  PanelFacts facts;
  facts.material = Material::mild_steel;
  facts.thickness_mm = 0.7;
  facts.paint = Paint::original;
  facts.coating = Coating::none;
  facts.place = Place::open;
  facts.access = Access::closed;
  facts.air_c = 18;
  facts.panel_c = 18;
  return facts;
}

inline std::vector<PanelFacts> all_facts() {
  std::vector<PanelFacts> list;
  for (const auto& [material, m] : EnumWords<Material>::list)
    for (const auto& [paint, p] : EnumWords<Paint>::list)
      for (const auto& [coating, c] : EnumWords<Coating>::list)
        for (const auto& [place, l] : EnumWords<Place>::list)
          for (const std::optional<double> air_c :
               {std::optional<double>(), std::optional<double>(-3), std::optional<double>(44)}) {
            PanelFacts facts;
            facts.material = material;
            facts.paint = paint;
            facts.coating = coating;
            facts.place = place;
            facts.air_c = air_c;
            list.push_back(facts);
          }
  return list;
}

/// A shelf of random parts, some lists empty.
inline Kit random_kit(std::mt19937& random) {
  const auto number = [&](double low, double high) {
    return std::uniform_real_distribution<double>(low, high)(random);
  };
  const auto count = [&] { return static_cast<int>(number(0, 7)); };
  Kit kit;
  kit.name = "random";
  for (int i = count(); i > 0; --i) {
    const double width = number(3, 40);
    const bool round = number(0, 1) < 0.6;
    kit.tabs.push_back({"T" + std::to_string(i), round ? TabShape::round : TabShape::long_shape,
                        number(0, 1) < 0.5 ? TabMaterial::rigid : TabMaterial::soft,
                        round ? width : width * number(1.5, 4), width});
  }
  for (int i = count(); i > 0; --i)
    kit.pullers.push_back(
        {"P" + std::to_string(i), static_cast<PullerKind>(static_cast<int>(number(0, 4.99))), {}});
  for (int i = count(); i > 0; --i)
    kit.tips.push_back(
        {"K" + std::to_string(i), number(2, 30), static_cast<Hardness>(static_cast<int>(number(0, 2.99)))});
  return kit;
}

}  // namespace ripplegauge::made
