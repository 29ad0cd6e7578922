// The demos that the program carries: what it writes is what stands in examples/.
#include <doctest/doctest.h>

#include <filesystem>
#include <set>

#include "app/demo_files.h"
#include "app/run_verb.h"
#include "formats/scratch_folder.h"
#include "pivotrace/disk/text_file.h"

using namespace pivotrace;
using namespace pivotrace::testing;
using pivotrace::test::ScratchFolder;

namespace {

/// Works in a folder while it lives: a demo is written where one stands.
class StandingIn {
 public:
  explicit StandingIn(const std::string& folder) : before_(std::filesystem::current_path()) {
    std::filesystem::current_path(folder);
  }
  ~StandingIn() { std::filesystem::current_path(before_); }
  StandingIn(const StandingIn&) = delete;
  StandingIn& operator=(const StandingIn&) = delete;

 private:
  std::filesystem::path before_;
};

}  // namespace

TEST_CASE("new --demo: every file of examples/ byte for byte, and every one of them in a demo") {
  std::set<std::string> in_a_demo;
  for (const app::Demo& demo : app::demos()) {
    CAPTURE(demo.name);
    const ScratchFolder folder;
    const StandingIn here(folder.file(""));
    const Screen made = run_verb({"new", "--demo", demo.name});
    CAPTURE(made.err);
    REQUIRE(made.code == 0);
    CHECK(made.err.find("all of it invented") != std::string::npos);
    CHECK(made.err.find("next: pivotrace check ") != std::string::npos);
    const auto files = app::files_of(demo);
    CHECK(folder.file_count() == files.size());
    for (const app::CarriedFile& file : files) {
      in_a_demo.insert(file.name);
      const std::filesystem::path examples = std::string(PIVOTRACE_SOURCE_DIR) + "/examples";
      const auto original = std::filesystem::exists(examples / file.name)
                                ? examples / file.name
                                : examples / "year" / file.name;
      CHECK(read_file(file.name).value() == read_file(original.string()).value());
    }
    CHECK(run_verb({"check", files.front().name}).code == 0);
  }
  CHECK(in_a_demo.size() == app::carried_examples().size());
}

TEST_CASE("new --demo: nothing of somebody's own is touched, and two demos stand side by side") {
  const ScratchFolder folder;
  const StandingIn here(folder.file(""));
  REQUIRE(write_file("trunnion.truth.toml", "mine\n").has_value());
  const Screen refused = run_verb({"new", "--demo", "trunnion"});
  CHECK(refused.code == 2);
  CHECK(refused.err.find("trunnion.truth.toml is there already") != std::string::npos);
  CHECK(folder.file_count() == 1);
  CHECK(run_verb({"new", "--demo", "fourth-axis"}).code == 0);
  CHECK(run_verb({"new", "--demo", "spoiled"}).code == 0);
}

TEST_CASE("new --demo: a name misspelt, or two things asked for at once") {
  const Screen misspelt = run_verb({"new", "--demo", "trunion"});
  CHECK(misspelt.code == 2);
  CHECK(misspelt.err.find("type: pivotrace new --demo trunnion") != std::string::npos);
  CHECK(run_verb({"new", "--demo", "lathe"}).err.find("pin-in-chuck") != std::string::npos);
  CHECK(run_verb({"new", "my.machine.toml", "--demo", "trunnion"}).code == 2);
}

TEST_CASE("fit --started: the day of touches whose record has none") {
  const ScratchFolder folder;
  const std::string examples = std::string(PIVOTRACE_SOURCE_DIR) + "/examples";
  const std::string machine = examples + "/fourth-axis.machine.toml";
  const std::string touches = examples + "/ball-centres.touches.csv";
  const std::string kept = folder.file("my.result.json");
  REQUIRE(
      run_verb({"fit", machine, touches, "--started", "2026-05-20T07:30:00", "-o", kept}).code ==
      0);
  CHECK(read_file(kept).value().find("\"started\": \"2026-05-20T07:30:00\"") != std::string::npos);
  const Screen refused = run_verb({"fit", machine, touches, "--started", "20.5.2026"});
  CHECK(refused.code == 2);
  CHECK(refused.err.find("--started is \"20.5.2026\"") != std::string::npos);
}
