#include "files/price_file.hpp"

#include <algorithm>

#include "catch.hpp"
#include "ripplegauge/core/errors.hpp"
#include "scratch_folder.hpp"
#include "unit/quote/made_up.hpp"

using namespace ripplegauge;
using Catch::Matchers::ContainsSubstring;

namespace {

const std::filesystem::path samples = RIPPLEGAUGE_SOURCE_DIR "/samples/quote";

std::string replaced(std::string text, const std::string& what, const std::string& by) {
  const auto at = text.find(what);
  REQUIRE(at != std::string::npos);
  return text.replace(at, what.size(), by);
}

std::string sample_with(const std::string& what, const std::string& by) {
  return replaced(ScratchFolder::read(samples / "prices.json"), what, by);
}

std::string csv_with(const std::string& what, const std::string& by) {
  return replaced(ScratchFolder::read(samples / "prices.csv"), what, by);
}

std::string json_refusal(const std::string& text) {
  return message_of<FileError>([&] { prices_from_json(text, "prices.json"); });
}

std::string csv_refusal(const std::string& text) {
  return message_of<FileError>([&] { prices_from_csv(text, "prices.csv"); });
}

}  // namespace

TEST_CASE("the sample price files say the same, and say that they are invented", "[price_file]") {
  const PriceTable json = read_prices(samples / "prices.json"), csv = read_prices(samples / "prices.csv");
  CHECK(prices_to_json(json) == prices_to_json(csv));
  CHECK_THAT(json.note, ContainsSubstring("invented"));
  CHECK(json.currency.code == "EUR");
  CHECK(json.currency.decimals == 2);
  CHECK(json.bands.size() == 3);
  CHECK(json.prices.size() == 10);
  CHECK(json.prices[1].price_minor == 3400);
  CHECK_FALSE(json.prices[9].price_minor.has_value());
  CHECK(json.surcharges[1].of == SurchargeBase::running);
  CHECK(json.surcharges[2].fixed_minor == 1100);
  CHECK(json.surcharges[3].per == Per::panel);
  CHECK(json.discount->rate == Rate{50'000});
  CHECK(json.tax->rate == Rate{210'000});
  CHECK(json.rounding.cash_step_minor == 5);
}

TEST_CASE("a price table survives the way to a file and back", "[price_file]") {
  PriceTable table = made_up::plain_table();
  table.currency = {"KWD", 3};
  table.note = "Kommas, \"Anführungen\" und\nZeilen";
  table.locale = "ar-KW";
  table.size_by = SizeMeasure::length;
  table.policy = StraddlePolicy::upper;
  table.bands[0].to_mm = table.bands[1].from_mm = 22.125;
  table.prices[0].price_minor = 1;
  table.prices[1].price_minor = 123456789012;
  table.caps = {{"roof", 5}, {"", 7}};
  table.surcharges = {{"x", "y", Rate{88'750}, SurchargeBase::running, std::nullopt, Per::spot}};
  table.items = {{"i", 1, Per::job, "", true}, {"j", 2, Per::panel, "fact", false}};
  table.discount = Discount{"d", std::nullopt, 250};
  table.tax = Tax{"VAT", Rate{77'000}};
  table.rounding = {RoundingMode::half_even, RoundingPlace::per_line, 5};
  REQUIRE(problems_of(table).empty());
  const std::string text = prices_to_json(table);
  const PriceTable again = prices_from_json(text, "prices");
  CHECK(prices_to_json(again) == text);
  CHECK(again.prices[1].price_minor == 123456789012);
  CHECK(again.bands[0].to_mm == 22.125);
  CHECK(again.surcharges[0].rate == Rate{88'750});
  CHECK(again.items[0].always);
  CHECK(again.rounding.place == RoundingPlace::per_line);
}

TEST_CASE("gaps and ambiguities of a price file are named with the file", "[price_file]") {
  CHECK_THAT(json_refusal(sample_with("\"from_mm\": 20", "\"from_mm\": 25")),
             ContainsSubstring("prices.json") && ContainsSubstring("without a band for 20 to 25 mm"));
  CHECK_THAT(json_refusal(sample_with("\"count_from\": 6", "\"count_from\": 7")),
             ContainsSubstring("severity \"shallow\", a count of 6"));
  CHECK_THAT(csv_refusal(csv_with("band,middle,,20,40", "band,middle,,20,35")),
             ContainsSubstring("prices.csv") && ContainsSubstring("without a band for 35 to 40 mm"));
}

TEST_CASE("hostile price files are refused, and the message says where", "[price_file]") {
  struct Row {
    const char *what, *by, *says;
  };
  const Row row = GENERATE(
      Row{"\"schema\": 1", "\"schema\": 2", "schema"}, Row{"40.00", "-40.00", "price"},
      Row{"40.00", "40.005", "decimals"}, Row{"40.00", "1e30", "price"}, Row{"40.00", "NaN", "line"},
      Row{"40.00", "1e999", ""}, Row{"40.00", "\"40\"", "price"},
      Row{"\"price\": 40.00", "\"prize\": 40.00", "pri"}, Row{", \"price\": 40.00", "", "needs a price"},
      Row{"\"price\": 40.00", "\"price\": 4, \"price\": 5", "price"},
      Row{"\"price\": 40.00", "\"price\": 40.00, \"on_request\": true", "on_request"},
      Row{"\"EUR\"", "\"EURO\"", "currency"}, Row{"\"EUR\"", "\"QQQ\"", "currency"},
      Row{"\"en-IE\"", "\"xx-NOWHERE\"", "locale"}, Row{"\"nearest\"", "\"middle\"", "straddle"},
      Row{"\"percent\": 21", "\"percent\": 121", "percent"},
      Row{"\"percent\": 21", "\"percent\": 0.00001", "decimals"},
      Row{"\"percent\": 22", "\"percent\": 22, \"amount\": 3", "both a percentage and an amount"},
      Row{"\"percent\": 22", "\"percent\": 22, \"per\": \"panel\"", "per"},
      Row{"\"cash_step\": 0.05", "\"cash_step\": 0", "cash_step"},
      Row{"\"mode\": \"half_up\"", "\"mode\": \"fair\"", "mode"},
      Row{"\"severities\": [\"severe\"]", "\"severities\": [\"bad\"]", "bad"},
      Row{"\"count_from\": 6", "\"count_from\": 6.5", "count_from"},
      Row{"\"from_mm\": 0", "\"from_mm\": -1", "from_mm"}, Row{"\"panel\": \"roof\", ", "", "caps"});
  CAPTURE(row.what, row.by);
  CHECK_THAT(json_refusal(sample_with(row.what, row.by)),
             ContainsSubstring("prices.json") && ContainsSubstring(row.says));
}

TEST_CASE("a price file from a spreadsheet may use semicolons, tabs, decimal commas and a byte order mark",
          "[price_file]") {
  const std::string expected = prices_to_json(read_prices(samples / "prices.csv"));
  const std::string commas = ScratchFolder::read(samples / "prices.csv");
  std::string semicolons;
  for (std::size_t i = 0; i < commas.size(); ++i) {
    const bool in_a_sentence = commas[i + 1] == ' ';
    semicolons += commas[i] == ',' && !in_a_sentence   ? ';'
                  : commas[i] == '.' && !in_a_sentence ? ','
                                                       : commas[i];
  }
  const auto numbers = [](std::string text) {  // name and note end in a point
    return text.erase(0, text.find("\"currency\""));
  };
  CHECK(numbers(prices_to_json(prices_from_csv("\xEF\xBB\xBF" + semicolons, "p.csv"))) == numbers(expected));
  std::string tabs = semicolons;
  std::replace(tabs.begin(), tabs.end(), ';', '\t');
  CHECK(numbers(prices_to_json(prices_from_csv(tabs, "p.csv"))) == numbers(expected));
}

TEST_CASE("a price file as people make it: titles, remarks, signs, thousands, capitals", "[price_file]") {
  const std::string people =
      "Our prices,,\r\n,,\r\nvalid from spring,,\r\n"
      "ROW,Name,Value,From_mm,Price,Comment,Percent,Panel,Hours,Of\r\n"
      "Setting,Currency,eur\r\n"
      "Setting,hourly_rate,\"€ 1,080.50\"\r\n"
      "Setting,minimum,50.00 EUR\r\n"
      "band,all,,0,,whatever it is\r\n"
      "price,any,,,\"1,234.50 €\",\"a remark, with a comma\"\r\n"
      "price,any,,,On Request,,,roof\r\n"
      "item,trim,Untaxed,,,,,,1.5\r\n"
      "discount,long panel,,,,,10,bonnet\r\n"
      "tax,first,,,,,5,,\r\ntax,second,,,,,9.975,,,running\r\n";
  const PriceTable table = prices_from_csv(people, "p.csv");
  CHECK(table.prices[0].price_minor == 123450);
  CHECK_FALSE(table.prices[1].price_minor.has_value());
  CHECK(table.prices[1].panel == "roof");
  CHECK(table.hourly_minor == 108050);
  CHECK(table.minimum_minor == 5000);
  CHECK(table.items[0].untaxed);
  CHECK(table.items[0].price_minor == 162075);
  CHECK(table.panel_discounts[0].panel == "bonnet");
  CHECK(table.second_tax->on_first);
  const std::string json = prices_to_json(table);
  CHECK(prices_to_json(prices_from_json(json, "p.json")) == json);

  std::string utf16 = "\xFF\xFE";
  for (const char c :
       std::string("sep=;\nrow;name;value;from_mm;price\nsetting;currency;EUR;;\nband;all;;0;\n"
                   "price;any;;;1.234,50\n")) {
    utf16 += c;
    utf16 += '\0';
  }
  CHECK(prices_from_csv(utf16, "p.csv").prices[0].price_minor == 123450);

  const std::string twofold =
      "row;name;value;from_mm;price\nsetting;currency;KWD;;\nband;all;;0;\nprice;any;;;1.234\n";
  CHECK_THAT(csv_refusal(twofold), ContainsSubstring("two ways") && ContainsSubstring("line 4, price"));
}

TEST_CASE("hostile tables are refused with line and column", "[price_file]") {
  CHECK_THAT(csv_refusal(csv_with("40.00", "40.005")),
             ContainsSubstring("line 18, price") && ContainsSubstring("40.005"));
  CHECK_THAT(csv_refusal(csv_with("40.00", "forty")), ContainsSubstring("forty"));
  CHECK_THAT(csv_refusal(csv_with("40.00", "1e3")), ContainsSubstring("1e3"));
  CHECK_THAT(csv_refusal(csv_with("40.00", "99999999999999999999")), ContainsSubstring("price"));
  CHECK_THAT(csv_refusal(csv_with("on request", "")), ContainsSubstring("must not be empty"));
  CHECK_THAT(csv_refusal(csv_with("row,name", "row,nome")), ContainsSubstring("nome"));
  CHECK_THAT(csv_refusal(csv_with("row,name,value", "row,name,name")), ContainsSubstring("twice"));
  CHECK_THAT(csv_refusal(csv_with("tax,", "taxes,")), ContainsSubstring("taxes"));
  CHECK_THAT(csv_refusal(csv_with("setting,straddle,nearest", "setting,straddle,middle")),
             ContainsSubstring("middle"));
  CHECK_THAT(csv_refusal(csv_with("setting,straddle,nearest", "setting,size_by,length")),
             ContainsSubstring("only once"));
  CHECK_THAT(csv_refusal(csv_with("setting,currency,EUR,,,,,,,,,,\r\n", "")), ContainsSubstring("currency"));
  CHECK_THAT(csv_refusal(csv_with("severity,shallow,,", "severity,shallow,,7")),
             ContainsSubstring("nothing there"));
  CHECK_THAT(csv_refusal(csv_with("small", "sm\xE4ll")), ContainsSubstring("UTF-8"));
  CHECK_FALSE(csv_refusal("").empty());
  CHECK_FALSE(csv_refusal("row,name\n").empty());
  CHECK_FALSE(csv_refusal(std::string(100000, '"')).empty());
  CHECK_FALSE(csv_refusal(std::string(100000, ',')).empty());
}

TEST_CASE("a table may hold what JSON may hold, and no more", "[price_file]") {
  const std::string header = "row,name,value,from_mm,price,percent\nsetting,currency,EUR,,,\n";
  const std::string rows = "band,all,,0,,\nprice,any,,,40.00,\n";
  const auto with = [&](const std::string& more) { return header + rows + more; };
  const auto surcharges = [](int count) {
    std::string text;
    for (int i = 0; i < count; ++i) text += "surcharge,number " + std::to_string(i) + ",,,,25\n";
    return text;
  };
  const auto reads_back = [](const std::string& text) {
    const std::string json = prices_to_json(prices_from_csv(text, "p.csv"));
    return prices_to_json(prices_from_json(json, "p.json")) == json;
  };
  CHECK(reads_back(with("surcharge," + std::string(200, 'x') + ",,,,25\n")));
  CHECK_THAT(csv_refusal(with("surcharge," + std::string(201, 'x') + ",,,,25\n")),
             ContainsSubstring("line 5, name") && ContainsSubstring("xxx...") &&
                 ContainsSubstring("longer than 200 bytes"));
  CHECK(reads_back(with("setting,note," + std::string(2000, 'x') + ",,,\n")));
  CHECK_THAT(csv_refusal(with("setting,note," + std::string(2001, 'x') + ",,,\n")),
             ContainsSubstring("line 5, value") && ContainsSubstring("longer than 2000 bytes"));
  CHECK(reads_back(with(surcharges(1000))));
  CHECK_THAT(csv_refusal(with(surcharges(1001))),
             ContainsSubstring("line 1005, row") && ContainsSubstring("1000 rows of this kind"));
  CHECK(reads_back(with("setting,cash_step,1000.00,,,\n")));
  CHECK_THAT(csv_refusal(with("setting,cash_step,10000000000000.00,,,\n")), ContainsSubstring("rounding"));
}

TEST_CASE("a percentage may stand with its sign, empty rows and columns are passed over", "[price_file]") {
  std::string text = csv_with("tax,sales tax (invented),,,,,,,,,21", "tax,sales tax (invented),,,,,,,,,21 %");
  text += std::string(12, ',') + "\r\n";
  CHECK(prices_from_csv(text, "p.csv").tax->rate == Rate{210'000});
}
