// `quote` and `prices`: prices a job, checks a price file.
#include <iostream>
#include <memory>

#include "app/clock.hpp"
#include "app/job_pictures.hpp"
#include "command.hpp"
#include "file_names.hpp"
#include "files/atomic_write.hpp"
#include "files/job_file.hpp"
#include "files/price_file.hpp"
#include "files/quote_file.hpp"
#include "option_hints.hpp"
#include "output_filter.hpp"
#include "picture/picture.hpp"
#include "quote/quote_text.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/photo/photo.hpp"
#include "terminal.hpp"
#include "wording_options.hpp"

namespace ripplegauge::cli {

namespace {

constexpr const char* quote_examples =
    R"(Prices are your own; samples/quote/prices.json and prices.csv show the format with invented numbers.

Examples:
  ripplegauge quote estate.json --prices prices.json
  ripplegauge quote estate.json --prices prices.csv --pdf estate.pdf --html estate.html --workshop "Bay 2"
  ripplegauge quote estate.json --prices prices.json --locale de-DE --json quote.json --csv quote.csv
  ripplegauge quote estate.json --prices prices.json --language de --pdf angebot.pdf
  ripplegauge quote estate.json --prices prices.json --supplement-to quote.json --pdf supplement.pdf)";

constexpr const char* prices_examples =
    R"(Looks for gaps and ambiguities before a customer does.

Examples:
  ripplegauge prices prices.csv
  ripplegauge prices prices.csv --json prices.json)";

struct QuoteArguments {
  std::string job, prices, profile, first, workshop, json, csv, html, pdf;
  WordingArguments wording;
  bool decimal_comma = false;
};

/// Small pictures of the job's photos. One that cannot be read is left out and named.
std::map<int, cv::Mat> thumbnails_of(const Quote& quote, const std::string& job_file) {
  constexpr int longer_side_px = 1600;  // as the job's pictures have it
  std::map<int, cv::Mat> thumbnails;
  for (const JobPhoto& photo : quote.photos) {
    if (photo.picture.empty()) continue;
    try {
      thumbnails[photo.id] = read_photo_colour(picture_of_job(photo.picture, job_file), longer_side_px);
    } catch (const FileError& error) {
      std::cerr << "ripplegauge: left out of the evidence: " << one_line(error.what()) << "\n";
    }
  }
  return thumbnails;
}

Quote quote_for(const std::string& job_file, const PriceTable& table, const Wording& words) {
  const Job job = read_job(job_file);
  try {
    return make_quote(job, table, {.overlap = {}, .words = words});
  } catch (const UsageError& error) {
    throw FileError(job_file, error.what());
  }
}

void write_pages(const Quote& quote, const std::optional<Supplement>& supplement, const Display& display,
                 const QuoteArguments& arguments) {
  if (arguments.html.empty() && arguments.pdf.empty()) return;
  QuotePageOptions options;
  options.workshop = arguments.workshop;
  options.date = now_utc().substr(0, 10);
  options.program = program_name();
  options.thumbnails = thumbnails_of(quote, arguments.job);
  options.supplement = supplement;
  const ReportPage page = quote_page(quote, display, options);
  if (!arguments.html.empty()) write_atomically(arguments.html, report_html(page));
  if (!arguments.pdf.empty()) write_atomically(arguments.pdf, report_pdf(page));
}

int run_quote(const QuoteArguments& arguments) {
  require_ending("--html", arguments.html, {".html", ".htm"});
  require_ending("--pdf", arguments.pdf, {".pdf"});
  require_ending("--csv", arguments.csv, {".csv", ".txt"});
  require_ending("--json", arguments.json, {".json"});
  const PriceTable table = read_prices(arguments.prices);
  const Wording words = wording_from(arguments.wording, arguments.profile, table.locale);
  const Display display(table.currency, words);
  const Quote quote = quote_for(arguments.job, table, words);
  std::optional<Supplement> supplement;
  if (!arguments.first.empty()) supplement = supplement_of(read_first_quote(arguments.first), quote);
  if (!arguments.json.empty())
    write_atomically(arguments.json, quote_to_json(quote, program_name(), supplement));
  if (!arguments.csv.empty())
    write_atomically(arguments.csv, quote_to_csv(quote, {today(), arguments.decimal_comma, words}));
  write_pages(quote, supplement, display, arguments);
  std::cout << quote_text(quote, display);
  if (supplement) std::cout << "\n" << supplement_text(quote, *supplement, display);
  std::cout << quote_hint(quote, words) << question_hint(quote.questions, words);
  return exit_ok;
}

struct PricesArguments {
  std::string prices, json;
};

int run_prices(const PricesArguments& arguments) {
  const PriceTable table = read_prices(arguments.prices);
  const Display display(table.currency, table.locale);
  if (!arguments.json.empty()) write_atomically(arguments.json, prices_to_json(table));
  std::cout << price_table_text(table, display);
  for (const std::string& warning : warnings_of(table)) std::cout << wrap("Check: " + warning, "", "  ");
  return exit_ok;
}

}  // namespace

void add_quote_command(CLI::App& app, ChosenCommand& chosen) {
  auto* command = app.add_subcommand("quote", "Price a job with your own price file");
  auto arguments = std::make_shared<QuoteArguments>();
  command->add_option("JOB", arguments->job, "Job file, see `ripplegauge job`")->required();
  command->add_option("--prices", arguments->prices, "Your prices: JSON, or CSV from a spreadsheet")
      ->required()
      ->type_name("FILE");
  command->add_option("--json", arguments->json, "Write the quote as JSON")->type_name("FILE");
  command->add_option("--csv", arguments->csv, "Write the quote for a spreadsheet")->type_name("FILE");
  command->add_flag(
      "--csv-comma", arguments->decimal_comma,
      "With --csv: semicolons and decimal commas, for spreadsheets of\ncountries that write 1,5");
  command->add_option("--html", arguments->html, "Write a page to mail or print")->type_name("FILE");
  command->add_option("--pdf", arguments->pdf, "Write the same page as PDF")->type_name("FILE");
  command->add_option("--workshop", arguments->workshop, "Your name on the page")->type_name("NAME");
  command
      ->add_option("--supplement-to", arguments->first,
                   "The first quote, saved with --json: what has changed since then")
      ->type_name("FILE");
  command->add_option("--profile", arguments->profile, "Workshop profile, for language, locale and paper")
      ->type_name("FILE");
  add_wording_options(*command, arguments->wording);
  add_unit_options(*command, arguments->wording.units);
  command->footer(quote_examples);
  command->callback([arguments, &chosen] { chosen = [arguments] { return run_quote(*arguments); }; });
}

void add_prices_command(CLI::App& app, ChosenCommand& chosen) {
  auto* command = app.add_subcommand("prices", "Check a price file and show what it says");
  auto arguments = std::make_shared<PricesArguments>();
  command->add_option("PRICES", arguments->prices, "Price file: JSON, or CSV from a spreadsheet")->required();
  command->add_option("--json", arguments->json, "Write it as a JSON price file")->type_name("FILE");
  command->footer(prices_examples);
  command->callback([arguments, &chosen] { chosen = [arguments] { return run_prices(*arguments); }; });
}

}  // namespace ripplegauge::cli
