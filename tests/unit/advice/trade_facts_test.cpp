// What the trade knows, held against the plans that the shipped rules make. All of it is common practice, no
// published source.
#include "advice/next.hpp"
#include "catch.hpp"
#include "made_plans.hpp"

using namespace ripplegauge;
using namespace ripplegauge::made;
using sample::high;
using sample::low;

namespace {

const AdviceRules& rules() {
  static const AdviceData data = sample::without_kit();
  return data.rules;
}

DentPlan spot_plan(const Dent& dent, const PanelFacts& facts = plain_steel(),
                   const AdviceData& data = sample::with_sample_kit()) {
  return plan_for(dent, facts, data).dents.front();
}

std::string words_of(const DentPlan& plan, const std::string& code) {
  return all_text(step(plan.steps, code));
}

PanelFacts steel_with(Coating coating) {
  PanelFacts facts = plain_steel();
  facts.coating = coating;
  return facts;
}

}  // namespace

TEST_CASE("check first", "[trade]") {
  const std::string check = all_text(step(plan_for(low(22, 0.3)).before, "check_first"));
  for (const char* what : {"metal", "magnet", "paint", "coating", "earlier repair or filler",
                           "lamp and board", "glue gun at", "panel temperature"})
    CHECK(mentions(check, what));
}

TEST_CASE("repainted or unknown paint can lift, and that is said before any pull", "[trade]") {
  for (const Paint paint : {Paint::unknown, Paint::repainted}) {
    PanelFacts facts = plain_steel();
    facts.paint = paint;
    const Plan plan = plan_for(low(22, 0.3), facts);
    CHECK(mentions(all_text(step(plan.before, "check_first")), "can lift"));
    CHECK(mentions(all_text(step(plan.before, "tell_customer")), "can lift with the tab"));
    CHECK(find_step(plan.before, "pull") == nullptr);
  }
}

TEST_CASE("coatings are cut where the tab stands, wiped, and renewed", "[trade]") {
  for (const Coating coating : {Coating::ceramic, Coating::wax_or_sealant}) {
    const Plan plan = plan_for(low(22, 0.3), steel_with(coating));
    const std::string prepare = all_text(step(plan.before, "prepare"));
    for (const char* what : {"fine cutting compound where the tab will stand, until a drop of water spreads",
                             "isopropyl alcohol and fresh cloths until the cloth stays clean",
                             "if a first pull lets go: do this step again"})
      CHECK(mentions(prepare, what));
    CHECK(mentions(all_text(step(plan.before, "tell_customer")), "has to be renewed"));
  }
}

TEST_CASE("the face is smaller than the dent's lower bound", "[trade]") {
  const Dent dent = low(22, 0.3);
  const TabChoice tab = *spot_plan(dent).tab;
  CHECK(tab.max_width_mm < dent.diameter_mm.low);
  CHECK(mentions(words_of(spot_plan(dent), "choose_tab"), "the damaged edge is in sight all round it"));
}

TEST_CASE("round for round, long and along it for a crease from about twice as long as wide", "[trade]") {
  CHECK(rules().long_from_ratio.value == 2);
  CHECK(spot_plan(low(30, 0.3, 1.9)).tab->shape == TabShape::round);
  CHECK(spot_plan(low(30, 0.3, 2.1)).tab->shape == TabShape::long_shape);
  CHECK(mentions(words_of(spot_plan(low(30, 0.3, 2.1)), "choose_tab"), "along the crease"));
  CHECK(spot_plan(low(80, 0.3, 4)).tab->in_row > 1);
}

TEST_CASE("a rigid tab for small sharp dents: it does not bend, cools quickly, snaps", "[trade]") {
  const DentPlan plan = spot_plan(low(9, 0.15));
  REQUIRE(plan.tab->tab->material == TabMaterial::rigid);
  CHECK(mentions(words_of(plan, "choose_tab"), "does not bend"));
  CHECK(mentions(words_of(plan, "glue"), "a rigid tab cools quickly"));
  CHECK(mentions(words_of(plan, "pull"), "square to the panel"));
  CHECK(mentions(words_of(plan, "pull"), "a rigid tab snaps when pulled askew"));
}

TEST_CASE("small sharp dents down to 5 to 6 mm: the smallest faces, where preparation decides", "[trade]") {
  CHECK(rules().smallest_face_mm.value == 5);
  const DentPlan plan = spot_plan(low(5.8, 0.1));
  REQUIRE(plan.tab->tab);
  CHECK(plan.tab->tab->width_mm == 5);
  CHECK(plan.tab->tab->material == TabMaterial::rigid);
  CHECK(mentions(words_of(plan, "choose_tab"), "the preparation decides"));
  CHECK_FALSE(spot_plan(low(15, 0.1)).tab->preparation_decides);
}

TEST_CASE("softer tabs for wide shallow dents; a crease counts by its width", "[trade]") {
  const auto material_for = [](const Dent& dent) { return spot_plan(dent).tab->material; };
  CHECK(material_for(low(45, 0.2)) == TabMaterial::soft);
  CHECK(material_for(low(9, 0.15)) == TabMaterial::rigid);
  CHECK(material_for(low(22, 0.1, 5)) == TabMaterial::rigid);  // 9.8 mm wide
}

TEST_CASE("tabs are warmed; little glue on little tabs, and not all squeezed out", "[trade]") {
  const Plan small = plan_for(low(9, 0.15), plain_steel()), large = plan_for(low(45, 0.3), plain_steel());
  const std::string warm = all_text(step(small.before, "warm_tabs"));
  for (const char* what : {"flame or heat gun", "mould release", "slows the cooling"})
    CHECK(mentions(warm, what));
  CHECK(mentions(words_of(small.dents.front(), "glue"), "little tab, little glue"));
  for (const Plan* plan : {&small, &large})
    CHECK(mentions(words_of(plan->dents.front(), "glue"), "do not squeeze it all out"));
}

TEST_CASE("pullers", "[trade]") {
  const auto kind_for = [](const Dent& dent, Place place, Material material = Material::mild_steel) {
    PanelFacts facts = plain_steel();
    facts.place = place;
    facts.material = material;
    return *spot_plan(dent, facts).puller;
  };
  const PullerChoice small = kind_for(low(12, 0.1), Place::open),
                     line = kind_for(low(12, 0.1), Place::body_line),
                     stiff = kind_for(low(12, 0.1), Place::open, Material::high_strength_steel),
                     wide = kind_for(low(35, 0.2), Place::open), large = kind_for(low(90, 0.5), Place::open);
  CHECK(small.kind == PullerKind::light_slide_hammer);
  CHECK(mentions(small.reason, "without overpowering"));
  for (const PullerChoice* choice : {&line, &stiff}) CHECK(choice->kind == PullerKind::narrow_lifter);
  CHECK(mentions(line.reason, "narrow feet close to the tab"));
  CHECK(mentions(line.reason, "held down"));
  CHECK(wide.kind == PullerKind::wide_lifter);
  CHECK(large.kind == PullerKind::heavy_slide_hammer);
  const PullerChoice bare = *spot_plan(low(90, 0.5), plain_steel(), sample::without_kit()).puller;
  REQUIRE_FALSE(bare.alternatives.empty());
  CHECK(mentions(bare.alternatives.front(), "tension from the side"));
}

TEST_CASE("small tabs work only where the surrounding metal is level", "[trade]") {
  CHECK(mentions(words_of(spot_plan(low(9, 0.15)), "choose_tab"),
                 "only where the metal round the dent is level"));
}

TEST_CASE("temperatures of a common glue", "[trade]") {
  const Glue& glue = rules().common_glue;
  CHECK(glue.gun_c == 195);
  CHECK(glue.warm_panel_c == 50);
  CHECK(glue.pull.high_c == 40);
}

TEST_CASE("weather, aluminium and thin tabs change the time, not the principle", "[trade]") {
  const AdviceData bare = sample::without_kit();
  PanelFacts cold = plain_steel(), hot = plain_steel(), aluminium = plain_steel();
  cold.air_c = 11;
  hot.air_c = 34;
  aluminium.material = Material::aluminium;
  const DentPlan plain = spot_plan(low(45, 0.3), plain_steel(), bare);
  for (const PanelFacts& facts : {cold, hot, aluminium}) {
    const DentPlan plan = spot_plan(low(45, 0.3), facts, bare);
    CHECK(plan.wait_s->value != plain.wait_s->value);
    CHECK(plan.pull_at->high_c == plain.pull_at->high_c);
    CHECK(plan.steps.size() == plain.steps.size());
  }
  CHECK(mentions(words_of(plain, "glue"), "thin tab"));
  CHECK(mentions(words_of(spot_plan(low(45, 0.3), aluminium, bare), "glue"),
                 "aluminium carries the heat away"));
}

TEST_CASE("a small low in a high: the ring is levelled before the low is pulled", "[trade]") {
  Dent ring = high(40, 0.12), inner = low(10, 0.06);
  inner.inside_of = 0;
  const Plan plan = make_plan(sample::reading({ring, inner}), plain_steel(), sample::with_sample_kit());
  REQUIRE(plan.dents.size() == 2);
  CHECK(mentions(words_of(plan.dents[0], "level_ring"), "the main part came up"));
  CHECK(find_step(plan.dents[1].steps, "pull") != nullptr);
}

TEST_CASE("a high spot is tapped down", "[trade]") {
  const auto tip_for = [](Material material, Paint paint, double thickness_mm = 0.7) {
    PanelFacts facts = plain_steel();
    facts.material = material;
    facts.paint = paint;
    facts.thickness_mm = thickness_mm;
    return *spot_plan(high(12, 0.1), facts).tip;
  };
  const TipChoice normal = tip_for(Material::mild_steel, Paint::original);
  CHECK(normal.width_mm == 12);
  CHECK(normal.weight == HammerWeight::heavy);
  CHECK(normal.hardness == Hardness::medium);
  CHECK(tip_for(Material::mild_steel, Paint::repainted).hardness == Hardness::soft);
  CHECK(tip_for(Material::high_strength_steel, Paint::original).hardness == Hardness::hard);
  CHECK(tip_for(Material::aluminium, Paint::original).weight == HammerWeight::light);
  CHECK(tip_for(Material::mild_steel, Paint::original, 0.6).weight == HammerWeight::light);
  const std::string tap = words_of(spot_plan(high(12, 0.1)), "tap_down");
  for (const char* what :
       {"eye along the light's line", "small taps", "still slightly proud rather than make a low"})
    CHECK(mentions(tap, what));
  // told ahead for the pull that leaves one
  CHECK(mentions(all_text(step(plan_for(low(22, 0.3)).after, "tap_raised")), "as wide as the spot"));
}

TEST_CASE("stop below what the eye finds, or when the paint is at risk", "[trade]") {
  const std::string stop = all_text(step(plan_for(low(22, 0.3)).after, "stop"));
  CHECK(mentions(stop, "the eye no longer finds it"));
  CHECK(mentions(stop, "risks the paint"));
  Dent faint = low(22, 0.01);
  faint.max_slope_mrad = Quantity{1, 0.9, 1.1};
  CHECK(next_step(sample::reading({low(22, 0.3)}), sample::reading({faint}), plain_steel(),
                  sample::with_sample_kit())
            .verdict == Verdict::stop);
}

TEST_CASE("pulling will probably not do on stretched metal, broken paint, a sharp crease, an edge",
          "[trade]") {
  Dent stretched = low(30, 0.2), crease = low(30, 0.2, 3);
  stretched.stretch = 0.03;
  crease.bend_radius_mm = sample::about(8, 0.02);
  PanelFacts broken = plain_steel(), edge = plain_steel();
  broken.paint = Paint::damaged;
  edge.place = Place::edge;
  CHECK(mentions(words_of(spot_plan(stretched), "beyond_pulling"), "stretched"));
  CHECK(mentions(words_of(spot_plan(crease), "beyond_pulling"), "crease is too sharp"));
  CHECK(mentions(words_of(spot_plan(low(22, 0.3), broken), "beyond_pulling"), "cracked or lifting"));
  CHECK(mentions(words_of(spot_plan(low(60, 0.2), edge), "doubtful"), "near an edge"));
}
