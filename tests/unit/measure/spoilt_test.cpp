// Photos spoilt in every way that phones, weather and people know: what is wrong must never be silent.
#include <filesystem>
#include <iostream>
#include <map>
#include <set>

#include "catch.hpp"
#include "practice_photos.hpp"
#include "ripplegauge/core/errors.hpp"
#include "spoilt_photo.hpp"

using namespace ripplegauge;

namespace {

struct Row {
  int photos = 0, measured = 0, no_dent = 0, refused = 0, warned = 0, wrong_but_warned = 0, silent = 0;
  void add(const Outcome& o) {
    ++photos;
    measured += o.measured;
    no_dent += o.no_dent;
    refused += o.refused;
    warned += !o.refused && o.warned;
    wrong_but_warned += !o.wrong.empty() && o.warned;
    silent += o.wrong_and_silent();
  }
};

class Table {
 public:
  void add(const Spoiling& spoiling, const Outcome& outcome) { rows_[spoiling.family].add(outcome); }
  /// Prints what became of each family.
  void report(const std::string& title) const {
    std::cout
        << title
        << "\n                 cases measured no-dent refused warned wrong-but-warned wrong-and-silent\n";
    for (const auto& [family, r] : rows_)
      std::cout << cv::format("  %-14s %5d %8d %7d %7d %6d %16d %16d\n", family.c_str(), r.photos, r.measured,
                              r.no_dent, r.refused, r.warned, r.wrong_but_warned, r.silent);
    std::cout.flush();
  }

 private:
  std::map<std::string, Row> rows_;
};

Outcome outcome_of_spoilt(const Sample& good, const Spoiling& spoiling) {
  Sample s = good;
  try {
    spoiling.spoil(s, spoiling.strength);
  } catch (const FileError&) {  // so badly compressed that it is taken for damaged
    Outcome unreadable;
    unreadable.refused = true;
    return unreadable;
  }
  return outcome_of(measure(s.photo, s.request).reading, s.dents);
}

void check_spoilt(const std::string& name, const Sample& good, const Spoiling& spoiling, Table& table) {
  const Outcome outcome = outcome_of_spoilt(good, spoiling);
  table.add(spoiling, outcome);
  if (!outcome.wrong.empty())
    std::cout << name << ", " << spoiling.name << " " << spoiling.strength
              << (outcome.warned ? ": warned," : ": SILENT,") << outcome.wrong << std::endl;
  INFO(name << ", " << spoiling.name << " " << spoiling.strength << ":" << outcome.wrong);
  CHECK_FALSE(outcome.wrong_and_silent());
}

}  // namespace

// Every run does the first of each family on a small photo; the slow tests do all of them.
TEST_CASE("a small photo, spoilt: nothing is wrong and silent", "[spoilt]") {
  Sample good = sample("low-light");
  good.photo = shrunk(good.photo, 0.6);
  Table table;
  std::set<std::string> done;
  for (const Spoiling& spoiling : spoilings())
    if (done.insert(spoiling.family).second) check_spoilt("low-light", good, spoiling, table);
  CHECK(done.size() == 10);
}

TEST_CASE("sample photos, spoilt: nothing is wrong and silent", "[spoilt][slow]") {
  Table table;
  for (const char* name : {"low-dark", "low-light", "high-dark", "low-metallic", "crease", "hail",
                           "pull-before", "pull-after", "step", "no-dent"}) {
    const Sample good = sample(name);
    for (const Spoiling& spoiling : spoilings()) check_spoilt(name, good, spoiling, table);
  }
  table.report("sample photos, spoilt");
}

TEST_CASE("practice photos, spoilt: nothing is wrong and silent", "[spoilt][practice][slow]") {
  Table table;
  for (const std::filesystem::path& file : practice_files({"single", "setup"})) {
    const PracticePhoto p = read_practice(file);
    if (p.faulty) continue;
    const Sample good{p.photo, p.request, p.dents};
    for (const Spoiling& spoiling : spoilings()) check_spoilt(p.name, good, spoiling, table);
  }
  table.report("practice photos, spoilt");
}
