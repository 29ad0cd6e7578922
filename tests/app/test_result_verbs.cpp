// write, judge, reseat and shim as a user meets them: on the shipped demo, every refusal on screen.
#include <doctest/doctest.h>

#include <nlohmann/json.hpp>

#include "app/demo_folder.h"

using namespace pivotrace;
using namespace pivotrace::testing;
TEST_CASE("write: the demo's offset program, table, list and template") {
  const Demo demo;
  const Screen program = run_verb(write_words(demo, 1));
  CHECK(program.code == 0);
  CHECK(says(program.out, "\nG10 L2 P1 Y-199.9"));
  CHECK(says(program.out, "CAUTION"));
  const Screen csv = run_verb({"write", demo.result_file, "--form", "csv"});
  CHECK(csv.code == 0);
  CHECK(says(csv.out, "\nA.centre.Y,-199.9"));
  const Screen list = run_verb({"write", demo.result_file, "--list"});
  CHECK(list.code == 0);
  CHECK(says(list.out, "A.orientation.C"));
  CHECK(nlohmann::json::parse(run_verb({"write", demo.result_file, "--json"}).out)["format"] ==
        "pivotrace-values-1");
  const Screen sheet = run_verb(
      {"write", demo.result_file, "--template", example_path("fourth-axis.sheet.template")});
  CHECK(sheet.code == 0);
  CHECK(says(sheet.out, "centre of A   Y -199.9"));
  const std::string file = (demo.folder / "offsets.ngc").string();
  CHECK(run_verb(write_words(demo, 1, {"-o", file})).code == 0);
  CHECK(says(slurp(file), "G10 L2"));
}

TEST_CASE("write: patched only with --apply, then verified, then nothing to gain") {
  const Demo demo;
  const std::string before = slurp(demo.post);
  const Screen dry = demo.patch();
  CHECK(dry.code == 0);
  CHECK(says(dry.out, "-centre_y     = -200.0000"));
  CHECK(says(dry.out, "+centre_y     = -199.9"));
  CHECK(says(dry.err, "nothing is written"));
  CHECK(slurp(demo.post) == before);

  const Screen applied = demo.patch({"--apply"});
  CHECK(applied.code == 0);
  CHECK(says(applied.err, "backup "));
  CHECK(says(applied.err, "CAUTION"));
  CHECK(slurp(demo.post) != before);

  const std::vector<std::string> verify = {"write",     demo.result_file,
                                           "--verify",  demo.post,
                                           "--mapping", example_path("fourth-axis.mapping.toml")};
  const Screen verified = run_verb(verify);
  CHECK(verified.code == 0);
  CHECK(says(verified.err, "all agree"));

  const Screen again = demo.patch({"--apply"});
  CHECK(again.code == 1);
  CHECK(says(again.err, "P505"));
}

TEST_CASE("write: two homes that disagree are an error with both shown") {
  const Demo demo;
  REQUIRE(demo.patch({"--apply"}).code == 0);
  const Screen screen = run_verb({"write", demo.result_file, "--verify", demo.post, "--verify",
                                  example_path("fourth-axis.control.txt"), "--mapping",
                                  example_path("fourth-axis.mapping.toml"), "--mapping",
                                  example_path("fourth-axis.control.mapping.toml")});
  CHECK(screen.code == 1);
  CHECK(says(screen.err, "P507"));
  CHECK(says(screen.err, "two homes that disagree"));
  CHECK(says(screen.err, "-200.00000 mm"));
}

TEST_CASE("write: every refusal of a patch is seen, with its number") {
  Demo demo;
  const std::string post = slurp(demo.post);
  spill(demo.post, replaced(post, "centre_y ", "centre_q "));
  Screen screen = demo.patch({"--apply"});
  CHECK(screen.code == 2);
  CHECK(says(screen.err, "P502"));

  spill(demo.post, replaced(post, "centre_y     = -200.0000", "centre_y     = -202.0000"));
  screen = demo.patch({"--apply"});
  CHECK(screen.code == 1);
  CHECK(says(screen.err, "P504"));
  CHECK(says(screen.out, "-202.0000"));
  CHECK(demo.patch({"--apply", "--allow-large-change"}).code == 0);

  spill(demo.post, post);
  demo.result.machine_name = "another";
  demo.save();
  screen = demo.patch({"--apply"});
  CHECK(screen.code == 2);
  CHECK(says(screen.err, "P114"));
  demo.result.machine_name = "Bench mill with 4th axis, invented";

  demo.result.started = "2025-01-01T00:00:00Z";
  demo.save();
  screen = demo.patch({"--apply"});
  CHECK(screen.code == 1);
  CHECK(says(screen.err, "P506"));

  demo.result.usable = false;
  demo.result.findings.push_back({FindingCode::bad_touch, Severity::error,
                                  finding::AsWritten{"touch 3 met a chip", "clean it"}});
  demo.save();
  for (const std::vector<std::string>& verb :
       {write_words(demo, 1),
        {"write", demo.result_file, "--list"},
        {"judge", demo.result_file, "--limits", example_path("fourth-axis.limits.toml")},
        {"reseat", demo.result_file, "--offset", "-300", "-200", "-200", "--at", "A=90"},
        {"shim", demo.result_file, "--feet", example_path("fourth-axis.feet.toml")}}) {
    screen = run_verb(verb);
    CHECK(screen.code == 1);
    CHECK(says(screen.err, "P501"));
    CHECK(says(screen.err, "touch 3 met a chip"));
    CHECK(screen.out.empty());
  }
  CHECK(slurp(demo.post) == post);
}

TEST_CASE("write: arguments that cannot be used") {
  const Demo demo("trunnion");
  CHECK(run_verb({"write", demo.result_file}).code == 2);  // which control, which offset?
  CHECK(run_verb(write_words(demo, 1)).code == 2);         // which axis?
  CHECK(run_verb(write_words(demo, 1, {"--axis", "A", "--foot", "C"})).code == 0);
  CHECK(run_verb(write_words(demo, 1, {"--axis", "Apple"})).code == 2);
  CHECK(run_verb(write_words(demo, 12, {"--axis", "A"})).code == 2);
  CHECK(run_verb({"write", demo.result_file, "--form", "yaml"}).code == 2);
  CHECK(run_verb({"write", demo.result_file, "--patch", demo.post}).code == 2);
  CHECK(run_verb({"write", "/nowhere.json"}).code == 4);
  CHECK(run_verb({"write", example_path("trunnion.machine.toml")}).code == 2);
}

TEST_CASE("judge: the demo against its limits") {
  const Demo demo;
  const Screen screen =
      run_verb({"judge", demo.result_file, "--limits", example_path("fourth-axis.limits.toml")});
  CHECK(screen.code == 1);
  CHECK(says(screen.out, "does not conform"));
  CHECK(says(screen.out, "What it does to parts"));
  const auto json =
      nlohmann::json::parse(run_verb({"judge", demo.result_file, "--limits",
                                      example_path("fourth-axis.limits.toml"), "--json"})
                                .out);
  CHECK(json["judgements"].size() == 6);
  CHECK(run_verb({"judge", demo.result_file, "--limits", example_path("fourth-axis.mapping.toml")})
            .code == 2);
}

TEST_CASE("reseat: the machine file is the one of the fit, unchanged, or named") {
  Demo demo;
  const auto reseat = [&](std::vector<std::string> more) {
    std::vector<std::string> words = {"reseat", demo.result_file, "--at", "A=90", "--offset"};
    words.insert(words.end(), more.begin(), more.end());
    return run_verb(words);
  };
  const std::vector<std::string> taught = {"-310", "-200.5", "-180.25"};
  CHECK(reseat(taught).code == 0);

  // The same bytes beside the result serve as well as where the fit found them.
  const std::string machine = slurp(demo.result.inputs[0].file);
  demo.result.inputs[0].file = "/nowhere/shop.machine.toml";
  demo.save();
  CHECK(says(reseat(taught).err, "name the file with the units"));
  spill(demo.folder / "shop.machine.toml", machine);
  CHECK(reseat(taught).code == 0);
  spill(demo.folder / "shop.machine.toml", machine + "# edited\n");
  CHECK(reseat(taught).code == 2);

  // A file named is taken as it is; its units are those of the numbers typed and shown.
  const std::string inch_file = (demo.folder / "inch.machine.toml").string();
  spill(inch_file, replaced(machine, "units = \"mm\"", "units = \"inch\""));
  std::vector<std::string> inch = {"-12.2", "-7.9", "-7.1", "--machine", inch_file};
  const Screen screen = reseat(inch);
  CHECK(screen.code == 0);
  CHECK(says(screen.out, "machine coordinates, inch"));
  CHECK(says(screen.out, "X -12.20000"));

  demo.result.inputs.clear();
  demo.save();
  CHECK(says(reseat(taught).err, "does not say which machine file"));
}

TEST_CASE("reseat: the demo's offsets at four angles") {
  const Demo demo;
  const std::vector<std::string> words = {"reseat", demo.result_file, "--offset",    "-310",
                                          "-200.5", "-180.25",        "--taught-at", "A=0",
                                          "--at",   "A=0..270/90"};
  const Screen table = run_verb(words);
  CHECK(table.code == 0);
  CHECK(says(table.out, "P4 G57"));
  std::vector<std::string> more = words;
  more.insert(more.end(), {"--form", "program", "--control", ngc_sheet(), "--first-offset", "1"});
  CHECK(says(run_verb(more).out, "G10 L2 P4 X-310"));
  more = words;
  more.insert(more.end(), {"--first-offset", "8"});
  const Screen out = run_verb(more);
  CHECK(out.code == 1);
  CHECK(says(out.err, "run out"));
  more.insert(more.end(), {"--form", "program", "--control", ngc_sheet()});
  CHECK(says(run_verb(more).err, "P510"));
  more = words;
  more.push_back("--json");
  CHECK(nlohmann::json::parse(run_verb(more).out)["rows"].size() == 4);
}

TEST_CASE("shim: the demo's feet") {
  const Demo demo;
  const Screen screen =
      run_verb({"shim", demo.result_file, "--feet", example_path("fourth-axis.feet.toml")});
  CHECK(screen.code == 1);
  CHECK(says(screen.out, "cannot replace alignment"));
  CHECK(says(screen.out, "slot key"));
  CHECK(says(screen.out, "CAUTION"));
  const auto json =
      nlohmann::json::parse(run_verb({"shim", demo.result_file, "--feet",
                                      example_path("fourth-axis.feet.toml"), "--json"})
                                .out);
  CHECK(json["feet"].size() == 4);
}

TEST_CASE("report: a plan promises, and its program is rehearsed on the same page") {
  const Demo demo;
  const std::string machine = example_path("fourth-axis.machine.toml");
  const std::string plan = (demo.folder / "p.plan.toml").string();
  const std::string program = (demo.folder / "p.nc").string();
  REQUIRE(run_verb({"plan", machine, "--for", "crash", "-o", plan}).code == 0);
  REQUIRE(run_verb({"cycle", plan, "--control", ngc_sheet(), "-o", program}).code == 0);
  const Screen alone = run_verb({"report", plan});
  CHECK(alone.code == 0);
  CHECK(says(alone.out, "Promises "));
  CHECK(says(alone.out, "Not rehearsed."));
  CHECK(says(alone.out, "guards closed"));
  const Screen with = run_verb({"report", plan, "--program", program, "--control", ngc_sheet()});
  INFO(with.err);
  CHECK(with.code == 0);
  CHECK(says(with.out, "The rehearsal passed"));
  CHECK(says(with.out, "Smallest clearance"));
  CHECK(says(with.out, "What the program tells the operator"));
  CHECK(run_verb({"report", plan, "--program", program}).code == 2);
  CHECK(
      run_verb({"report", demo.result_file, "--program", program, "--control", ngc_sheet()}).code ==
      2);
}

TEST_CASE("report --trials: the survey repeated on paper stands beside what is stated") {
  const Demo demo;
  const std::string machine = example_path("fourth-axis.machine.toml");
  const std::string touches = example_path("fourth-axis.touches.csv");
  const std::string result = (demo.folder / "own.result.json").string();
  REQUIRE(run_verb({"fit", machine, touches, "-o", result}).code == 0);
  const Screen page = run_verb({"report", result, "--trials", "400"});
  INFO(page.err);
  CHECK(page.code == 0);
  CHECK(says(page.out, "of 400 trials lie within U95"));
  // Other touches than those of the fit would be another survey.
  const Screen gone = run_verb({"report", demo.result_file, "--trials", "400"});
  CHECK((gone.code == 2 || gone.code == 4));
}
