#include "quote/price_table.hpp"

#include <algorithm>

#include "catch.hpp"
#include "made_up.hpp"

using namespace ripplegauge;
using made_up::plain_table;

namespace {

/// All problems as one text, to look for what it must name.
std::string problems_text(const PriceTable& table) {
  std::string text;
  for (const TableProblem& problem : problems_of(table))
    text += problem.key + " is " + problem.value + ", but " + problem.rule + "\n";
  return text;
}

bool names(const PriceTable& table, const std::string& what) {
  const std::string text = problems_text(table);
  INFO(text);
  return text.find(what) != std::string::npos;
}

}  // namespace

TEST_CASE("a complete table has no problems", "[price_table]") {
  CHECK(problems_text(plain_table()).empty());
}

TEST_CASE("gaps and overlaps between bands are named with their millimetres", "[price_table]") {
  PriceTable table = plain_table();
  SECTION("gap in the middle") {
    table.bands[1].from_mm = 25;
    CHECK(names(table, "without a band for 20 to 25 mm, between \"small\" and \"middle\""));
  }
  SECTION("gap at the start") {
    table.bands[0].from_mm = 5;
    CHECK(names(table, "without a band for 0 to 5 mm"));
  }
  SECTION("gap at the end") {
    table.bands[2].to_mm = 80;
    CHECK(names(table, "without a band for 80 mm and more"));
  }
  SECTION("overlap") {
    table.bands[0].to_mm = 22.5;
    CHECK(names(table, "\"small\" and \"middle\" both hold 20 to 22.5 mm"));
  }
  SECTION("two open ends") {
    table.bands[1].to_mm.reset();
    CHECK(names(table, "\"middle\" and \"large\" both hold 40 mm and more"));
  }
  SECTION("backwards") {
    table.bands[1].to_mm = 15;
    CHECK(names(table, "to_mm must be above from_mm"));
  }
  SECTION("a name twice") {
    table.bands[1].name = "small";
    CHECK(names(table, "a name may stand only once"));
  }
  SECTION("not a number") {
    table.bands[1].from_mm = std::numeric_limits<double>::quiet_NaN();
    CHECK(names(table, "from_mm must be between"));
  }
  SECTION("none") {
    table.bands.clear();
    CHECK(names(table, "at least one size band"));
  }
}

TEST_CASE("steps by which more spots cost less are warned of, with their amounts", "[price_table]") {
  PriceTable table = made_up::plain_table();
  CHECK(warnings_of(table).empty());
  table.prices[0].count_to = 5;
  table.prices[0].price_minor = 4000;
  table.prices.push_back({"small", "light", 6, std::nullopt, 2750, Per::spot});
  REQUIRE(problems_of(table).empty());
  REQUIRE(warnings_of(table).size() == 1);
  CHECK(warnings_of(table)[0] ==
        "band \"small\", severity \"light\": 5 spots cost 200.00, 6 cost less, 165.00.");
  table.prices.back().price_minor = 3500;
  CHECK(warnings_of(table).empty());
  table.prices[3].price_minor = 5000;     // middle and deep, below middle and light
  CHECK(warnings_of(table).size() == 2);  // and below small and deep
}

TEST_CASE("rows of one panel hold every count, or are named", "[price_table]") {
  PriceTable table = made_up::plain_table();
  table.prices.push_back({"small", "light", 1, 4, 5000, Per::spot, "roof"});
  REQUIRE(problems_of(table).size() == 1);
  CHECK(problems_of(table)[0].value.find("panel \"roof\"") != std::string::npos);
  table.prices.back().count_to.reset();
  CHECK(problems_of(table).empty());
  table.prices.push_back({"small", "any", 1, std::nullopt, 5000, Per::spot, "roof"});
  CHECK_FALSE(problems_of(table).empty());
}

TEST_CASE("the order in which bands stand does not matter", "[price_table]") {
  PriceTable table = plain_table();
  std::reverse(table.bands.begin(), table.bands.end());
  CHECK(problems_text(table).empty());
}

TEST_CASE("a missing, double or mixed price is named with its band and severity", "[price_table]") {
  PriceTable table = plain_table();
  SECTION("missing") {
    table.prices.erase(table.prices.begin() + 3);  // middle, deep
    CHECK(names(table, "without a price for band \"middle\", severity \"deep\""));
  }
  SECTION("twice") {
    table.prices.push_back(table.prices[3]);
    CHECK(names(table, "two rows for band \"middle\", severity \"deep\" hold a count of 1"));
  }
  SECTION("any beside named severities") {
    table.prices.push_back({"large", any_word, 1, std::nullopt, 100, Per::spot});
    CHECK(names(table, "band \"large\" has rows for severity \"any\" beside named ones"));
  }
  SECTION("any beside named bands") {
    table.prices.push_back({any_word, any_word, 1, std::nullopt, 100, Per::spot});
    CHECK(names(table, "rows for band \"any\" beside rows for a named band"));
  }
  SECTION("unknown band") {
    table.prices[0].band = "tiny";
    CHECK(names(table, "no size band has this name"));
  }
  SECTION("unknown severity") {
    table.prices[0].severity = "odd";
    CHECK(names(table, "one of severities"));
  }
  SECTION("negative") {
    table.prices[0].price_minor = -1;
    CHECK(names(table, "an amount must be from 0"));
  }
  SECTION("beyond pulling, priced, without a row") {
    table.price_beyond_pulling = true;
    CHECK(names(table, "without a price for band \"small\", severity \"torn\""));
  }
  SECTION("any covers everything") {
    table.prices = {{any_word, any_word, 1, std::nullopt, 100, Per::spot}};
    CHECK(problems_text(table).empty());
  }
}

TEST_CASE("names that differ by capitals alone are ambiguous", "[price_table]") {
  PriceTable table = plain_table();
  SECTION("severities") { table.severities.push_back("LIGHT"); }
  SECTION("bands") { table.bands[2].name = "Middle"; }
  SECTION("items") {
    table.items = {{"polish", 100, Per::job, "", false}, {"Polish", 200, Per::job, "", false}};
  }
  SECTION("caps") { table.caps = {{"roof", 100}, {"Roof", 200}}; }
  CHECK_FALSE(problems_text(table).empty());
}

TEST_CASE("counts on a panel must follow each other without gap or overlap", "[price_table]") {
  PriceTable table = plain_table();
  table.prices.erase(table.prices.begin());  // small, light
  const auto row = [&](int from, std::optional<int> to) {
    table.prices.push_back({"small", "light", from, to, 100, Per::panel});
  };
  SECTION("complete, in any order") {
    row(6, 15);
    row(16, std::nullopt);
    row(1, 5);
    CHECK(problems_text(table).empty());
  }
  SECTION("gap") {
    row(1, 5);
    row(8, std::nullopt);
    CHECK(names(table, "without a price for band \"small\", severity \"light\", counts of 6 to 7"));
  }
  SECTION("gap of one") {
    row(2, std::nullopt);
    CHECK(names(table, "severity \"light\", a count of 1"));
  }
  SECTION("overlap") {
    row(1, 6);
    row(6, std::nullopt);
    CHECK(names(table, "two rows for band \"small\", severity \"light\" hold a count of 6"));
  }
  SECTION("row behind an open end") {
    row(1, std::nullopt);
    row(6, 9);
    CHECK(names(table, "hold a count of 6"));
  }
  SECTION("no end") {
    row(1, 30);
    CHECK(names(table, "counts of 31 and more"));
  }
  SECTION("backwards") {
    row(5, 2);
    CHECK(names(table, "count_to must be from count_from"));
  }
}

TEST_CASE("surcharges, caps, items, discount, tax and rounding keep to their ranges", "[price_table]") {
  PriceTable table = plain_table();
  SECTION("surcharge with both") {
    table.surcharges = {{"aluminium", "aluminium", Rate{250'000}, SurchargeBase::price, 100, Per::spot}};
    CHECK(names(table, "both a percentage and an amount"));
  }
  SECTION("surcharge with neither") {
    table.surcharges = {
        {"aluminium", "aluminium", std::nullopt, SurchargeBase::price, std::nullopt, Per::spot}};
    CHECK(names(table, "neither a percentage nor an amount"));
  }
  SECTION("surcharge for nothing") {
    table.surcharges = {{"aluminium", "", Rate{250'000}, SurchargeBase::price, std::nullopt, Per::spot}};
    CHECK(names(table, "fact must say"));
  }
  SECTION("negative surcharge") {
    table.surcharges = {{"aluminium", "aluminium", Rate{-1}, SurchargeBase::price, std::nullopt, Per::spot}};
    CHECK(names(table, "the percentage must be between 0 and 1000"));
  }
  SECTION("panel capped twice") {
    table.caps = {{"roof", 100}, {"roof", 200}};
    CHECK(names(table, "caps \"roof\""));
  }
  SECTION("discount above everything") {
    table.discount = Discount{"discount", Rate{1'000'001}, std::nullopt};
    CHECK(names(table, "the percentage must be between 0 and 100"));
  }
  SECTION("tax above everything") {
    table.tax = Tax{"tax", Rate{1'000'001}};
    CHECK(names(table, "percent must be between 0 and 100"));
  }
  SECTION("item per spot") {
    table.items = {{"renewal", 100, Per::spot, "", false}};
    CHECK(names(table, "per \"panel\" or per \"job\""));
  }
  SECTION("cash step of nothing") {
    table.rounding.cash_step_minor = 0;
    CHECK(names(table, "cash_step"));
  }
}
