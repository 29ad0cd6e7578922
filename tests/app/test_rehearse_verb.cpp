// plan, cycle, rehearse and fit as a user meets them: the loop, faults on purpose, wrong arguments.
#include <doctest/doctest.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <sstream>

#include "app/run_verb.h"

using namespace pivotrace::testing;
namespace fs = std::filesystem;

namespace {

std::string in_source(const std::string& name) {
  return std::string(PIVOTRACE_SOURCE_DIR) + "/" + name;
}

const std::string machine = in_source("examples/fourth-axis.machine.toml");
const std::string truth = in_source("examples/fourth-axis.truth.toml");
const std::string demo_control = in_source("routines/demo-control.toml");

std::string slurp(const fs::path& path) {
  std::ifstream stream(path, std::ios::binary);
  std::ostringstream text;
  text << stream.rdbuf();
  return text.str();
}

bool says(const std::string& text, const std::string& words) {
  return text.find(words) != std::string::npos;
}

/// A folder with a plan and its program, gone afterwards.
class Loop {
 public:
  Loop() : folder_(fs::temp_directory_path() / ("pivotrace-loop-" + std::to_string(getpid()))) {
    fs::create_directories(folder_);
    REQUIRE(run_verb({"plan", machine, "--equator", "5", "-o", file("plan.toml")}).code == 0);
    REQUIRE(
        run_verb({"cycle", file("plan.toml"), "--control", demo_control, "-o", file("probe.nc")})
            .code == 0);
  }
  ~Loop() {
    std::error_code ignored;
    fs::remove_all(folder_, ignored);
  }
  Loop(const Loop&) = delete;
  Loop& operator=(const Loop&) = delete;

  std::string file(const std::string& name) const { return (folder_ / name).string(); }

  Screen rehearse(const std::vector<std::string>& more) const {
    std::vector<std::string> words = {"rehearse", file("probe.nc"), "--machine",
                                      machine,    "--control",      demo_control,
                                      "--plan",   file("plan.toml")};
    words.insert(words.end(), more.begin(), more.end());
    return run_verb(words);
  }

 private:
  fs::path folder_;
};

}  // namespace

TEST_CASE("the loop on screen: what is rehearsed, what was left, and the fit beside the truth") {
  const Loop loop;
  const Screen rehearsed =
      loop.rehearse({"--truth", truth, "--noise", "--seed", "4", "-o", loop.file("left.csv")});
  CHECK(rehearsed.code == 0);
  CHECK(says(rehearsed.out, "passed: the program ran to its end, nothing was hit"));
  CHECK(says(rehearsed.out, "smallest clearance"));
  CHECK(says(rehearsed.out, "by the machine's manual and your local safety rules"));
  CHECK(says(rehearsed.err, "wrote " + loop.file("left.csv")));
  const Screen fit = run_verb({"fit", machine, loop.file("left.csv"), "--truth", truth});
  CHECK(fit.code == 0);
  CHECK(says(fit.out, "FITTED BESIDE THE STATED TRUTH"));
  CHECK(says(fit.out, "A.centre.Y         E_Y0A       -199.9200"));
  CHECK(says(fit.out, "of 4 within U95"));
  // The same seed, the same record; another one, another record.
  const std::string first = slurp(loop.file("left.csv"));
  loop.rehearse({"--truth", truth, "--noise", "--seed", "4", "-o", loop.file("again.csv")});
  CHECK(slurp(loop.file("again.csv")) == first);
  loop.rehearse({"--truth", truth, "--noise", "--seed", "5", "-o", loop.file("other.csv")});
  CHECK(slurp(loop.file("other.csv")) != first);
  CHECK(run_verb({"fit", machine, loop.file("left.csv"), "--truth",
                  in_source("examples/trunnion.truth.toml")})
            .code == 2);
}

TEST_CASE("faults on purpose: the screen says what was done, where it ended, and the exit code") {
  const Loop loop;
  const Screen missed = loop.rehearse({"--fault", "no-trigger:5"});
  CHECK(missed.code == 1);
  CHECK(says(missed.out, "NOT PASSED: the program stopped with an alarm"));
  CHECK(says(missed.out, "on purpose: touch 5, on ball, is not noticed (line "));
  CHECK(says(missed.out, "it stands at line "));
  for (const std::string fault : {"early-trigger:5", "moved-artefact:3", "moved-artefact",
                                  "wrong-turn", "wrong-turn:30", "index-slip:4"}) {
    CAPTURE(fault);
    const Screen screen = loop.rehearse({"--fault", fault});
    CHECK((screen.code == 0 || screen.code == 1));
    CHECK(says(screen.out, "on purpose: "));
  }
  const Screen none = loop.rehearse({});
  CHECK_FALSE(says(none.out, "on purpose"));
  // A fault that never came to pass has tested nothing.
  for (const std::string fault : {"no-trigger:99999", "early-trigger:99999", "index-slip:99999",
                                  "wrong-turn:99999", "moved-artefact:99999"}) {
    CAPTURE(fault);
    const Screen screen = loop.rehearse({"--fault", fault});
    CHECK(screen.code == 2);
    CHECK(says(screen.err, "never came to pass"));
  }
}

TEST_CASE("rehearse --json: a byte that is not UTF-8 in the program is no internal error") {
  const Loop loop;
  const std::string program = slurp(loop.file("probe.nc"));
  const std::string mark = "M0 (SEE TEXT ABOVE)";
  REQUIRE(says(program, mark));
  // In a text an operator is shown, and in a line that cannot be read.
  for (const std::string& put : {std::string("M0 (20 \xB0 C)"), std::string("G1 \xFF X1")}) {
    std::string changed = program;
    changed.replace(changed.find(mark), mark.size(), put);
    std::ofstream(loop.file("probe.nc"), std::ios::binary) << changed;
    const Screen screen = loop.rehearse({"--json"});
    CAPTURE(screen.err);
    CHECK((screen.code == 0 || screen.code == 1));
    CHECK(says(nlohmann::json::parse(screen.out).at("caution"), "hand at the stop"));
  }
}

TEST_CASE("rehearse: arguments that cannot be used are refused with what to write instead") {
  const Loop loop;
  for (const std::string fault : {"bogus", "no-trigger:0", "no-trigger:x", "index-slip:-1", ""}) {
    CAPTURE(fault);
    const Screen screen = loop.rehearse({"--fault=" + fault});
    CHECK(screen.code == (fault.empty() ? screen.code : 2));
    if (!fault.empty()) CHECK(says(screen.err, "write one of no-trigger, early-trigger"));
  }
  CHECK(loop.rehearse({"--start", "1,2"}).code == 2);
  CHECK(loop.rehearse({"--start", "-270,-200,-100,0,5"}).code == 2);
  CHECK(loop.rehearse({"--start", "a,b,c"}).code == 2);
  CHECK(loop.rehearse({"--guard", "-1"}).code == 2);
  const Screen outside = loop.rehearse({"--start", "-270,-200,900"});
  CHECK(outside.code == 2);
  CHECK(says(outside.err, "--start: Z lies outside the travel"));
  const Screen log_only = loop.rehearse({"--parameters", loop.file("probe.nc")});
  CHECK(log_only.code == 2);
  CHECK(says(log_only.err, "writes a log"));
  REQUIRE(run_verb({"cycle", loop.file("plan.toml"), "--control", in_source("routines/ngc.toml"),
                    "-o", loop.file("probe.ngc")})
              .code == 0);
  const Screen no_rows =
      run_verb({"rehearse", loop.file("probe.ngc"), "--machine", machine, "--control",
                in_source("routines/ngc.toml"), "--parameters", truth});
  CHECK(no_rows.code == 2);
  CHECK(says(no_rows.err, truth + ":1"));
  const Screen nowhere = run_verb(
      {"rehearse", loop.file("probe.nc"), "--machine", machine, "--control", demo_control});
  CHECK(says(nowhere.out, "neither --plan nor --start says where"));
  CHECK(loop.rehearse({"--seed", "x"}).code == 2);
  const Screen other = loop.rehearse({"--truth", in_source("examples/trunnion.truth.toml")});
  CHECK(other.code == 2);
  CHECK(says(other.err, "P114"));
  CHECK(loop.rehearse({"--truth", loop.file("nowhere.truth.toml")}).code == 4);
  CHECK(loop.rehearse({"-o", loop.file("no/such/folder/left.csv")}).code == 4);
  CHECK(run_verb({"rehearse", loop.file("probe.nc"), "--machine", machine, "--control", "nosuch"})
            .code != 0);
  CHECK(run_verb(
            {"rehearse", loop.file("nowhere.nc"), "--machine", machine, "--control", demo_control})
            .code == 4);
}

TEST_CASE(
    "rehearse -o: takes the place of an earlier rehearsal, never that of touches a machine made") {
  const Loop loop;
  const std::string record = loop.file("probe.touches.csv");
  REQUIRE(loop.rehearse({"-o", record}).code == 0);
  CHECK(loop.rehearse({"-o", record}).code == 0);
  std::string measured = slurp(record);
  measured.erase(measured.find("# simulated: yes"), std::string("# simulated: yes\n").size());
  std::ofstream(record, std::ios::binary) << measured;
  const Screen refused = loop.rehearse({"-o", record});
  CHECK(refused.code == 2);
  CHECK(says(refused.err, "would replace"));
  CHECK(slurp(record) == measured);
}

TEST_CASE(
    "rehearse: a collision is reported with line, place and bodies, drawn, and told as JSON") {
  const Loop loop;
  std::ofstream(loop.file("probe.nc")) << "G21 G90 G94\nG53 G0 X-270. Y-200. Z-100.\n"
                                          "G53 G1 Z-185. F1000.\nM30\n";
  const std::string picture = loop.file("hit.svg");
  const Screen hit = loop.rehearse({"--start", "-270,-200,-50", "--picture", picture});
  CHECK(hit.code == 1);
  CHECK(says(hit.out, "probe.nc:3:1: stylus ball hits ball at X -270.000 Y -200.000 Z -174.29"));
  CHECK(says(hit.err, "wrote " + picture));
  const std::string svg = slurp(picture);
  CHECK(says(svg, "stylus ball hits ball"));
  CHECK(says(svg, "line 3: X −270.000 Y −200.000 Z −174.29"));
  CHECK(says(svg, "</svg>"));
  const Screen json = loop.rehearse({"--start", "-270,-200,-50", "--json"});
  const nlohmann::json report = nlohmann::json::parse(json.out);
  CHECK(report["passed"] == false);
  CHECK(report["violations"][0]["body"] == "ball");
  CHECK(report["violations"][0]["line"] == 3);
  CHECK(report["stands_at"]["position_mm"][2].get<double>() == doctest::Approx(-174.295));
}
