// Trials on the page of a result, however it was fitted: they repeat the very fit.
#include <doctest/doctest.h>

#include "app/run_verb.h"
#include "formats/scratch_folder.h"
#include "pivotrace/disk/text_file.h"

using namespace pivotrace;
using namespace pivotrace::testing;
using pivotrace::test::ScratchFolder;

namespace {

const std::string examples = std::string(PIVOTRACE_SOURCE_DIR) + "/examples/";
const std::string machine = examples + "fourth-axis.machine.toml";

void has_trials(const std::string& result, const ScratchFolder& folder) {
  const std::string page = folder.file("trials.html");
  const Screen reported = run_verb({"report", result, "--trials", "100", "-o", page});
  CAPTURE(reported.err);
  REQUIRE(reported.code == 0);
  CHECK(read_file(page).value().find("of 100 trials lie within U95") != std::string::npos);
}

}  // namespace

TEST_CASE("report --trials: a result that solved for more than the axes") {
  const ScratchFolder folder;
  const std::string result = folder.file("with.result.json");
  REQUIRE(run_verb({"fit", machine, examples + "fourth-axis.touches.csv", "--with", "drift", "-o",
                    result})
              .code == 0);
  has_trials(result, folder);
}

TEST_CASE("report --trials: touches that came as a listing of variables") {
  const ScratchFolder folder;
  const std::string plan = folder.file("my.plan.toml");
  const std::string program = folder.file("my.nc");
  const std::string listing = folder.file("my.parameters");
  const std::string result = folder.file("my.result.json");
  REQUIRE(run_verb({"plan", machine, "--stations", "6", "-o", plan}).code == 0);
  REQUIRE(run_verb({"cycle", plan, "--control", "ngc", "-o", program}).code == 0);
  REQUIRE(run_verb({"rehearse", program, "--machine", machine, "--control", "ngc", "--plan", plan,
                    "--noise", "-o", listing})
              .code == 0);
  REQUIRE(run_verb({"fit", machine, listing, "--plan", plan, "-o", result}).code == 0);
  has_trials(result, folder);
  // Another plan is another survey: the page says that it changed.
  REQUIRE(write_file(plan, read_file(plan).value() + "\n").has_value());
  const Screen refused =
      run_verb({"report", result, "--trials", "100", "-o", folder.file("x.html")});
  CHECK(refused.code == 2);
  CHECK(refused.err.find("this file was changed since the fit") != std::string::npos);
}
