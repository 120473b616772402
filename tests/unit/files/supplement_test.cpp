#include "quote/supplement.hpp"

#include <nlohmann/json.hpp>
#include <random>

#include "catch.hpp"
#include "files/quote_file.hpp"
#include "quote/quote_text.hpp"
#include "ripplegauge/core/errors.hpp"
#include "scratch_folder.hpp"
#include "unit/english_left.hpp"
#include "unit/quote/made_up.hpp"

using namespace ripplegauge;
using namespace made_up;
using Catch::Matchers::ContainsSubstring;

namespace {

PriceTable table_with_tax() {
  PriceTable table = plain_table();
  table.surcharges = {
      {"aluminium", "aluminium", Rate{250'000}, SurchargeBase::price, std::nullopt, Per::spot}};
  table.items = {{"call-out", 4000, Per::job, "", true}, {"renewal", 6500, Per::panel, "ceramic", false}};
  table.tax = Tax{"tax", Rate{190'000}};
  table.rounding.cash_step_minor = 5;
  return table;
}

Job two_spots() {
  Job job;
  job.vehicle = "estate";
  job.quote_number = "Q-3";
  add_by_hand(job, by_hand("bonnet", 12, "light"), "now");
  add_by_hand(job, by_hand("roof", 25, "deep"), "now");
  return job;
}

FirstQuote saved(const Quote& quote) {
  const ScratchFolder folder;
  return read_first_quote(folder.write("first.json", quote_to_json(quote, "ripplegauge 0.1.0")));
}

std::int64_t sum_of_differences(const Supplement& supplement) {
  std::int64_t sum_minor = supplement.tax_and_rounding_minor;
  for (const ChangedLine& line : supplement.lines) sum_minor += line.difference_minor();
  return sum_minor;
}

}  // namespace

TEST_CASE("a quote that has not changed has an empty supplement", "[supplement]") {
  const Quote quote = make_quote(two_spots(), table_with_tax());
  const Supplement same = supplement_of(saved(quote), quote);
  CHECK(same.lines.empty());
  CHECK(same.difference_minor() == 0);
  CHECK(same.tax_and_rounding_minor == 0);
  CHECK_THAT(supplement_text(quote, same, Display(quote.currency, "")),
             ContainsSubstring("Nothing has changed."));
}

TEST_CASE("a supplement names what is new, what changed and what is gone", "[supplement]") {
  Job job = two_spots();
  const FirstQuote first = saved(make_quote(job, table_with_tax()));
  CHECK(first.quote_number == "Q-3");
  void_spot(job, 1, "a reflection", "now");
  change_spot(job, 2, {.severity = "light"}, {"", "felt by hand", "now"});
  add_by_hand(job, by_hand("left door", 8, "deep"), "now");
  panel_named(job, "left door").facts = {"aluminium"};
  const Quote now = make_quote(job, table_with_tax());
  const Supplement supplement = supplement_of(first, now);
  // 45.00 gone; 95.50 become 70.00; 60.00 with 25 % are new
  REQUIRE(supplement.lines.size() == 4);
  CHECK(supplement.lines[0].difference_minor() == 7000 - 9550);
  CHECK_FALSE(supplement.lines[1].first);
  CHECK(supplement.lines[1].now->amount_minor == 6000);
  CHECK(supplement.lines[2].now->name == "aluminium");
  CHECK(supplement.lines[2].difference_minor() == 1500);
  CHECK_FALSE(supplement.lines[3].now);
  CHECK(supplement.lines[3].difference_minor() == -4500);
  CHECK(supplement.difference_minor() == now.total_minor - first.total_minor);
  CHECK(sum_of_differences(supplement) == supplement.difference_minor());

  const Display display(now.currency, "de-DE");
  const std::string text = supplement_text(now, supplement, display);
  CHECK_THAT(text, ContainsSubstring("What has changed since quote Q-3") &&
                       ContainsSubstring("Roof: Spot 2: middle, light: 95,50, now 70,00") &&
                       ContainsSubstring("Left door: Spot 3: small, deep: new") &&
                       ContainsSubstring("+60,00") &&
                       ContainsSubstring("Bonnet: Spot 1: small, light: 45,00, now nothing"));
  QuotePageOptions options;
  options.supplement = supplement;
  const ReportPage page = quote_page(now, display, options);
  CHECK(page.title == "Supplement: estate");
  CHECK_THAT(report_html(page), ContainsSubstring("What has changed since quote Q-3"));
  const Display german(now.currency, wording_for("de", "de-DE"));
  CHECK(test::english_left_in(supplement_text(now, supplement, german)) == std::vector<std::string>{});
  const auto json = nlohmann::json::parse(quote_to_json(now, "", supplement))["supplement"];
  CHECK(json["difference_minor"] == supplement.difference_minor());
  CHECK(json["lines"][3]["now_minor"].is_null());
}

TEST_CASE("a spot that was moved to another panel is the same spot", "[supplement]") {
  Job job = two_spots();
  const FirstQuote first = saved(make_quote(job, table_with_tax()));
  move_spot(job, 1, "roof", {"", "wrong folder", "now"});
  const Supplement supplement = supplement_of(first, make_quote(job, table_with_tax()));
  REQUIRE(supplement.lines.size() == 1);
  CHECK(supplement.lines[0].first->panel == "bonnet");
  CHECK(supplement.lines[0].now->panel == "roof");
  CHECK(supplement.difference_minor() == 0);
}

TEST_CASE("the differences of random jobs add up to that of the totals", "[supplement][random]") {
  std::mt19937 random(8);
  const auto up_to = [&](int most) { return std::uniform_int_distribution<int>(0, most)(random); };
  for (int trial = 0; trial < 100; ++trial) {
    PriceTable table = table_with_tax();
    table.discount = Discount{"trade", Rate{up_to(200'000)}, std::nullopt};
    table.prices_include_tax = up_to(1) == 1;
    table.rounding.place = up_to(1) == 1 ? RoundingPlace::once : RoundingPlace::per_line;
    Job job = two_spots();
    const Quote before = make_quote(job, table);
    for (int i = up_to(4); i > 0; --i)
      add_by_hand(job, by_hand(up_to(1) == 0 ? "roof" : "bonnet", 5 + up_to(60), "light"), "now");
    if (up_to(1) == 0) void_spot(job, 1 + up_to(1), "no dent", "now");
    if (up_to(1) == 0) panel_named(job, "roof").facts = {"aluminium", "ceramic"};
    const Quote now = make_quote(job, table);
    const Supplement supplement = supplement_of(saved(before), now);
    REQUIRE(sum_of_differences(supplement) == now.total_minor - before.total_minor);
  }
}

TEST_CASE("what is no first quote is refused", "[supplement]") {
  const ScratchFolder folder;
  CHECK_THROWS_AS(read_first_quote(folder.write("a.json", R"({"schema": 1})")), FileError);
  CHECK_THROWS_AS(read_first_quote(folder.write("b.json", R"({"schema": 2, "currency": "EUR", "lines": [],
                                                              "total_minor": 1})")),
                  FileError);
  CHECK_THROWS_AS(read_first_quote(folder.write("c.json", R"({"schema": 1, "currency": "EUR", "lines": [],
                                                              "total_minor": 1.5})")),
                  FileError);
  FirstQuote other{"", "CHF", {}, 100};
  CHECK_THROWS_WITH(supplement_of(other, make_quote(two_spots(), plain_table())), ContainsSubstring("CHF"));
}
