#include "catch.hpp"
#include "run_program.hpp"

using Catch::Matchers::ContainsSubstring;

namespace {

/// 3 parts, 2 people, 2 trials by two methods; the hand readings scatter ten times as much.
std::string two_methods() {
  std::string text = "part,person,trial,method,value_mm\n";
  const double noise[] = {0.9, -1.1, 0.3, -0.5, 1.2, -0.2, -0.8, 0.6, -0.1, 1.0, -1.3, 0.4};
  for (const std::string method : {"program", "hand"}) {
    int i = 0;
    for (const std::string part : {"1", "2", "3"})
      for (const std::string person : {"a", "b"})
        for (const std::string trial : {"1", "2"})
          text += part + "," + person + "," + trial + "," + method + "," +
                  std::to_string(std::stod(part) + noise[i++] * (method == "hand" ? 0.1 : 0.01)) + "\n";
  }
  return text;
}

}  // namespace

TEST_CASE("study tells the figures of each method and which repeats better", "[cli][study]") {
  const TemporaryFolder folder;
  const ProgramRun run =
      run_program({"study", folder.write("study.csv", two_methods()), "--json", folder.file("s.json")});
  CHECK(run.exit_code == 0);
  CHECK(run.err.empty());
  CHECK_THAT(run.out, ContainsSubstring("program: 3 parts, 2 people, 2 trials each"));
  CHECK_THAT(run.out, ContainsSubstring("hand: 3 parts"));
  CHECK_THAT(run.out, ContainsSubstring("\"program\" repeats 10 times more closely than \"hand\""));
  CHECK_THAT(folder.read("s.json"), ContainsSubstring("\"measurement\""));
}

TEST_CASE("study reads a spreadsheet's semicolons and decimal commas", "[cli][study]") {
  const TemporaryFolder folder;
  std::string text = two_methods();
  for (char& c : text) c = c == ',' ? ';' : c == '.' ? ',' : c;
  const ProgramRun run = run_program({"study", folder.write("study.csv", text)});
  CHECK(run.exit_code == 0);
  CHECK_THAT(run.out, ContainsSubstring("repeats 10 times"));
}

TEST_CASE("an incomplete study says what is missing and is no error", "[cli][study]") {
  const TemporaryFolder folder;
  const ProgramRun run = run_program(
      {"study", folder.write("s.csv", "part,person,trial,value\n1,a,1,0.3\n1,a,2,0.4\n2,a,1,0.5\n")});
  CHECK(run.exit_code == 0);
  CHECK_THAT(run.out, ContainsSubstring("part \"2\", person \"a\": 1 of 2 trials"));
  CHECK_THAT(run.out, ContainsSubstring("one person only"));
}

TEST_CASE("a damaged table is refused with line and column", "[cli][study]") {
  const TemporaryFolder folder;
  const auto refused = [&](const std::string& text, const std::string& complaint) {
    const ProgramRun run = run_program({"study", folder.write("s.csv", text)});
    CHECK(run.exit_code == 4);
    CHECK_THAT(run.err, ContainsSubstring(complaint));
  };
  refused("", "is empty");
  refused("part,person,trial\n", "the column value is missing");
  refused("part,person,trial,value,colour\n", "the column \"colour\" is unknown");
  refused("part,person,trial,value,part\n", "part stands twice");
  refused("part,person,trial,value\n", "no readings");
  refused("part,person,trial,value\n1,a,1,wide\n", "line 2: value is \"wide\"");
  refused("part,person,trial,value\n1,a,1,nan\n", "line 2: value is \"nan\"");
  refused("part,person,trial,value\n1,a,1,1e400\n", "line 2: value is \"1e400\"");
  refused("part,person,trial,value\n1,,1,2\n", "line 2: person is empty");
  refused("part,person,trial,value\n1,a,1,2\n1,a,1,3\n",
          "line 3: part \"1\", person \"a\", trial \"1\" stands already in line 2");
  CHECK(run_program({"study", folder.file("none.csv")}).exit_code == 4);
  CHECK(run_program({"study"}).exit_code == 2);
}

namespace {

/// A sample in other bytes: what follows a JPEG's end changes nothing in its picture.
void put(const TemporaryFolder& folder, const std::string& name) {
  const std::filesystem::path sample =
      std::filesystem::path(RIPPLEGAUGE_SOURCE_DIR) / "samples/photos/low-dark.jpg";
  std::filesystem::create_directories((folder.path() / name).parent_path());
  folder.write(name, ScratchFolder::read(sample) + name);
}

}  // namespace

TEST_CASE("study measures a folder of photos and compares it with what is known", "[cli][study]") {
  const TemporaryFolder folder;
  put(folder, "scrap/ball/anna_1.jpg");
  put(folder, "scrap/ball/anna_2/a.jpg");
  put(folder, "scrap/ball/anna_2/b.jpg");
  folder.write("known.csv", "part,depth_mm,depth_uncertainty_mm\nball,0.21,0.002\n");
  const ProgramRun run =
      run_program({"study", folder.file("scrap"), "--board-pitch", "14", "--bar-length", "98.4", "--known",
                   folder.file("known.csv"), "--tolerance", "0.2", "--html", folder.file("s.html"), "--pdf",
                   folder.file("s.pdf"), "--json", folder.file("s.json")});
  CHECK(run.exit_code == 0);
  CHECK(run.err.empty());
  CHECK_THAT(run.out, ContainsSubstring("ball/anna_1: 0.2"));
  CHECK_THAT(run.out, ContainsSubstring("ball/anna_2: 2 photos, 0.2"));
  CHECK_THAT(run.out, ContainsSubstring("photos: 1 part, 1 person, 2 trials each"));
  CHECK_THAT(run.out, ContainsSubstring("2 of 2 intervals hold the known value"));
  CHECK_THAT(folder.read("s.html"), ContainsSubstring("0.21 ± 0.002"));
  CHECK(folder.read("s.pdf").starts_with("%PDF"));
  CHECK_THAT(folder.read("s.json"), ContainsSubstring("\"intervals_that_hold_it\": 2"));
}

TEST_CASE("study refuses photos and known values that it cannot place", "[cli][study]") {
  const TemporaryFolder folder;
  std::filesystem::create_directories(folder.path() / "scrap/ball");
  folder.write("scrap/ball/anna.jpg", "no photo");
  const ProgramRun run = run_program({"study", folder.file("scrap"), "--board-pitch", "14"});
  CHECK(run.exit_code == 4);
  CHECK_THAT(run.err, ContainsSubstring("PART/PERSON_TRIAL"));
  const std::string table = folder.write("s.csv", two_methods());
  const auto refused = [&](const std::string& text, const std::string& complaint) {
    const ProgramRun bad = run_program({"study", table, "--known", folder.write("k.csv", text)});
    CHECK(bad.exit_code == 4);
    CHECK_THAT(bad.err, ContainsSubstring(complaint));
  };
  refused("", "is empty");
  refused("depth_mm\n1\n", "the column part is missing");
  refused("part,height\n1,1\n", "the column \"height\"");
  refused("part,depth_mm\n1,deep\n", "line 2");
  refused("part,depth_mm\n1,-1\n", "must not be below 0");
  refused("part,depth_mm\n1,1\n1,2\n", "stands there twice");
}
