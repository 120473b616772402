#include "quote/quote.hpp"

#include <algorithm>
#include <random>

#include "catch.hpp"
#include "made_up.hpp"
#include "ripplegauge/core/errors.hpp"

using namespace ripplegauge;
using namespace made_up;

namespace {

Job job_of(const std::vector<JobSpot>& spots) {
  Job job;
  for (const JobSpot& spot : spots) add_by_hand(job, spot, "now");
  return job;
}

JobSpot with_interval(JobSpot spot, double low_mm, double high_mm) {
  spot.diameter_mm.low = low_mm;
  spot.diameter_mm.high = high_mm;
  return spot;
}

void check_adds_up(const Quote& quote) {
  REQUIRE(lines_sum(quote) + quote.tax_minor == quote.total_minor);
  REQUIRE(quote.subtotal_minor == lines_sum(quote) - sum_of(quote, LineType::rounding));
  if (quote.rounding.place == RoundingPlace::per_line && quote.tax) {
    std::int64_t tax_minor = 0;
    for (const QuoteLine& line : quote.lines) tax_minor += line.tax_minor.value();
    REQUIRE(tax_minor == quote.tax_minor);
  }
}

}  // namespace

TEST_CASE("a whole quote, worked by hand", "[quote]") {
  PriceTable table = plain_table();
  table.surcharges = {
      {"aluminium", "aluminium", Rate{250'000}, SurchargeBase::price, std::nullopt, Per::spot},
      {"body line", "body line", Rate{150'000}, SurchargeBase::running, std::nullopt, Per::spot},
      {"no access", "no access", std::nullopt, SurchargeBase::price, 1250, Per::spot},
      {"repainted", "repainted", std::nullopt, SurchargeBase::price, 3000, Per::panel},
  };
  table.caps = {{"roof", 20000}};
  table.items = {{"remove and refit", 8000, Per::panel, "", false},
                 {"coating renewal", 6500, Per::panel, "ceramic coating", false},
                 {"call-out", 4000, Per::job, "", true}};
  table.discount = Discount{"trade", Rate{50'000}, std::nullopt};
  table.tax = Tax{"tax", Rate{190'000}};
  table.rounding.cash_step_minor = 5;
  REQUIRE(problems_of(table).empty());

  Job job = job_of({by_hand("bonnet", 15, "light"),                // 1
                    by_hand("bonnet", 25, "deep", {"body line"}),  // 2
                    by_hand("roof", 45, "deep", {"no access"}),    // 3
                    by_hand("roof", 10, "light", {"no access"}),   // 4
                    by_hand("roof", 30, "torn")});                 // 5
  panel_named(job, "bonnet").facts = {"aluminium", "ceramic coating"};
  panel_named(job, "roof").facts = {"repainted"};
  set_item(job, "remove and refit", "roof", 2);

  const Quote quote = make_quote(job, table);
  check_adds_up(quote);

  // Bonnet: 1 is small and light, 45.00; 2 is middle and deep, 95.50.
  //   aluminium 25 % of each price: 11.25 + 23.875 -> 23.88 = 35.13
  //   body line 15 % of 2 with its aluminium: 0.15 * (95.50 + 23.88) = 0.15 * 119.38 = 17.907 -> 17.91
  //   bonnet so far: 45.00 + 95.50 + 35.13 + 17.91 = 193.54; coating renewal 65.00 -> 258.54
  CHECK(find_line(quote, LineType::surcharge, "aluminium")->amount_minor == 3513);
  CHECK(find_line(quote, LineType::surcharge, "aluminium")->of_minor == 14050);
  CHECK(find_line(quote, LineType::surcharge, "aluminium")->spots == std::vector<int>{1, 2});
  CHECK(find_line(quote, LineType::surcharge, "body line")->amount_minor == 1791);
  CHECK(find_line(quote, LineType::surcharge, "body line")->of_minor == 11938);
  CHECK(panel_sum(quote, "bonnet") == 25854);

  // Roof: 3 is large and deep, 180.00; 4 is small and light, 45.00; 5 is beyond pulling and has no price.
  //   no access 2 * 12.50 = 25.00; repainted once 30.00; together 280.00; capped at 200.00 -> -80.00
  //   remove and refit 2 * 80.00 = 160.00 -> roof 360.00
  CHECK(find_line(quote, LineType::surcharge, "no access")->amount_minor == 2500);
  CHECK(find_line(quote, LineType::surcharge, "repainted")->amount_minor == 3000);
  CHECK(find_line(quote, LineType::cap)->amount_minor == -8000);
  CHECK(find_line(quote, LineType::item, "remove and refit")->amount_minor == 16000);
  CHECK(panel_sum(quote, "roof") == 36000);
  REQUIRE(quote.unpriced.size() == 1);
  CHECK(quote.unpriced[0].id == 5);

  // 258.54 + 360.00 + call-out 40.00 = 658.54; discount 5 % = 32.927 -> 32.93; subtotal 625.61
  // tax 19 % = 118.8659 -> 118.87; sum 744.48; to 5 cents 744.50: rounding 0.02
  CHECK(find_line(quote, LineType::item, "call-out")->amount_minor == 4000);
  CHECK(find_line(quote, LineType::discount)->amount_minor == -3293);
  CHECK(quote.subtotal_minor == 62561);
  CHECK(quote.tax_minor == 11887);
  CHECK(find_line(quote, LineType::rounding)->amount_minor == 2);
  CHECK(quote.total_minor == 74450);
  CHECK(quote.remarks.empty());
}

TEST_CASE("a spot between two grades is priced by the stated policy, and the totals of both are told",
          "[quote]") {
  // plain_table: small and light 45.00, small and deep 60.00
  PriceTable table = plain_table();
  Job job = job_of({by_hand("roof", 10, "light"), by_hand("roof", 10, "light")});
  job.spots[0].severities_allowed = {"light", "deep"};

  const auto quoted = [&](StraddlePolicy policy) {
    table.policy = policy;
    return make_quote(job, table);
  };
  const Quote nearest = quoted(StraddlePolicy::nearest);
  CHECK(nearest.total_minor == 9000);
  CHECK(nearest.spots[0].mild_severity == "light");
  CHECK(nearest.spots[0].worst_severity == "deep");
  CHECK_FALSE(nearest.spots[1].mild_severity.has_value());
  CHECK(nearest.total_lower_minor == 9000);
  CHECK(nearest.total_upper_minor == 10500);
  CHECK(quoted(StraddlePolicy::lower).total_minor == 9000);
  const Quote upper = quoted(StraddlePolicy::upper);
  CHECK(upper.total_minor == 10500);
  CHECK(upper.spots[0].severity == "deep");
  CHECK(upper.spots[0].spot.severity == "light");
  CHECK(upper.lines[0].severity == "deep");

  // Where the worse grade is beyond pulling, it has no price, and the upper total is not one of the same
  // spots.
  job.spots[0].severities_allowed = {"light", "deep", "torn"};
  CHECK_FALSE(quoted(StraddlePolicy::nearest).total_upper_minor.has_value());
  CHECK(quoted(StraddlePolicy::upper).unpriced.size() == 1);
}

TEST_CASE("tax within the prices, a second tax, and what is untaxed, worked by hand", "[quote]") {
  PriceTable table = plain_table();
  table.tax = Tax{"first", Rate{50'000}};
  table.items = {{"disposal fee", 1000, Per::job, "", true, true}};
  const Job job = job_of({by_hand("roof", 10, "light"), by_hand("roof", 10, "deep")});

  // 45.00 + 60.00 = 105.00 taxed, 10.00 untaxed; 5 % of 105.00 = 5.25; 120.25
  CHECK(make_quote(job, table).tax_minor == 525);
  CHECK(make_quote(job, table).total_minor == 12025);

  // A second tax of 9.975 % on the price alone: 10.47375 -> 10.47; on the first one, too: 9.975 % of 110.25 =
  // 10.9974 -> 11.00
  table.second_tax = Tax{"second", Rate{99'750}};
  CHECK(make_quote(job, table).second_tax_minor == 1047);
  CHECK(make_quote(job, table).total_minor == 11500 + 525 + 1047);
  table.second_tax->on_first = true;
  const Quote on_first = make_quote(job, table);
  CHECK(on_first.second_tax_minor == 1100);
  CHECK(on_first.tax_minor == 525 + 1100);
  check_adds_up(on_first);

  // 5 % within 105.00 is 105.00 - 100.00 = 5.00; nothing comes on top.
  table.second_tax.reset();
  table.prices_include_tax = true;
  const Quote within = make_quote(job, table);
  CHECK(within.tax_minor == 500);
  CHECK(within.total_minor == 11500);
  // With a second 5 % beside it: 105.00 / 1.10 = 95.4545 -> 95.45; 4.7725 -> 4.77 for the second, 4.78 left
  table.second_tax = Tax{"second", Rate{50'000}};
  CHECK(make_quote(job, table).second_tax_minor == 477);
  CHECK(make_quote(job, table).tax_minor == 955);

  // A discount of 10 % takes 1.00 off the fee: 105.00 - 10.50 = 94.50 are taxed, 5 % of it 4.725 -> 4.73
  table.prices_include_tax = false;
  table.second_tax.reset();
  table.discount = Discount{"discount", Rate{100'000}, std::nullopt};
  CHECK(make_quote(job, table).tax_minor == 473);
}

TEST_CASE("prices and discounts of one panel, hours, one-offs and the least charge, worked by hand",
          "[quote]") {
  PriceTable table = plain_table();
  table.prices.push_back({"small", "light", 1, std::nullopt, 5100, Per::spot, "roof"});
  table.panel_discounts = {{"roof", Discount{"light panel", Rate{100'000}, std::nullopt}}};
  table.hourly_minor = 8000;
  table.items = {
      {"trim", price_of_hours(8000, 1250, RoundingMode::half_up), Per::panel, "", false, false, 1250}};
  REQUIRE(problems_of(table).empty());
  Job job =
      job_of({by_hand("roof", 10, "light"), by_hand("bonnet", 10, "light"), by_hand("roof", 10, "deep")});
  set_item(job, "trim", "roof", 1);
  set_one_off(job, "clip", "", 3, "2.5", false);

  // Roof: 51.00 of its own row, deep 60.00 of the general one, 111.00; 10 % off is 11.10; trim 1.25 h at
  // 80.00 is 100.00: 199.90. Bonnet 45.00. Clips 7.50. Together 252.40.
  const Quote quote = make_quote(job, table);
  CHECK(panel_sum(quote, "roof") == 19990);
  CHECK(find_line(quote, LineType::discount, "", "roof")->amount_minor == -1110);
  CHECK(panel_sum(quote, "bonnet") == 4500);
  CHECK(find_line(quote, LineType::item, "clip")->amount_minor == 750);
  CHECK(quote.total_minor == 25240);

  table.minimum_minor = 30000;
  table.tax = Tax{"tax", Rate{100'000}};
  const Quote least = make_quote(job, table);
  CHECK(find_line(least, LineType::minimum)->amount_minor == 4760);
  CHECK(least.total_minor == 33000);
  check_adds_up(least);
  CHECK(make_quote(Job{}, table).total_minor == 0);  // nothing is charged for nothing
  CHECK_THROWS_AS(set_one_off(job, "clip", "", 3, "2,5", false), UsageError);
}

TEST_CASE("discount and tax rounded on every line, worked by hand", "[quote]") {
  PriceTable table = plain_table();
  for (PriceRow& row : table.prices) row.price_minor = 333;  // 3.33 each
  table.tax = Tax{"tax", Rate{100'000}};
  table.discount = Discount{"discount", Rate{50'000}, std::nullopt};
  const Job job =
      job_of({by_hand("roof", 10, "light"), by_hand("roof", 10, "light"), by_hand("roof", 10, "light")});

  // Once: 9.99; 5 % = 0.4995 -> 0.50; 9.49; 10 % = 0.949 -> 0.95; 10.44
  const Quote once = make_quote(job, table);
  CHECK(once.subtotal_minor == 949);
  CHECK(once.tax_minor == 95);
  CHECK(once.total_minor == 1044);
  CHECK_FALSE(once.lines[0].tax_minor.has_value());

  // Per line: 5 % of 3.33 = 0.1665 -> 0.17, three times 0.51; net 3.16, its tax 0.316 -> 0.32, three times
  // 0.96 9.99 - 0.51 + 0.96 = 10.44; with the line's tax rounded down instead: 0.31 * 3 = 0.93
  table.rounding.place = RoundingPlace::per_line;
  const Quote per_line = make_quote(job, table);
  CHECK(find_line(per_line, LineType::discount)->amount_minor == -51);
  CHECK(per_line.lines[0].tax_minor == 32);
  CHECK(per_line.tax_minor == 96);
  CHECK(per_line.total_minor == 1044);
  check_adds_up(per_line);

  table.rounding.mode = RoundingMode::down;  // discount 0.16 * 3 = 0.48, net 3.17, tax 0.31 * 3 = 0.93
  const Quote down = make_quote(job, table);
  CHECK(find_line(down, LineType::discount)->amount_minor == -48);
  CHECK(down.tax_minor == 93);
  CHECK(down.total_minor == 999 - 48 + 93);
}

TEST_CASE("a currency without decimals rounds to whole units", "[quote]") {
  PriceTable table = plain_table();
  table.currency = {"JPY", 0};
  for (PriceRow& row : table.prices) row.price_minor = 7777;
  table.tax = Tax{"tax", Rate{100'000}};
  const Quote quote = make_quote(job_of({by_hand("roof", 10, "light")}), table);
  CHECK(quote.tax_minor == 778);
  CHECK(quote.total_minor == 8555);
}

TEST_CASE("a spot that straddles an edge is priced by the stated policy and says so", "[quote]") {
  // 20.4 mm (19.7 to 21.1) straddles the edge at 20 mm between small (45.00) and middle (70.00).
  PriceTable table = plain_table();
  const Job job = job_of({with_interval(by_hand("roof", 20.4, "light"), 19.7, 21.1)});
  struct Row {
    StraddlePolicy policy;
    const char* band;
    int price_minor;
  };
  const Row row =
      GENERATE(Row{StraddlePolicy::nearest, "middle", 7000}, Row{StraddlePolicy::lower, "small", 4500},
               Row{StraddlePolicy::upper, "middle", 7000});
  table.policy = row.policy;
  const Quote quote = make_quote(job, table);
  REQUIRE(quote.lines.size() == 1);
  CHECK(quote.lines[0].amount_minor == row.price_minor);
  CHECK(quote.lines[0].band == row.band);
  CHECK(quote.spots[0].low_band == "small");
  CHECK(quote.spots[0].high_band == "middle");
}

TEST_CASE("an interval that ends on the edge does not straddle it from above", "[quote]") {
  const PriceTable table = plain_table();
  const auto low_band = [&](double value, double low, double high) {
    return make_quote(job_of({with_interval(by_hand("roof", value, "light"), low, high)}), table)
        .spots[0]
        .low_band;
  };
  CHECK_FALSE(low_band(20.5, 20.0, 21.0).has_value());  // all of it in the upper band: the edge belongs there
  CHECK(low_band(19.5, 19.0, 20.0) == "small");         // its upper end lies in the next band
  CHECK_FALSE(low_band(19.0, 18.5, 19.5).has_value());
}

TEST_CASE("default policy is nearest", "[quote]") { CHECK(PriceTable{}.policy == StraddlePolicy::nearest); }

TEST_CASE("prices by count on a panel", "[quote]") {
  PriceTable table = plain_table();
  table.prices = {{any_word, any_word, 1, 2, 5000, Per::spot},
                  {any_word, any_word, 3, 5, 12000, Per::panel},
                  {any_word, any_word, 6, std::nullopt, std::nullopt, Per::panel}};
  table.surcharges = {
      {"body line", "body line", Rate{300'000}, SurchargeBase::price, std::nullopt, Per::spot}};
  REQUIRE(problems_of(table).empty());
  std::vector<JobSpot> spots{by_hand("roof", 10, "light"), by_hand("roof", 30, "light", {"body line"})};

  // Two at 50.00; 30 % on the one on a body line: 15.00.
  CHECK(make_quote(job_of(spots), table).total_minor == 11500);

  // Three for 120.00; 30 % of the share of the one on a body line: 0.3 * 120.00 / 3 = 12.00.
  spots.push_back(by_hand("roof", 12, "deep"));
  const Quote three = make_quote(job_of(spots), table);
  CHECK(three.lines[0].type == LineType::spots);
  CHECK(three.lines[0].spots == std::vector<int>{1, 2, 3});
  CHECK(three.total_minor == 13200);

  // Counts are per panel: one on the bonnet is one at 50.00.
  spots.push_back(by_hand("bonnet", 12, "deep"));
  CHECK(make_quote(job_of(spots), table).total_minor == 18200);

  // Six on the roof have no price in the table: on request, and the total says nothing of them.
  for (int i = 0; i < 3; ++i) spots.push_back(by_hand("roof", 11, "light"));
  const Quote six = make_quote(job_of(spots), table);
  CHECK(six.unpriced.size() == 6);
  CHECK(six.total_minor == 5000);
}

TEST_CASE("spots beyond pulling stand apart and are priced only if the table says so", "[quote]") {
  PriceTable table = plain_table();
  JobSpot flagged = by_hand("roof", 10, "light");
  flagged.beyond_pulling = true;
  const Job job = job_of({by_hand("roof", 10, "torn"), flagged, by_hand("roof", 10, "light")});
  const Quote apart = make_quote(job, table);
  CHECK(apart.total_minor == 4500);
  REQUIRE(apart.unpriced.size() == 2);
  CHECK(apart.unpriced[0].reason == NoPrice::beyond_pulling);

  table.price_beyond_pulling = true;
  for (const char* band : {"small", "middle", "large"})
    table.prices.push_back({band, "torn", 1, std::nullopt, 30000, Per::spot});
  REQUIRE(problems_of(table).empty());
  const Quote priced = make_quote(job, table);
  CHECK(priced.unpriced.empty());
  CHECK(priced.total_minor == 30000 + 4500 + 4500);
  CHECK(priced.lines[0].beyond_pulling);
  CHECK_FALSE(priced.lines[2].beyond_pulling);
}

TEST_CASE("what the price file does not know is an error that names it", "[quote]") {
  const PriceTable table = plain_table();
  const auto message = [&](const Job& job) {
    try {
      make_quote(job, table);
    } catch (const UsageError& error) {
      return std::string(error.what());
    }
    return std::string();
  };
  CHECK(message(job_of({by_hand("roof", 10, "wavy")})).find("spot 1 on roof has severity \"wavy\"") !=
        std::string::npos);
  Job job = job_of({by_hand("roof", 10, "light")});
  set_item(job, "polish", "", 1);
  CHECK(message(job).find("\"polish\"") != std::string::npos);
}

TEST_CASE("a spot whose severity is not known has no price where it depends on that, and no other suffers",
          "[quote]") {
  PriceTable table = plain_table();
  const Job job = job_of({by_hand("roof", 10, ""), by_hand("roof", 12, "light"), by_hand("wing", 10, "")});
  const Quote quote = make_quote(job, table);
  CHECK(quote.total_minor == 4500);
  REQUIRE(quote.unpriced.size() == 2);
  CHECK(quote.unpriced[0].reason == NoPrice::severity_not_known);
  CHECK(quote.unpriced[1].panel == "wing");
  REQUIRE(quote.remarks.size() == 1);
  CHECK(quote.remarks[0].find("spots 1,3") != std::string::npos);

  table.prices = {{any_word, any_word, 1, std::nullopt, 1000, Per::spot}};
  CHECK(make_quote(job, table).total_minor == 3000);
}

TEST_CASE("spots are counted by panel and by the band that they are priced in", "[quote]") {
  PriceTable table = plain_table();
  Job job = job_of({by_hand("roof", 10, "light"), by_hand("roof", 45, "torn"), by_hand("wing", 30, "light")});
  JobSpot wide = by_hand("wing", 19, "light");
  wide.diameter_mm = {19, 17, 21};
  add_by_hand(job, wide, "");
  panel_named(job, "bonnet");
  table.policy = StraddlePolicy::upper;
  const SpotCounts counts = make_quote(job, table).counts;
  CHECK(counts.total == 4);
  REQUIRE(counts.panels.size() == 2);
  CHECK(counts.panels[0].panel == "roof");
  CHECK(counts.panels[0].by_band == std::vector<int>{1, 0, 1});
  CHECK(counts.panels[1].by_band == std::vector<int>{0, 2, 0});
}

TEST_CASE("a fact that nothing is charged for is remarked on", "[quote]") {
  PriceTable table = plain_table();
  table.surcharges = {
      {"aluminium", "aluminium", Rate{250'000}, SurchargeBase::price, std::nullopt, Per::spot}};
  Job job = job_of({by_hand("roof", 10, "light")});
  panel_named(job, "roof").facts = {"Aluminium", "aluminum"};
  const Quote quote = make_quote(job, table);
  REQUIRE(quote.remarks.size() == 1);
  CHECK(quote.remarks[0].find("\"aluminum\"") != std::string::npos);
  CHECK(quote.total_minor == 4500 + 1125);  // and capitals do not matter
}

TEST_CASE("voided spots cost nothing, and one spot in two photos costs once", "[quote]") {
  Job job;
  add_reading(job, "roof", reading_of("a.jpg", {dent_at(30, 40, 15)}), {"", "now", ""});
  add_reading(job, "roof", reading_of("b.jpg", {dent_at(30.3, 40, 15.1), dent_at(90, 10, 12)}),
              {"", "now", ""});
  const Quote quote = make_quote(job, plain_table());
  CHECK(quote.total_minor == 2 * 4500);
  CHECK(quote.spots[0].also_seen == std::vector<int>{2});
  void_spot(job, 3, "a speck", "now");
  CHECK(make_quote(job, plain_table()).total_minor == 4500);
}

TEST_CASE("items are charged when asked for, by fact, or always, and never twice", "[quote]") {
  PriceTable table = plain_table();
  table.items = {{"coating renewal", 6500, Per::panel, "ceramic coating", false},
                 {"wash", 1000, Per::job, "muddy", false},
                 {"paperwork", 700, Per::job, "", true},
                 {"masking", 300, Per::panel, "", true}};
  Job job = job_of({by_hand("roof", 10, "light"), by_hand("bonnet", 10, "light", {"ceramic coating"})});
  panel_named(job, "boot").facts = {"muddy"};
  const Quote quote = make_quote(job, table);
  CHECK(find_line(quote, LineType::item, "coating renewal", "bonnet") != nullptr);
  CHECK(find_line(quote, LineType::item, "coating renewal", "roof") == nullptr);
  CHECK(find_line(quote, LineType::item, "wash") != nullptr);
  CHECK(find_line(quote, LineType::item, "masking", "roof") != nullptr);
  CHECK(find_line(quote, LineType::item, "masking", "boot") == nullptr);  // no spot there
  CHECK(quote.total_minor == 2 * 4500 + 6500 + 1000 + 700 + 2 * 300);

  set_item(job, "coating renewal", "bonnet", 1);  // asked for and by fact: once
  set_item(job, "paperwork", "", 3);              // asked for by number: that number
  CHECK(make_quote(job, table).total_minor == 2 * 4500 + 6500 + 1000 + 3 * 700 + 2 * 300);
}

TEST_CASE("a discount by amount never takes off more than there is", "[quote]") {
  PriceTable table = plain_table();
  table.discount = Discount{"goodwill", std::nullopt, 6000};
  table.tax = Tax{"tax", Rate{190'000}};
  table.rounding.place = GENERATE(RoundingPlace::once, RoundingPlace::per_line);
  const Quote quote = make_quote(job_of({by_hand("roof", 10, "light")}), table);
  check_adds_up(quote);
  CHECK(quote.total_minor == 0);
  CHECK(quote.remarks.size() == 1);
}

TEST_CASE("an empty job is a quote of nothing", "[quote]") {
  PriceTable table = plain_table();
  table.tax = Tax{"tax", Rate{190'000}};
  table.discount = Discount{"d", Rate{50'000}, std::nullopt};
  const Quote quote = make_quote({}, table);
  CHECK(quote.lines.empty());
  CHECK(quote.total_minor == 0);
}

namespace {

/// A table with everything in it, at random; caps and rows by count only when asked for.
PriceTable random_table(std::mt19937& random, bool caps_and_counts) {
  const auto up_to = [&](int most) { return std::uniform_int_distribution<int>(0, most)(random); };
  PriceTable table;
  table.currency = {"EUR", 2};
  table.severities = {"light", "deep"};
  double from_mm = 0;
  const int bands = 1 + up_to(3);
  for (int i = 0; i < bands; ++i) {
    SizeBand band{"band " + std::to_string(i), from_mm, from_mm += 5 + up_to(20)};
    if (i + 1 == bands) band.to_mm.reset();
    table.bands.push_back(band);
    for (const std::string& severity : table.severities) {
      if (caps_and_counts && up_to(1) == 1) {
        table.prices.push_back({band.name, severity, 1, 3, up_to(9000), Per::spot});
        table.prices.push_back({band.name, severity, 4, std::nullopt, up_to(30000), Per::panel});
      } else {
        table.prices.push_back({band.name, severity, 1, std::nullopt, up_to(9000), Per::spot});
      }
    }
  }
  for (const char* fact : {"aluminium", "body line", "no access"}) {
    Surcharge surcharge;
    surcharge.name = surcharge.fact = fact;
    if (up_to(2) > 0) {
      surcharge.rate = Rate{up_to(600'000)};
      surcharge.of = up_to(1) == 0 ? SurchargeBase::price : SurchargeBase::running;
    } else {
      surcharge.fixed_minor = up_to(3000);
      surcharge.per = up_to(1) == 0 ? Per::spot : Per::panel;
    }
    table.surcharges.push_back(surcharge);
  }
  if (caps_and_counts) table.caps = {{"", up_to(40000)}, {"roof", up_to(40000)}};
  table.items = {{"renewal", up_to(7000), Per::panel, "aluminium", false},
                 {"call-out", up_to(4000), Per::job, "", true}};
  if (up_to(2) > 0) table.tax = Tax{"tax", Rate{up_to(250'000)}};
  if (const int kind = up_to(2); kind == 1)
    table.discount = Discount{"d", Rate{up_to(1'000'000)}, std::nullopt};
  else if (kind == 2)
    table.discount = Discount{"d", std::nullopt, up_to(20000)};
  constexpr RoundingMode modes[] = {RoundingMode::half_up, RoundingMode::half_even, RoundingMode::up,
                                    RoundingMode::down};
  table.rounding.mode = modes[up_to(3)];
  table.rounding.place = up_to(1) == 0 ? RoundingPlace::once : RoundingPlace::per_line;
  constexpr std::int64_t steps[] = {1, 5, 100};
  table.rounding.cash_step_minor = steps[up_to(2)];
  constexpr StraddlePolicy policies[] = {StraddlePolicy::nearest, StraddlePolicy::lower,
                                         StraddlePolicy::upper};
  table.policy = policies[up_to(2)];
  return table;
}

JobSpot random_spot(std::mt19937& random) {
  const auto up_to = [&](int most) { return std::uniform_int_distribution<int>(0, most)(random); };
  const char* panels[] = {"roof", "bonnet", "left front door"};
  const double size_mm = 2 + 0.1 * up_to(800), half_mm = 0.01 * up_to(150);
  JobSpot spot = by_hand(panels[up_to(2)], size_mm, up_to(1) == 0 ? "light" : "deep");
  for (const char* fact : {"aluminium", "body line", "no access"})
    if (up_to(3) == 0) spot.facts.push_back(fact);
  return with_interval(spot, size_mm - half_mm, size_mm + half_mm);
}

}  // namespace

TEST_CASE("random jobs: lines and tax are the total, whatever the table", "[quote][random]") {
  std::mt19937 random(7);
  int with_lines = 0;
  for (int round = 0; round < 600; ++round) {
    const PriceTable table = random_table(random, round % 2 == 0);
    REQUIRE(problems_of(table).empty());
    std::vector<JobSpot> spots(static_cast<std::size_t>(round % 17));
    for (JobSpot& spot : spots) spot = random_spot(random);
    const Quote quote = make_quote(job_of(spots), table);
    check_adds_up(quote);
    REQUIRE(quote.total_minor >= 0);
    REQUIRE(quote.total_minor % table.rounding.cash_step_minor == 0);
    REQUIRE(quote.spots.size() == spots.size());
    with_lines += quote.lines.empty() ? 0 : 1;
  }
  CHECK(with_lines > 500);
}

TEST_CASE("random jobs: another spot never lowers the total without caps and counts", "[quote][random]") {
  std::mt19937 random(8);
  for (int round = 0; round < 400; ++round) {
    const PriceTable table = random_table(random, false);
    std::vector<JobSpot> spots;
    std::int64_t before_minor = 0;
    for (int i = 0; i < 12; ++i) {
      spots.push_back(random_spot(random));
      const std::int64_t total_minor = make_quote(job_of(spots), table).total_minor;
      CAPTURE(round, i, to_string(table.rounding.mode), to_string(table.rounding.place));
      REQUIRE(total_minor >= before_minor);
      before_minor = total_minor;
    }
  }
}

TEST_CASE("random jobs: the order of spots does not matter", "[quote][random]") {
  std::mt19937 random(9);
  for (int round = 0; round < 300; ++round) {
    const PriceTable table = random_table(random, round % 2 == 0);
    std::vector<JobSpot> spots(12);
    for (JobSpot& spot : spots) spot = random_spot(random);
    const Quote quote = make_quote(job_of(spots), table);
    std::shuffle(spots.begin(), spots.end(), random);
    const Quote shuffled = make_quote(job_of(spots), table);
    REQUIRE(shuffled.total_minor == quote.total_minor);
    REQUIRE(shuffled.tax_minor == quote.tax_minor);
  }
}
