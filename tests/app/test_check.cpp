#include <filesystem>
#include <nlohmann/json.hpp>

#include "app/check.h"
#include "formats/file_tests.h"
#include "formats/scratch_folder.h"
#include "pivotrace/disk/text_file.h"
#include "pivotrace/formats/machine_file.h"
#include "pivotrace/formats/plan_file.h"
#include "pivotrace/formats/result_file.h"
#include "pivotrace/report/finding_words.h"

using namespace pivotrace;
using test::check_only;
using test::replaced;
using test::ScratchFolder;

namespace {

const std::string touches =
    "# units: mm\n# machine: Bench mill with 4th axis, invented\nA,X,Y,Z\n"
    "0,-270,-200,-174\n90,-270,-276,-250\n";

std::string written(const ScratchFolder& folder, const std::string& name, const std::string& text) {
  REQUIRE(write_file(folder.file(name), text));
  return folder.file(name);
}

bool says(const FileCheck& check, const std::string& words) {
  return check.summary.find(words) != std::string::npos;
}

}  // namespace

TEST_CASE("the examples are good and summed up in words") {
  const FileCheck fourth = check_file(test::example_path("fourth-axis.machine.toml"));
  REQUIRE_MESSAGE(fourth.good(), test::described(fourth.problems));
  CHECK(fourth.kind == "machine file");
  CHECK(says(fourth, "rotary axis A along X, carries the work, positive turn left-hand"));
  CHECK(says(fourth, "ball \"ball\", 25.4 mm, carried by axis A"));
  CHECK_FALSE(says(fourth, "note:"));
  const FileCheck trunnion = check_file(test::example_path("trunnion.machine.toml"));
  CHECK(says(trunnion, "-30 to 100 deg"));
  CHECK(says(trunnion, "rotary axis C along Z"));
}

TEST_CASE("the shipped records are good for the shipped machines") {
  std::vector<std::string> files;
  for (const auto& entry :
       std::filesystem::directory_iterator(std::string(PIVOTRACE_SOURCE_DIR) + "/examples")) {
    const std::string name = entry.path().string();
    if (name.ends_with(".csv") || name.ends_with(".machine.toml")) files.push_back(name);
  }
  REQUIRE(files.size() >= 4);
  const std::string fourth = test::example_path("fourth-axis.machine.toml");
  for (const FileCheck& check : check_files(files)) {
    CHECK_MESSAGE(check.good(), check.file << test::described(check.problems));
  }
  const FileCheck by_hand = check_file(test::example_path("ball-centres.touches.csv"), fourth);
  CHECK_MESSAGE(by_hand.good(), test::described(by_hand.problems));
}

TEST_CASE("what the program assumes is said") {
  const ScratchFolder folder;
  std::string text = test::example_text("fourth-axis.machine.toml");
  text = replaced(text, "station_sigma", "#");
  text = replaced(text, "touch_sigma", "#");
  text = replaced(text, "index_sigma_arcsec", "#");
  text = replaced(text, "letter = \"A\"", "letter = \"B\"");
  text = replaced(text, "carried_by = \"A\"", "carried_by = \"B\"");
  text = replaced(text, "carried_by = \"A\"", "carried_by = \"B\"");
  const FileCheck check = check_file(written(folder, "a.machine.toml", text));
  REQUIRE_MESSAGE(check.good(), test::described(check.problems));
  CHECK(says(check, "`station_sigma` is not stated, 0.002 mm assumed"));
  CHECK(says(check, "`touch_sigma` is not stated, 0.001 mm assumed"));
  CHECK(says(check, "`index_sigma_arcsec` of B is not stated, 5 assumed"));
  CHECK(says(check, "axis B lies along X, which ISO 841 calls A"));
}

TEST_CASE("a touch record is checked against the machine given, or as far as possible without") {
  const ScratchFolder folder;
  const std::string machine = test::example_path("fourth-axis.machine.toml");
  const std::string record = written(folder, "a.csv", touches);
  const FileCheck with = check_file(record, machine);
  REQUIRE_MESSAGE(with.good(), test::described(with.problems));
  CHECK(with.kind == "touch record");
  CHECK(says(with, "2 touches at 2 stations"));
  CHECK(says(with, "A at 2 angles, 0 to 90 deg"));
  const FileCheck without = check_file(record);
  CHECK(without.good());
  CHECK(says(without, "not checked against a machine"));
  const std::string far_out = written(folder, "b.csv", replaced(touches, "-276", "276"));
  CHECK(check_file(far_out).good());
  check_only(check_file(far_out, machine).problems, ProblemNumber::wrong_units, 5, 9);
  check_only(check_file(record, folder.file("missing")).problems, ProblemNumber::cannot_read);
  // A machine file under another name is still read as one.
  CHECK(says(check_file(record, written(folder, "m.txt", *read_file(machine))), "0 to 90 deg"));
}

TEST_CASE("every demo has a truth file that fits its machine and differs from it") {
  for (const std::string demo : {"fourth-axis", "trunnion", "pin-in-chuck", "swivel-head"}) {
    CAPTURE(demo);
    const FileCheck check = check_file(test::example_path(demo + ".truth.toml"),
                                       test::example_path(demo + ".machine.toml"));
    CHECK_MESSAGE(check.good(), test::described(check.problems));
    CHECK(check.kind == "truth file");
    CHECK(says(check, "centre off"));
    CHECK(says(check, "leans"));
    const auto text = read_file(test::example_path(demo + ".truth.toml"));
    REQUIRE(text.has_value());
    CHECK(text->rfind("# Invented", 0) == 0);
  }
}

TEST_CASE("a truth file is summed up, and checked as far as possible without its machine") {
  const std::string machine = test::example_path("fourth-axis.machine.toml");
  const std::string truth = test::example_path("fourth-axis.truth.toml");
  const FileCheck known = check_file(truth, machine);
  CHECK(says(known, "axis A: centre off X +0, Y +0.08, Z -0.05 mm"));
  CHECK(says(known, "\"ball\": sits X +0.5, Y -0.4, Z +0.3 mm off"));
  CHECK(says(known, "drift: X +0, Y +0.002, Z +0.004 mm per hour"));
  const FileCheck alone = check_file(truth);
  CHECK(alone.good());
  CHECK(says(alone, "axes: A"));
  CHECK(says(alone, "not checked against a machine"));
  // Among several machines it finds its own by name; by content when its own name says nothing.
  const ScratchFolder folder;
  const std::string text = *read_file(truth);
  const std::vector<FileCheck> checks = check_files(
      {test::example_path("trunnion.machine.toml"), machine, written(folder, "really.toml", text)});
  REQUIRE(checks.size() == 3);
  CHECK(checks[2].kind == "truth file");
  CHECK(says(checks[2], "axis A: centre off"));
  // The same truth for another machine is refused, and so is a wrong name.
  check_only(check_file(truth, test::example_path("trunnion.machine.toml")).problems,
             ProblemNumber::other_machine);
  check_only(check_file(written(folder, "b.truth.toml",
                                replaced(text, "name = \"ball\"", "name = \"bal\"")),
                        machine)
                 .problems,
             ProblemNumber::unknown_name);
}

TEST_CASE("among several files a record finds its machine") {
  const ScratchFolder folder;
  const std::string fourth = test::example_path("fourth-axis.machine.toml");
  const std::string trunnion = test::example_path("trunnion.machine.toml");
  const std::string record = written(folder, "a.csv", touches);
  const std::string nameless = written(folder, "b.csv", replaced(touches, "# machine", "#"));
  const auto one = check_files({nameless, fourth});
  REQUIRE(one.size() == 2);
  CHECK(says(one[0], "A at 2 angles"));
  const auto two = check_files({fourth, record, trunnion, nameless});
  REQUIRE(two.size() == 4);
  CHECK(says(two[1], "A at 2 angles"));
  CHECK(says(two[3], "not checked against a machine"));
  const auto other = check_files({record}, trunnion);
  REQUIRE(other.size() == 2);
  CHECK(other[0].file == trunnion);
  check_only(other[1].problems, ProblemNumber::other_machine, 2);
}

TEST_CASE("results are recognised and summed up") {
  const ScratchFolder folder;
  FitResult result;
  result.machine_name = "Mill";
  result.axes.resize(1);
  result.axes[0].letter = 'A';
  result.findings = {{FindingCode::turn_sense_wrong, Severity::error,
                      finding::AsWritten{"the turn sense is wrong", "correct it"}}};
  const FileCheck check = check_file(written(folder, "r", write_result(result, words_of)));
  REQUIRE_MESSAGE(check.good(), test::described(check.problems));
  CHECK(check.kind == "result");
  CHECK(says(check, "NOT usable"));
  CHECK(says(check, "error: the turn sense is wrong"));
}

TEST_CASE("limits, mappings and feet are recognised by name and by content") {
  const ScratchFolder folder;
  const std::string limits =
      "format = 1\nunits = \"mm\"\n[[limit]]\nvalue = \"A.centre.Y\"\nlow = -200.02\nhigh = "
      "-199.98\n";
  const std::string mapping =
      "format = 1\n[[entry]]\nvalue = \"A.centre.Y\"\nkey = \"pivotY\"\nunit = \"mm\"\ndecimals = "
      "4\n";
  for (const char* name : {"a.limits.toml", "a.txt"}) {
    const FileCheck check = check_file(written(folder, name, limits));
    REQUIRE_MESSAGE(check.good(), test::described(check.problems));
    CHECK(check.kind == "limits file");
    CHECK(says(check, "1 limit\n  A.centre.Y"));
  }
  for (const char* name : {"a.mapping.toml", "b.txt"}) {
    const FileCheck check = check_file(written(folder, name, mapping));
    REQUIRE_MESSAGE(check.good(), test::described(check.problems));
    CHECK(check.kind == "mapping file");
  }
  const std::string feet =
      "[[foot]]\nname = \"left\"\nat = [-380, -280, -400]\n"
      "[[foot]]\nname = \"right\"\nat = [-380, -120, -400]\n"
      "[[foot]]\nname = \"back\"\nat = [-450, -200, -400]\n";
  const FileCheck alone =
      check_file(written(folder, "a.feet.toml", "format = 1\nunits = \"mm\"\n" + feet));
  REQUIRE_MESSAGE(alone.good(), test::described(alone.problems));
  CHECK(alone.kind == "feet file");
  CHECK(says(alone, "stands on 3 feet"));
  const std::string machine = test::example_text("fourth-axis.machine.toml");
  const FileCheck within = check_file(written(folder, "a.machine.toml", machine + feet));
  REQUIRE_MESSAGE(within.good(), test::described(within.problems));
  CHECK(within.kind == "machine file");
  CHECK(says(within, "stands on 3 feet"));
  const FileCheck wrong =
      check_file(written(folder, "b.machine.toml", machine + replaced(feet, "at = [", "att = [")));
  CHECK(wrong.problems.size() == 2);  // `att` unknown, `at` missing
}

TEST_CASE("the shipped control sheets are good") {
  for (const char* name : {"demo-control", "ngc"}) {
    const FileCheck check =
        check_file(std::string(PIVOTRACE_SOURCE_DIR) + "/routines/" + name + ".toml");
    REQUIRE_MESSAGE(check.good(), test::described(check.problems));
    CHECK(check.kind == "control sheet");
    CHECK(says(check, "\"" + std::string(name) + "\""));
  }
}

TEST_CASE("a plan is checked against its machine") {
  const ScratchFolder folder;
  const std::string machine_file = test::example_path("fourth-axis.machine.toml");
  const auto machine = read_machine(machine_file);
  REQUIRE(machine.has_value());
  Plan plan;
  plan.machine_name = machine->name;
  PlannedStation station;
  station.label = "1";
  PlannedTouch touch;
  station.touches = {touch};
  plan.stations = {station};
  const std::string written_plan =
      written(folder, "a.plan.toml", write_plan(plan, *machine, "elsewhere.machine.toml"));
  const FileCheck with = check_file(written_plan, machine_file);
  REQUIRE_MESSAGE(with.good(), test::described(with.problems));
  CHECK(with.kind == "plan");
  CHECK(says(with, "1 touch at 1 station"));
  CHECK_FALSE(check_file(written_plan).good());
}

TEST_CASE("what is none of the known files, or no file at all") {
  const ScratchFolder folder;
  const FileCheck unknown = check_file(written(folder, "letter.txt", "Dear machinist,\n"));
  CHECK(unknown.kind.empty());
  check_only(unknown.problems, ProblemNumber::unsupported_format);
  check_only(check_file(written(folder, "garbage", std::string(10000000, '\x81'))).problems,
             ProblemNumber::unsupported_format);
  check_only(check_file(written(folder, "g.csv", std::string(10000000, '\x81'))).problems,
             ProblemNumber::cannot_parse, 1, 1);
  check_only(check_file(written(folder, "e.machine.toml", "")).problems, ProblemNumber::no_data);
  check_only(check_file(written(folder, "e.json", "")).problems, ProblemNumber::no_data);
  check_only(check_file(folder.file("")).problems, ProblemNumber::is_directory);
  check_only(check_file(folder.file("missing.csv")).problems, ProblemNumber::cannot_read);
}

TEST_CASE("the outcome as JSON") {
  const ScratchFolder folder;
  const auto checks = check_files({test::example_path("fourth-axis.machine.toml"),
                                   written(folder, "a.csv", replaced(touches, "-276", "x"))});
  const auto json = nlohmann::json::parse(write_checks(checks));
  CHECK(json["good"] == false);
  CHECK(json["files"][0]["good"] == true);
  CHECK(json["files"][1]["problems"][0]["number"] == "P104");
  CHECK(json["files"][1]["problems"][0]["line"] == 5);
  CHECK(json["files"][1]["problems"][0]["column"] == 9);
}

TEST_CASE("a shipped control sheet may be named as --control names it") {
  const FileCheck macro = check_file("macro");
  REQUIRE_MESSAGE(macro.good(), test::described(macro.problems));
  CHECK(macro.kind == "control sheet");
  CHECK(says(macro, "questions left open"));
  check_only(check_file("macros").problems, ProblemNumber::cannot_read);
}
