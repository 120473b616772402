// A second calculation of the same prices, which shares no code with the first: fractions of a minor unit are
// kept as whole numbers of millionths until they are rounded, and a job is walked through spot by spot.
#include <array>
#include <map>
#include <random>

#include "catch.hpp"
#include "made_up.hpp"

using namespace made_up;

namespace {

using Minor = std::int64_t;

/// numerator / denominator to the nearest, halves up, by counting remainders; both from 0.
Minor nearest(Minor numerator, Minor denominator) {
  const Minor quotient = numerator / denominator, rest = numerator - quotient * denominator;
  return rest + rest >= denominator ? quotient + 1 : quotient;
}

/// The price list, plainly: rates in ppm.
struct List {
  std::map<std::string, std::array<Minor, 3>> prices;  ///< by grade, of the three bands
  Minor aluminium_ppm = 0, line_ppm = 0, access = 0, cap = 0, renewal = 0, call_out = 0, fee = 0;
  Minor discount_ppm = 0, least = 0, tax_ppm = 0, second_ppm = 0, step = 1;
  bool second_on_first = false, included = false;
};

struct Spot {
  std::string panel, grade;
  double size_mm;
  bool line, access;
};

Minor total_of(const List& list, const std::vector<Spot>& spots, const std::string& aluminium_panel) {
  Minor sum = 0;
  for (const std::string panel : {"bonnet", "roof"}) {
    Minor of_panel = 0;
    for (const Spot& spot : spots) {
      if (spot.panel != panel) continue;
      const Minor price = list.prices.at(spot.grade)[spot.size_mm < 20 ? 0 : spot.size_mm < 40 ? 1 : 2];
      const Minor with_metal =
          price + (panel == aluminium_panel ? nearest(price * list.aluminium_ppm, 1'000'000) : 0);
      const Minor with_line = with_metal + (spot.line ? nearest(with_metal * list.line_ppm, 1'000'000) : 0);
      of_panel += with_line + (spot.access ? list.access : 0);
    }
    if (of_panel > list.cap) of_panel = list.cap;
    sum += of_panel;
    if (panel == aluminium_panel) sum += list.renewal;
  }
  sum += list.call_out + list.fee;
  const Minor off = nearest(sum * list.discount_ppm, 1'000'000);
  const Minor fee_off = nearest(list.fee * list.discount_ppm, 1'000'000);
  Minor net = sum - off;
  if (net < list.least) net = list.least;
  const Minor taxed = net - (list.fee - fee_off);
  Minor total = net;
  if (!list.included) {
    const Minor first = nearest(taxed * list.tax_ppm, 1'000'000);
    total += first + nearest((taxed + (list.second_on_first ? first : 0)) * list.second_ppm, 1'000'000);
  }
  return nearest(total, list.step) * list.step;
}

List random_list(std::mt19937& random) {
  const auto up_to = [&](int most) { return std::uniform_int_distribution<int>(0, most)(random); };
  List list;
  for (const char* grade : {"light", "deep"}) list.prices[grade] = {up_to(9000), up_to(20000), up_to(50000)};
  list.aluminium_ppm = up_to(400'000);
  list.line_ppm = up_to(300'000);
  list.access = up_to(2500);
  list.cap = 20000 + up_to(100'000);
  list.renewal = up_to(9000);
  list.call_out = up_to(5000);
  list.fee = up_to(1) == 0 ? 0 : up_to(4000);
  list.discount_ppm = up_to(250'000);
  list.least = up_to(3) == 0 ? 60000 : 0;
  list.tax_ppm = up_to(270'000);
  list.second_ppm = up_to(1) == 0 ? 0 : up_to(100'000);
  list.second_on_first = up_to(1) == 1;
  list.included = up_to(2) == 0;
  list.step = std::array<Minor, 3>{1, 5, 100}[static_cast<std::size_t>(up_to(2))];
  return list;
}

PriceTable table_of(const List& list) {
  PriceTable table = plain_table();
  table.prices.clear();
  table.severities = {"light", "deep"};
  table.beyond_pulling.clear();
  for (const auto& [grade, prices] : list.prices)
    for (std::size_t i = 0; i < 3; ++i)
      table.prices.push_back({table.bands[i].name, grade, 1, std::nullopt, prices[i], Per::spot});
  table.surcharges = {
      {"metal", "aluminium", Rate{list.aluminium_ppm}, SurchargeBase::price, std::nullopt, Per::spot},
      {"line", "body line", Rate{list.line_ppm}, SurchargeBase::running, std::nullopt, Per::spot},
      {"access", "no access", std::nullopt, SurchargeBase::price, list.access, Per::spot}};
  table.caps = {{"", list.cap}};
  table.items = {{"renewal", list.renewal, Per::panel, "aluminium", false},
                 {"call-out", list.call_out, Per::job, "", true}};
  if (list.fee > 0) table.items.push_back({"fee", list.fee, Per::job, "", true, true});
  table.discount = Discount{"trade", Rate{list.discount_ppm}, std::nullopt};
  if (list.least > 0) table.minimum_minor = list.least;
  table.tax = Tax{"tax", Rate{list.tax_ppm}};
  if (list.second_ppm > 0) table.second_tax = Tax{"second", Rate{list.second_ppm}, list.second_on_first};
  table.prices_include_tax = list.included;
  table.rounding.cash_step_minor = list.step;
  return table;
}

}  // namespace

TEST_CASE("random jobs cost what a second calculation says, to the last unit", "[quote][random]") {
  std::mt19937 random(23);
  const auto up_to = [&](int most) { return std::uniform_int_distribution<int>(0, most)(random); };
  for (int trial = 0; trial < 500; ++trial) {
    const List list = random_list(random);
    std::vector<Spot> spots;
    Job job;
    for (const char* panel : {"bonnet", "roof"}) panel_named(job, panel);
    const std::string aluminium_panel = up_to(1) == 0 ? "bonnet" : "roof";
    panel_named(job, aluminium_panel).facts = {"aluminium"};
    for (int i = up_to(11); i >= 0; --i) {
      const Spot spot{up_to(1) == 0 ? "bonnet" : "roof", up_to(1) == 0 ? "light" : "deep",
                      2 + 0.1 * up_to(700), up_to(2) == 0, up_to(2) == 0};
      spots.push_back(spot);
      JobSpot entry = by_hand(spot.panel, spot.size_mm, spot.grade);
      if (spot.line) entry.facts.emplace_back("body line");
      if (spot.access) entry.facts.emplace_back("no access");
      add_by_hand(job, entry, "now");
    }
    CAPTURE(trial);
    REQUIRE(make_quote(job, table_of(list)).total_minor == total_of(list, spots, aluminium_panel));
  }
}
