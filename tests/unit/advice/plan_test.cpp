#include "advice/plan.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <random>
#include <sstream>

#include "advice/brief.hpp"
#include "advice/cautions.hpp"
#include "catch.hpp"
#include "files/advice_file.hpp"
#include "made_plans.hpp"
#include "ripplegauge/core/errors.hpp"
#include "sheet/plan_sheet.hpp"

using namespace ripplegauge;
using namespace ripplegauge::made;

namespace {

std::vector<Dent> all_dents() {
  std::vector<Dent> dents;
  for (const double diameter_mm : {4.0, 5.5, 8.0, 14.0, 22.0, 38.0, 70.0, 140.0})
    for (const double depth_over_diameter : {0.002, 0.012, 0.04})
      for (const double ratio : {1.0, 1.9, 2.1, 4.5})
        dents.push_back(sample::low(diameter_mm, depth_over_diameter * diameter_mm, ratio));
  return dents;
}

}  // namespace

TEST_CASE("every step has a reason and a number or a named fact", "[plan]") {
  const auto data = sample::with_sample_kit();
  const auto bare = sample::without_kit();
  int steps = 0;
  for (const PanelFacts& facts : all_facts())
    for (const Dent& dent :
         {sample::low(22, 0.3), sample::low(6, 0.4), sample::high(12, 0.1), sample::low(40, 0.5, 3)})
      for (const AdviceData* one : {&data, &bare})
        for (const Step& s : all_steps(plan_for(dent, facts, *one))) {
          ++steps;
          CHECK_FALSE(s.code.empty());
          CHECK_FALSE(s.action.empty());
          CHECK_FALSE(s.reason.empty());
          REQUIRE_FALSE(s.facts.empty());
          for (const Fact& fact : s.facts) {
            CHECK_FALSE(fact.name.empty());
            CHECK_FALSE(fact.value.empty());
            CHECK_FALSE(fact.source.empty());
          }
        }
  CHECK(steps > 10000);
}

TEST_CASE("whatever the kit, every step has a reason and a fact, and a high spot is not pulled", "[plan]") {
  std::mt19937 random(13);
  AdviceData data = sample::with_sample_kit();
  int steps = 0;
  for (int trial = 0; trial < 300; ++trial) {
    data.kit = random_kit(random);
    for (const Dent& dent : all_dents()) {
      for (const Step& s : all_steps(plan_for(dent, plain_steel(), data))) {
        ++steps;
        CHECK_FALSE((s.action.empty() || s.reason.empty() || s.facts.empty()));
      }
    }
    const Plan tap = plan_for(sample::high(14, 0.12), plain_steel(), data);
    CHECK(find_step(all_steps(tap), "pull") == nullptr);
    CHECK(find_step(all_steps(tap), "tap_down") != nullptr);
  }
  CHECK(steps > 100000);
}

TEST_CASE("a tab is never larger than the dent, whatever the kit", "[plan]") {
  std::mt19937 random(11);
  AdviceData data = sample::with_sample_kit();
  int chosen = 0;
  for (int trial = 0; trial < 200; ++trial) {
    if (trial > 0) data.kit = random_kit(random);
    for (const Dent& dent : all_dents()) {
      const Plan plan = plan_for(dent, {}, data);
      if (!plan.dents.front().tab) {
        CHECK(find_step(plan.dents.front().steps, "no_tab_fits") != nullptr);
        CHECK(dent.width_mm.value < 6);
        continue;
      }
      const TabChoice& choice = *plan.dents.front().tab;
      CHECK(choice.max_width_mm < dent.width_mm.low);
      CHECK(choice.max_length_mm < dent.length_mm.low);
      CHECK(choice.in_row >= 1);
      if (!choice.tab) continue;
      ++chosen;
      CHECK(choice.tab->width_mm < dent.width_mm.low);
      CHECK(choice.tab->length_mm < dent.length_mm.low);
      if (choice.tab->shape == TabShape::round) CHECK(choice.tab->length_mm < dent.width_mm.low);
      CHECK(choice.in_row * choice.tab->length_mm < dent.length_mm.low);
    }
  }
  CHECK(chosen > 5000);
}

TEST_CASE("a larger dent never gets a smaller tab", "[plan]") {
  std::mt19937 random(12);
  AdviceData data = sample::with_sample_kit();
  for (int trial = 0; trial < 60; ++trial) {
    if (trial > 0) data.kit = random_kit(random);
    for (const double depth_mm : {0.05, 0.3, 1.0}) {
      double last_face_mm = 0, last_tab_mm2 = 0;
      for (double diameter_mm = 4; diameter_mm < 120; diameter_mm *= 1.07) {
        const auto tab = plan_for(sample::low(diameter_mm, depth_mm), {}, data).dents.front().tab;
        if (!tab) continue;  // none is so small
        const TabChoice& choice = *tab;
        CHECK(choice.max_width_mm >= last_face_mm);
        last_face_mm = choice.max_width_mm;
        if (!choice.tab || choice.tab->shape != choice.shape) continue;
        const double area_mm2 = choice.tab->length_mm * choice.tab->width_mm;
        CHECK(area_mm2 >= last_tab_mm2);
        last_tab_mm2 = area_mm2;
      }
      CHECK(last_face_mm > 80);
    }
  }
}

TEST_CASE("a larger high spot never gets a narrower tip", "[plan]") {
  double last_mm = 0;
  for (double diameter_mm = 3; diameter_mm < 60; diameter_mm *= 1.1) {
    const TipChoice tip = *plan_for(sample::high(diameter_mm, 0.1), plain_steel()).dents.front().tip;
    REQUIRE(tip.tip);
    CHECK(tip.tip->width_mm >= last_mm);
    last_mm = tip.tip->width_mm;
  }
  CHECK(last_mm == 18);
}

TEST_CASE("a high spot is tapped down, never pulled", "[plan]") {
  for (const PanelFacts& facts : all_facts()) {
    const Plan plan = plan_for(sample::high(14, 0.12), facts);
    CHECK_FALSE(plan.dents.front().tab);
    CHECK_FALSE(plan.dents.front().puller);
    for (const char* code : {"choose_tab", "glue", "pull", "warm_tabs", "prepare"})
      CHECK(find_step(all_steps(plan), code) == nullptr);
    if (facts.paint != Paint::damaged) CHECK(find_step(all_steps(plan), "tap_down") != nullptr);
  }
}

TEST_CASE("cautions are never lost", "[plan]") {
  for (const PanelFacts& facts : all_facts()) {
    const Plan pull = plan_for(sample::low(22, 0.3), facts), tap = plan_for(sample::high(12, 0.1), facts);
    for (const Plan* plan : {&pull, &tap}) CHECK(has_caution(*plan, "maker_and_law"));
    if (facts.paint == Paint::damaged) {
      CHECK(has_caution(pull, "broken_paint"));
      continue;
    }
    for (const char* code : {"hot_glue", "flame", "warm_panel", "isopropyl_alcohol", "heat_near_parts",
                             "eyes_and_ears", "shocks"})
      CHECK(has_caution(pull, code));
    CHECK(has_caution(pull, "cutting") == (facts.coating != Coating::none));
    CHECK(has_caution(tap, "eyes_and_ears"));
    CHECK(has_caution(tap, "shocks"));
    CHECK(pull.cautions.front().code == "eyes_and_ears");
    CHECK_FALSE(has_caution(tap, "hot_glue"));
  }
}

TEST_CASE("cautions are in the text and in the JSON, word for word", "[plan]") {
  const auto one_line = [](std::string text) {  // as before it was broken into lines
    std::string result;
    for (const char c : text)
      if (c != '\n' && (c != ' ' || result.empty() || result.back() != ' '))
        result += c;
      else if (result.empty() || result.back() != ' ')
        result += ' ';
    return result;
  };
  int cautions = 0;
  for (const PanelFacts& facts : all_facts())
    for (const Dent& dent : {sample::low(22, 0.3), sample::high(12, 0.1)}) {
      const Plan plan = plan_for(dent, facts);
      const std::string text = one_line(plan_to_text(plan, true)), json = plans_to_json({plan});
      for (const Caution& caution : plan.cautions) {
        ++cautions;
        CHECK(mentions(text, caution.text));
        CHECK(text.find(caution.text) == text.rfind(caution.text));  // once
        CHECK(mentions(json, caution.text));
      }
    }
  CHECK(cautions > 2000);
}

TEST_CASE("cautions carry the published numbers", "[plan]") {
  const auto text_of = [](const char* code) {
    for (const Caution& caution : cautions_for({true, true, true, 195, 50}, {}))
      if (caution.code == code) return caution.text;
    return std::string();
  };
  // NIOSH Pocket Guide 0359: flash point 53 °F, REL 400 ppm
  CHECK(mentions(text_of("isopropyl_alcohol"), "11.7 °C"));
  CHECK((53 - 32) / 1.8 == Approx(11.7).margin(0.05));
  CHECK(mentions(text_of("isopropyl_alcohol"), "400 ppm"));
  CHECK(mentions(text_of("isopropyl_alcohol"), "2 % of it or more explodes"));  // LEL 2.0 %
  // NIOSH: 85 dBA for 8 h, 3 dB exchange rate, so 100 dBA for 15 min
  CHECK(mentions(text_of("eyes_and_ears"), "100 dB(A): 15 minutes"));
  for (const auto& [dba, minutes] : {std::pair(85, 480), {88, 240}, {91, 120}, {94, 60}, {97, 30}, {100, 15}})
    CHECK(8 * 60 / std::pow(2, (dba - 85) / 3) == Approx(minutes));
  // a county fire procedure: 350 °F
  CHECK(mentions(text_of("heat_near_parts"), "177 °C"));
  CHECK(mentions(text_of("hot_glue"), "195 °C"));
}

TEST_CASE("burn times are never stated too long", "[plan]") {
  // attributed to the Shriners Burn Institute: 49 °C > 5 min, 60 °C < 5 s, 68 °C about 1 s
  CHECK(burns_after(30).empty());
  CHECK(burns_after(49) == "five minutes");
  CHECK(burns_after(50) == "a minute and a half");
  CHECK(burns_after(52) == "a minute and a half");
  CHECK(burns_after(55) == "half a minute");
  CHECK(burns_after(57) == "ten seconds");
  CHECK(burns_after(60) == "five seconds");
  CHECK(burns_after(66) == "1.5 seconds");
  CHECK(burns_after(68) == "one second");
  CHECK(burns_after(90) == "less than one second");
}

TEST_CASE("an empty kit still gives a useful answer", "[plan]") {
  const Plan plan = plan_for(sample::low(22.4, 0.31), plain_steel(), sample::without_kit());
  const DentPlan& dent = plan.dents.front();
  CHECK_FALSE(dent.tab->tab);
  CHECK(mentions(step(dent.steps, "choose_tab").action, "round, soft, face at most 18.7 mm"));
  CHECK(mentions(step(dent.steps, "pull").action, "wide lifter"));
  // common practice, no published source: gun near 195 °C, panel about 50 °C, pull below about 40 °C
  const std::string glue = all_text(step(dent.steps, "glue"));
  CHECK(mentions(glue, "195 °C"));
  CHECK(mentions(glue, "50 °C"));
  CHECK(mentions(glue, "–40 °C"));
  CHECK(mentions(plan_to_text(plan, true), "none given"));
}

TEST_CASE("long tabs for creases, along them, several in a row for long ones", "[plan]") {
  const Plan round = plan_for(sample::low(22, 0.3)), crease = plan_for(sample::low(40, 0.5, 3));
  CHECK(round.dents.front().tab->tab->shape == TabShape::round);
  CHECK(crease.dents.front().tab->tab->shape == TabShape::long_shape);
  CHECK(mentions(all_text(step(crease.dents.front().steps, "choose_tab")), "along the crease, 30°"));
  const Plan longer = plan_for(sample::low(60, 0.5, 4.5));
  CHECK(longer.dents.front().tab->in_row > 1);
  CHECK(mentions(all_text(step(longer.dents.front().steps, "choose_tab")), "in a row along the crease"));

  // without a long one, small round ones in a row, and what is missing is said
  AdviceData data = sample::with_sample_kit();
  std::erase_if(data.kit.tabs, [](const Tab& tab) { return tab.shape == TabShape::long_shape; });
  const TabChoice choice = *plan_for(sample::low(40, 0.5, 3), {}, data).dents.front().tab;
  CHECK(choice.tab->shape == TabShape::round);
  CHECK(choice.in_row > 1);
  CHECK(mentions(choice.missing, "long"));
}

TEST_CASE("a length over width that crosses the limit offers both shapes", "[plan]") {
  const Plan plan = plan_for(sample::low(30, 0.3, 1.98));
  CHECK(plan.dents.front().tab->shape == TabShape::round);
  REQUIRE_FALSE(plan.dents.front().tab->alternatives.empty());
  CHECK(mentions(plan.dents.front().tab->alternatives.front(), "long tab"));
}

TEST_CASE("a lifter's feet stand on level metal outside of the dent", "[plan]") {
  AdviceData data = sample::with_sample_kit();
  const auto chosen = [&](double diameter_mm, Place place = Place::open) {
    PanelFacts facts = plain_steel();
    facts.place = place;
    return *plan_for(sample::low(diameter_mm, 0.2), facts, data).dents.front().puller;
  };
  data.kit.pullers = {{"W", PullerKind::wide_lifter, 120},
                      {"N", PullerKind::wide_lifter, 50},
                      {"T", PullerKind::wide_lifter, 20},
                      {"H", PullerKind::light_slide_hammer, {}}};
  CHECK(chosen(30).puller->name == "N");
  // 32 mm between the feet does not clear a dent of 30 mm by 4 mm on either side
  data.kit.pullers[1].free_width_mm = 32;
  CHECK(chosen(30).puller->name == "W");
  data.kit.pullers.erase(data.kit.pullers.begin(), data.kit.pullers.begin() + 1);
  CHECK(chosen(30).puller->name == "H");
  CHECK(mentions(chosen(30).missing, "39 mm between the feet"));
  CHECK_FALSE(mentions(chosen(30).reason, "lift with the feet"));  // not the reason of what was not chosen
  // near an edge the outer foot would stand beside the panel
  data.kit.pullers.push_back({"W", PullerKind::wide_lifter, 120});
  CHECK(chosen(30).puller->name == "W");
  CHECK(chosen(30, Place::edge).puller->name == "H");
  data.kit.pullers.erase(data.kit.pullers.begin() + 2);
  CHECK_FALSE(chosen(30, Place::edge).puller);
}

TEST_CASE("a spot that no face fits gets no tab, and says what instead", "[plan]") {
  const Plan plan = plan_for(sample::low(4, 0.1), plain_steel());
  CHECK_FALSE(plan.dents.front().tab);
  CHECK_FALSE(plan.glue);
  const std::string text = all_text(step(plan.dents.front().steps, "no_tab_fits"));
  CHECK(mentions(text, "3.7 mm wide at most"));
  CHECK(mentions(text, "from behind"));
  CHECK(find_step(plan.dents.front().steps, "glue") == nullptr);
}

TEST_CASE("no glue is used outside of its air", "[plan]") {
  PanelFacts frost = plain_steel(), heat = plain_steel();
  frost.air_c = 2;
  frost.panel_c = 2;
  heat.air_c = 42;
  const Plan cold = plan_for(sample::low(22, 0.3), frost), hot = plan_for(sample::low(22, 0.3), heat);
  CHECK(cold.glue->glue.name == "Amber stick");
  CHECK(mentions(cold.glue->not_now, "warm the bay and the panel"));
  CHECK(mentions(plan_to_text(cold), "Not yet"));
  CHECK(hot.glue->glue.name == "Hard stick");
  CHECK(mentions(hot.glue->not_now, "cool the panel"));
  CHECK(plan_for(sample::low(22, 0.3), plain_steel()).glue->not_now.empty());
  // brittle paint and damp metal
  CHECK(mentions(all_text(step(cold.before, "cold_paint")), "damp"));
  CHECK(find_step(hot.before, "cold_paint") == nullptr);
}

TEST_CASE("cold glue needs neither gun nor warm panel, and has no cautions of heat", "[plan]") {
  AdviceData data = sample::with_sample_kit();
  std::erase_if(data.kit.glues, [](const Glue& glue) { return !glue.cold; });
  const Plan plan = plan_for(sample::low(22, 0.3), plain_steel(), data);
  const std::string glue = all_text(step(plan.dents.front().steps, "glue"));
  CHECK(mentions(glue, "press the tab on for 20 s"));
  CHECK_FALSE(mentions(glue, "gun at"));
  CHECK_FALSE(plan.dents.front().wait_s);
  CHECK(find_step(plan.before, "warm_tabs") == nullptr);
  for (const char* code : {"hot_glue", "flame", "warm_panel"}) CHECK_FALSE(has_caution(plan, code));
  for (const char* code : {"isopropyl_alcohol", "flying_parts", "eyes_and_ears"})
    CHECK(has_caution(plan, code));
}

TEST_CASE("repainted paint: a trial pull, less glue, smaller steps", "[plan]") {
  PanelFacts facts = plain_steel();
  facts.paint = Paint::repainted;
  const Plan plan = plan_for(sample::low(22, 0.3), facts);
  CHECK(mentions(all_text(step(plan.before, "trial_pull")), "where it does not show"));
  CHECK(mentions(all_text(step(plan.dents.front().steps, "glue")), "half the glue"));
  CHECK(mentions(all_text(step(plan.dents.front().steps, "pull")), "smaller steps"));
  CHECK(find_step(plan_for(sample::low(22, 0.3), plain_steel()).before, "trial_pull") == nullptr);
}

TEST_CASE("a rim round a low is eased while the tab pulls, a crease is begun at its ends", "[plan]") {
  Dent rimmed = sample::low(22, 0.3);
  for (int i = -20; i <= 20; ++i)
    rimmed.section.push_back({static_cast<double>(i), std::abs(i) < 12 ? -0.3 : std::abs(i) < 16 ? 0.05 : 0});
  const auto pull_text = [](const Dent& dent) {
    return all_text(step(plan_for(dent, plain_steel()).dents.front().steps, "pull"));
  };
  CHECK(mentions(pull_text(rimmed), "0.05 mm proud"));
  CHECK_FALSE(mentions(pull_text(sample::low(22, 0.3)), "proud"));
  CHECK(mentions(pull_text(sample::low(40, 0.5, 3)), "ends first"));
}

TEST_CASE("the plan in about ten lines", "[plan]") {
  const auto lines = [](const Plan& plan) {
    const std::string text = plan_to_text(plan);
    return std::count(text.begin(), text.end(), '\n');
  };
  CHECK(lines(plan_for(sample::low(22.4, 0.31), plain_steel())) <= 11);
  // a line each, and what holds for all
  std::vector<Dent> hail(5, sample::low(14, 0.2));
  for (std::size_t i = 0; i < hail.size(); ++i) hail[i].x_mm += 60.0 * static_cast<double>(i);
  CHECK(lines(make_plan(sample::reading(hail), plain_steel(), sample::with_sample_kit())) <= 16);
  const std::string text = plan_to_text(plan_for(sample::low(22.4, 0.31), plain_steel()));
  for (const char* part : {"Glue on", "Tab", "Tool", "Pull", "Look for", "Stop", "Caution", "eye protection"})
    CHECK(mentions(text, part));
}

TEST_CASE("the short plan names no part that the kit lacks as if it were there", "[plan]") {
  AdviceData data = sample::with_sample_kit();
  data.kit.pullers = {{"Finger lifter", PullerKind::narrow_lifter, 26}};
  const std::string text =
      plan_to_text(make_plan(sample::reading({sample::low(27, 0.4)}), plain_steel(), data));
  CHECK(mentions(text, "no puller of the kit suits: get a wide lifter"));
}

TEST_CASE("what the kit lacks is named, and what does instead", "[plan]") {
  AdviceData data = sample::with_sample_kit();
  data.kit.pullers = {{"Big one", PullerKind::wide_lifter, 75}};
  const PullerChoice choice = *plan_for(sample::low(12, 0.1), plain_steel(), data).dents.front().puller;
  REQUIRE(choice.puller);
  CHECK(choice.puller->name == "Big one");
  CHECK(mentions(choice.missing, "light slide hammer"));
  data.kit.tabs = {{"Huge", TabShape::round, TabMaterial::soft, 60, 60}};
  const TabChoice tab = *plan_for(sample::low(12, 0.1), plain_steel(), data).dents.front().tab;
  CHECK_FALSE(tab.tab);
  CHECK(mentions(tab.missing, "face up to 10"));
}

TEST_CASE("pull temperatures come from the kit's glue", "[plan]") {
  const auto pull_below_c = [](double air_c) {
    PanelFacts facts = plain_steel();
    facts.air_c = air_c;
    return plan_for(sample::low(45, 0.3), facts).dents.front().pull_at->high_c;
  };
  CHECK(pull_below_c(18) == 37);
  CHECK(pull_below_c(2) == 37);
  CHECK(pull_below_c(35) == 47);
}

TEST_CASE("weather changes the time", "[plan]") {
  const auto wait = [](double air_c) {
    PanelFacts facts = plain_steel();
    facts.air_c = air_c;
    return plan_for(sample::low(45, 0.3), facts, sample::without_kit()).dents.front().wait_s;
  };
  REQUIRE(wait(0));
  REQUIRE(wait(30));
  CHECK(wait(0)->value < wait(30)->value);
  CHECK_FALSE(wait(43));
  PanelFacts hot = plain_steel();
  hot.air_c = 43;
  const Plan plan = plan_for(sample::low(45, 0.3), hot, sample::without_kit());
  CHECK(mentions(all_text(step(plan.dents.front().steps, "glue")), "too warm"));
  CHECK_FALSE(step(plan.dents.front().steps, "glue").missing.empty());
}

TEST_CASE("a low in a high: the ring comes down first", "[plan]") {
  Dent ring = sample::high(40, 0.12), inner = sample::low(10, 0.06), other = sample::low(60, 0.4);
  inner.inside_of = 0;
  other.x_mm = 300;
  const Plan plan =
      make_plan(sample::reading({ring, inner, other}), plain_steel(), sample::with_sample_kit());
  REQUIRE(plan.dents.size() == 3);
  CHECK(plan.dents[0].number == 1);
  CHECK(plan.dents[1].number == 2);
  CHECK(plan.dents[2].number == 3);
  const Step& level = step(plan.dents[0].steps, "level_ring");
  CHECK(mentions(all_text(level), "round the low, not in it"));
  CHECK(plan.dents[0].tip->width_mm == Approx(15));  // half of 40 - 10
  CHECK(find_step(plan.dents[1].steps, "pull") != nullptr);

  // the same, told in the other order
  inner.inside_of = 1;
  const Plan swapped = make_plan(sample::reading({inner, ring}), plain_steel(), sample::with_sample_kit());
  CHECK(swapped.dents[0].number == 2);
}

TEST_CASE("order of work", "[plan]") {
  std::vector<Dent> dents{sample::low(10, 0.1), sample::high(15, 0.1), sample::low(40, 0.3),
                          sample::low(20, 0.2)};
  for (std::size_t i = 0; i < dents.size(); ++i) dents[i].x_mm = 100.0 * static_cast<double>(i);
  dents[3].bend_radius_mm = Quantity{3, 2.8, 3.2};  // beyond pulling
  const Plan plan = make_plan(sample::reading(dents), plain_steel(), sample::with_sample_kit());
  std::vector<std::size_t> order;
  for (const DentPlan& dent : plan.dents) {
    order.push_back(dent.number);
    CHECK_FALSE(dent.order_reason.empty());
  }
  CHECK(order == std::vector<std::size_t>{3, 1, 2, 4});
  CHECK(find_step(plan.dents.back().steps, "beyond_pulling") != nullptr);
}

TEST_CASE("nests that point nowhere or at each other do no harm", "[plan]") {
  Dent a = sample::low(20, 0.2), b = sample::high(20, 0.2);
  a.inside_of = 1;
  b.inside_of = 0;
  CHECK(make_plan(sample::reading({a, b}), {}, sample::with_sample_kit()).dents.size() == 2);
  a.inside_of = 7;
  b.inside_of = -3;
  CHECK(make_plan(sample::reading({a, b}), {}, sample::with_sample_kit()).dents.size() == 2);
}

TEST_CASE("numbers that are unknown or absurd never crash a plan", "[plan]") {
  const double odd[] = {std::nan(""), 0, -1, 1e300, std::numeric_limits<double>::infinity()};
  int plans = 0;
  for (const double a : odd)
    for (const double b : odd)
      for (const double c : odd) {
        Dent dent = sample::low(20, 0.2);
        dent.diameter_mm = {a, b, c};
        dent.width_mm = {b, c, a};
        dent.length_mm = {c, a, b};
        dent.depth_mm = Quantity{a, c, b};
        dent.x_mm = c;
        dent.angle_deg = a;
        if (a > 0) dent.bend_radius_mm = Quantity{b, b, b};
        if (b > 0) dent.stretch = c;
        Dent raised = dent;
        raised.kind = Kind::high;
        const Reading reading = sample::reading({dent, raised, sample::low(30, 0.2)});
        const Plan plan = make_plan(reading, plain_steel(), sample::with_sample_kit());
        CHECK(plan.dents.size() == 3);
        CHECK_FALSE(plan_to_text(plan).empty());
        CHECK_FALSE(plans_to_json({plan}).empty());
        CHECK(plan_sheet_pdf(plan, Paper::a4).starts_with("%PDF"));
        CHECK_FALSE(next_step(reading, reading, {}, sample::with_sample_kit()).spots.empty());
        ++plans;
      }
  CHECK(plans == 125);
}

TEST_CASE("feet are kept off the neighbour", "[plan]") {
  Dent a = sample::low(20, 0.2), b = sample::low(12, 0.1);
  b.x_mm = a.x_mm + 26;
  const auto pull_of = [&](const AdviceData& data) {
    const Plan plan = make_plan(sample::reading({a, b}), plain_steel(), data);
    return plan.dents.front();
  };
  const auto says = [](const DentPlan& plan) {
    return mentions(all_text(step(plan.steps, "pull")), "keep the feet off spot 2");
  };
  CHECK(says(pull_of(sample::without_kit())));  // a lifter of any width
  // The kit's bridge lifter stands 37 mm off, beyond that spot and before one farther away.
  REQUIRE(pull_of(sample::with_sample_kit()).puller->puller->name == "Bridge lifter");
  CHECK_FALSE(says(pull_of(sample::with_sample_kit())));
  b.x_mm = a.x_mm + 50;
  CHECK(says(pull_of(sample::with_sample_kit())));
  b.x_mm = a.x_mm + 26;
  a = sample::low(15, 0.15);
  REQUIRE(pull_of(sample::with_sample_kit()).puller->kind == PullerKind::light_slide_hammer);
  CHECK_FALSE(says(pull_of(sample::with_sample_kit())));  // a hammer has no feet
}

TEST_CASE("broken paint is neither pulled nor tapped", "[plan]") {
  PanelFacts facts = plain_steel();
  facts.paint = Paint::damaged;
  for (const Dent& dent : {sample::low(22, 0.3), sample::high(12, 0.1)}) {
    const Plan plan = plan_for(dent, facts);
    CHECK_FALSE(plan.dents.front().tab);
    CHECK_FALSE(plan.dents.front().tip);
    CHECK(find_step(plan.dents.front().steps, "beyond_pulling") != nullptr);
  }
}

TEST_CASE("what is missing and matters is asked for", "[plan]") {
  const Plan ignorant = plan_for(sample::low(22, 0.3));
  for (const char* code : {"material", "paint", "coating", "place", "access", "air", "panel"})
    CHECK(asks(ignorant, code));
  CHECK(plan_for(sample::low(22, 0.3), plain_steel()).questions.empty());
  Dent flat = sample::low(22, 0.3);
  flat.depth_mm.reset();
  CHECK(asks(plan_for(flat, plain_steel()), "depth"));
  CHECK_FALSE(asks(plan_for(sample::high(12, 0.1)), "coating"));
}

TEST_CASE("an unknown depth still gives a plan", "[plan]") {
  Dent dent = sample::low(22, 0.3);
  dent.depth_mm.reset();
  const Plan plan = plan_for(dent, plain_steel());
  CHECK(plan.dents.front().tab->tab);
  CHECK(mentions(plan_to_text(plan), "depth not known"));
}

TEST_CASE("a refused photo and a panel without dents", "[plan]") {
  Reading refused;
  refused.photo.name = "dark.jpg";
  refused.refusal = Refusal{"card_not_found", "No card was found", "Put the card flat beside the dent."};
  const Plan none = make_plan(refused, {}, sample::with_sample_kit());
  CHECK(none.dents.empty());
  CHECK(mentions(none.nothing_to_do, "No card was found"));
  CHECK(mentions(none.nothing_to_do, "Put the card flat"));
  const Plan clean = make_plan(sample::reading({}), {}, sample::with_sample_kit());
  CHECK(mentions(clean.nothing_to_do, "No dent"));
  CHECK(all_steps(clean).empty());
}

TEST_CASE("the plan's text keeps to its width", "[plan]") {
  const auto characters = [](const std::string& line) {
    return std::count_if(line.begin(), line.end(),
                         [](char c) { return (static_cast<unsigned char>(c) & 0xC0) != 0x80; });
  };
  for (const Dent& dent : {sample::low(22.4, 0.31), sample::low(40, 0.5, 3), sample::high(12, 0.1)}) {
    std::istringstream text(plan_to_text(plan_for(dent, plain_steel()), true, 80));
    int lines = 0;
    for (std::string line; std::getline(text, line); ++lines) CHECK(characters(line) <= 80);
    CHECK(lines > 20);
  }
}

TEST_CASE("plans as JSON", "[plan]") {
  const Plan plan = plan_for(sample::low(22.4, 0.31), plain_steel());
  const std::string json = plans_to_json({plan});
  for (const char* part : {"\"schema\": 1", "\"spots\"", "\"choose_tab\"", "\"severity\"", "\"cautions\"",
                           "\"pull_at_c\"", "\"wait_s\"", "\"max_width_mm\""})
    CHECK(mentions(json, part));
  CHECK(plans_to_json({plan}) == json);
  CHECK(plans_to_json({plan, plan}).front() == '[');
  Dent odd = sample::low(22.4, 0.31);
  odd.depth_mm = Quantity{};
  CHECK_NOTHROW(plans_to_json({plan_for(odd)}));
}

TEST_CASE("a flattened body line stands in the plan with its length and what it lost", "[plan]") {
  Dent dent = sample::low(20, 0.2);
  dent.flattened_line = FlattenedLine{{32, 30, 34}, {0.18, 0.15, 0.21}};
  Reading reading;
  reading.status = Status::measured;
  reading.dents = {dent};
  PanelFacts facts = plain_steel();
  facts.place = Place::body_line;
  const Plan plan = make_plan(reading, facts, sample::with_sample_kit());
  const std::string flattened = "flattened over 32 mm, 0.18 mm low";
  CHECK(mentions(all_text(step(plan.dents.front().steps, "pull")), flattened));
  const std::vector<BriefLine> brief = brief_plan(plan);
  const auto line =
      std::find_if(brief.begin(), brief.end(), [](const BriefLine& l) { return l.label == "Body line"; });
  REQUIRE(line != brief.end());
  CHECK(mentions(line->text, flattened));
}

TEST_CASE("where the photo shows that a lifter has no metal to stand on, the plan takes a hammer", "[plan]") {
  Reading reading;
  reading.status = Status::measured;
  reading.dents = {sample::low(20, 0.2)};
  PanelFacts facts = plain_steel();
  facts.place = Place::unknown;
  const auto plan_with_end = [&](double from_middle_mm) {
    reading.dents[0].panel_end_mm = {from_middle_mm, from_middle_mm - 3, from_middle_mm + 3};
    return make_plan(reading, facts, sample::with_sample_kit());
  };
  const auto asked = [](const Plan& plan) {
    return std::any_of(plan.questions.begin(), plan.questions.end(),
                       [](const Question& q) { return q.code == "place"; });
  };
  const Plan near = plan_with_end(25), far = plan_with_end(90);
  CHECK(near.dents.front().place == Place::edge);
  CHECK_FALSE(asked(near));
  CHECK(mentions(all_text(step(near.dents.front().steps, "pull")), "slide hammer"));
  CHECK(far.dents.front().place == Place::unknown);
  CHECK(asked(far));
  facts.place = Place::open;  // who stands at the car knows better
  CHECK(plan_with_end(25).dents.front().place == Place::open);
  CHECK(mentions(all_text(step(plan_with_end(25).dents.front().steps, "pull")), "no foot on that side"));
}

TEST_CASE("a body line that the photo shows needs no word of the person", "[plan]") {
  Reading reading;
  reading.status = Status::measured;
  reading.dents = {sample::low(20, 0.2)};
  const double x_mm = reading.dents[0].x_mm, y_mm = reading.dents[0].y_mm;
  BodyLine line;
  line.angle_deg = 30;
  line.turn_deg = {4, 3.8, 4.2};
  line.width_mm = {6, 5, 7};
  const double normal_rad = 120 * std::numbers::pi / 180;
  const AdviceData data = sample::with_sample_kit();
  PanelFacts facts = plain_steel();
  facts.place = Place::unknown;
  const auto said = [&](double off_mm) {
    line.x_mm = x_mm + off_mm * std::cos(normal_rad);
    line.y_mm = y_mm + off_mm * std::sin(normal_rad);
    reading.setup.body_line = line;
    const Plan plan = make_plan(reading, facts, data);
    const bool asked = std::any_of(plan.questions.begin(), plan.questions.end(),
                                   [](const Question& q) { return q.code == "place"; });
    const bool line_first = mentions(all_text(step(plan.dents.front().steps, "pull")), "line first");
    CHECK(asked != line_first);
    const std::vector<BriefLine> brief = brief_plan(plan);
    const bool told =
        std::any_of(brief.begin(), brief.end(), [](const BriefLine& l) { return l.label == "Body line"; });
    CHECK(told == line_first);
    return line_first;
  };
  CHECK(said(0));
  CHECK(said(14));
  CHECK_FALSE(said(30));
  reading.setup.second_body_line = reading.setup.body_line;
  reading.setup.second_body_line->x_mm = x_mm;
  reading.setup.second_body_line->y_mm = y_mm;
  CHECK(said(30));
  reading.setup.second_body_line.reset();
  facts.place = Place::open;  // the person's word counts for more
  reading.setup.body_line->x_mm = x_mm;
  reading.setup.body_line->y_mm = y_mm;
  CHECK_FALSE(
      mentions(all_text(step(make_plan(reading, facts, data).dents.front().steps, "pull")), "line first"));
}

TEST_CASE("a panel that the sun made hotter than the glue wants it is let cool, on the short plan, too",
          "[plan]") {
  PanelFacts facts = plain_steel();
  facts.air_c = 33;
  facts.panel_c = 62;
  const Plan plan = make_plan(sample::reading({sample::low(22, 0.3)}), facts, sample::with_sample_kit());
  for (const bool full : {false, true}) {
    const std::string text = plan_to_text(plan, full);
    CHECK(mentions(text, "panel let cool from 62 to 55"));
    CHECK_FALSE(mentions(text, "panel warmed"));
  }
}
