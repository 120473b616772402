#include "catch.hpp"
#include "run_program.hpp"

using Catch::Matchers::ContainsSubstring;

namespace {

std::string log_of(int attempts) {
  std::string text =
      "logged_at,who,exercise,before,after,spots,depth_before_mm,depth_left_mm,percent_gone,highs_made,new_"
      "lows,"
      "minutes,outcome\r\n";
  for (int i = 0; i < attempts; ++i)
    text += "2026-03-14T09:26:53Z,bay 2,\"door, edge\",a.jpg,b.jpg,1,0.5,0.2," +
            std::to_string(40 + 10 * i + i % 2) + ",1,0,12,partly_pulled\r\n";
  return text;
}

}  // namespace

TEST_CASE("progress tells attempts, highs, time and trend", "[cli][progress]") {
  const TemporaryFolder folder;
  const ProgramRun run =
      run_program({"progress", folder.write("log.csv", log_of(5)), "--chart", folder.file("c.svg"), "--chart",
                   folder.file("c.png"), "--chart", folder.file("c.pdf"), "--json", folder.file("p.json")});
  CHECK(run.exit_code == 0);
  CHECK_THAT(run.out, ContainsSubstring("door, edge, bay 2"));
  CHECK_THAT(run.out, ContainsSubstring("attempts             5"));
  CHECK_THAT(run.out, ContainsSubstring("5, in 5 of 5 attempts"));
  CHECK_THAT(run.out, ContainsSubstring("12 min"));
  CHECK_THAT(run.out, ContainsSubstring("improving (+10.0 points an attempt"));
  CHECK_THAT(folder.read("c.svg"), ContainsSubstring("<svg"));
  CHECK(folder.read("c.png").substr(1, 3) == "PNG");
  CHECK(folder.read("c.pdf").substr(0, 5) == "%PDF-");
  CHECK_THAT(folder.read("p.json"), ContainsSubstring("\"trend\": \"improving\""));
}

TEST_CASE("progress says where nothing proves the place", "[cli][progress]") {
  const TemporaryFolder folder;
  const std::string head = "logged_at,who,exercise,percent_gone,past_flat,outcome,same_place\r\n",
                    row = "2026-03-01T09:00:00Z,bay 1,door,100,0,gone,";
  const auto told = [&](const std::string& place) {
    return run_program({"progress", folder.write("log.csv", head + row + place + "\r\n")}).out;
  };
  CHECK_THAT(told("likely"),
             ContainsSubstring("in 1 of 1 of these: gone only if their photos show one place"));
  CHECK_THAT(told("proven"), !ContainsSubstring("not proven"));
}

TEST_CASE("progress refuses what it cannot show", "[cli][progress]") {
  const TemporaryFolder folder;
  const std::string log = folder.write("log.csv", log_of(2));
  CHECK(run_program({"progress", log, "--who", "nobody"}).exit_code == 2);
  CHECK(run_program({"progress", log, "--chart", "c.gif"}).exit_code == 2);
  CHECK(run_program({"progress", folder.write("empty.csv", "")}).exit_code == 2);
  const ProgramRun damaged = run_program({"progress", folder.write("cut.csv", log_of(2).substr(0, 250))});
  CHECK(damaged.exit_code == 4);
  CHECK_THAT(damaged.err, ContainsSubstring("line 3"));
}

TEST_CASE("progress: overview, targets, advice and a page to hand out", "[cli][progress]") {
  const TemporaryFolder folder;
  std::string log = "logged_at,who,exercise,percent_gone,past_flat,outcome\r\n";
  for (int i = 1; i <= 4; ++i) {
    const std::string day = "2026-03-0" + std::to_string(i) + "T09:00:00Z,";
    log += day + "bay 1,door," + std::to_string(50 + 10 * i) + ",0,partly\r\n";
    log += day + "bay 2,door,,1,overdone\r\n";
  }
  const std::string file = folder.write("log.csv", log);
  const ProgramRun run =
      run_program({"progress", file, "--target", "door=95", "--html", folder.file("p.html"), "--pdf",
                   folder.file("p.pdf"), "--json", folder.file("p.json")});
  CHECK(run.exit_code == 0);
  for (const std::string& text : {run.out, folder.read("p.html")})
    CHECK_THAT(text, Catch::Matchers::ContainsSubstring("smaller steps") &&
                         Catch::Matchers::ContainsSubstring("2/2 then 2/2"));
  CHECK_THAT(folder.read("p.html"), Catch::Matchers::ContainsSubstring("15 points below the target"));
  CHECK(folder.read("p.pdf").substr(0, 5) == "%PDF-");
  CHECK(run_program({"progress", file, "--target", "doors=95"}).exit_code == 2);
  CHECK(run_program({"progress", file, "--target", "door"}).exit_code == 2);
  CHECK(run_program({"progress", file, "--html", "x.pdf"}).exit_code == 2);
}
