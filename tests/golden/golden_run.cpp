// golden_run check|update SOURCE_FOLDER SCRATCH_FOLDER GROUP PROGRAM...
// golden_run beside SOURCE_FOLDER SCRATCH_FOLDER GROUP OTHER_PROGRAM PROGRAM...
// Runs the list tests/golden/runs/GROUP.runs of the source folder with the program (after a launcher,
// where it needs one) and compares with tests/golden/expected/GROUP/, or brings that up to date; or
// compares with what another program does of the same list, here and now. GROUP "all" means every list.
// Exit code 0: all as kept, or brought up to date; 1: not as kept; 2: wrong list.
#include <algorithm>
#include <exception>
#include <filesystem>
#include <iostream>

#include "golden/group.h"

namespace fs = std::filesystem;
using namespace pivotrace::golden;

namespace {

constexpr const char* advice =
    "If this is as it should be: cmake --build --preset dev --target update_golden,\n"
    "then read `git diff tests/golden` line by line before committing it (DEVELOPERS.md, The "
    "golden "
    "run).\n";

#ifdef PIVOTRACE_GOLDEN_OTHER_SOLVER
constexpr double tolerance = other_solver_tolerance;
#else
constexpr double tolerance = number_tolerance;
#endif

struct Request {
  std::string what;
  fs::path source;
  fs::path scratch;
  std::vector<std::string> program;
  std::string other_program;
};

std::vector<fs::path> given_files(const fs::path& source) {
  return {source / "examples", source / "tests/golden/inputs", source / "tests/cycle/third.toml"};
}

std::vector<std::string> all_groups(const fs::path& source) {
  std::vector<std::string> groups;
  for (const auto& entry : fs::directory_iterator(source / "tests/golden/runs")) {
    groups.push_back(entry.path().stem().string());
  }
  std::sort(groups.begin(), groups.end());
  return groups;
}

/// Two programs with the same solver beside each other: numbers as strictly as anywhere.
int run_beside(const Request& request, const std::string& group) {
  const fs::path list = request.source / "tests/golden/runs" / (group + ".runs");
  const fs::path expected = request.scratch / (group + "-expected");
  const std::vector<fs::path> given = given_files(request.source);
  const Places other{
      list, expected, given, request.scratch / (group + "-other"), {request.other_program}};
  const Places places{list, expected, given, request.scratch / group, request.program};
  const auto expected_texts = run_group(other);
  const auto transcripts = run_group(places);
  if (!expected_texts || !transcripts) {
    std::cerr << (expected_texts ? transcripts.error() : expected_texts.error()) << '\n';
    return 2;
  }
  fs::remove_all(expected);
  update(other, *expected_texts);
  const std::string report = differences(places, *transcripts);
  std::cout << report << group << ": " << transcripts->size() << " runs "
            << (report.empty() ? "alike\n" : "compared\n") << std::flush;
  return report.empty() ? 0 : 1;
}

int run_one(const Request& request, const std::string& group) {
  if (request.what == "beside") return run_beside(request, group);
  const fs::path golden = request.source / "tests/golden";
  const Places places{golden / "runs" / (group + ".runs"),
                      golden / "expected" / group,
                      given_files(request.source),
                      request.scratch / group,
                      request.program,
                      tolerance};
  const auto transcripts = run_group(places);
  if (!transcripts) {
    std::cerr << transcripts.error() << '\n';
    return 2;
  }
  if (request.what == "update") std::cout << update(places, *transcripts);
  const std::string report = differences(places, *transcripts);
  if (!report.empty()) {
    std::cout << report << advice;
    return 1;
  }
  std::cout << group << ": " << transcripts->size() << " runs as kept\n";
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  const std::vector<std::string> words(argv + 1, argv + argc);
  const bool beside = !words.empty() && words[0] == "beside";
  if (words.size() < (beside ? 6U : 5U) ||
      (words[0] != "check" && words[0] != "update" && !beside)) {
    std::cerr << "usage: golden_run check|update SOURCE SCRATCH GROUP|all PROGRAM...\n"
                 "       golden_run beside SOURCE SCRATCH GROUP|all OTHER_PROGRAM PROGRAM...\n";
    return 2;
  }
  try {
    Request request{words[0],
                    fs::absolute(words[1]),
                    fs::absolute(words[2]),
                    {words.begin() + (beside ? 5 : 4), words.end()},
                    beside ? fs::canonical(words[4]).string() : ""};
    request.program.back() = fs::canonical(request.program.back()).string();
    int worst = 0;
    const std::vector<std::string> groups =
        words[3] == "all" ? all_groups(request.source) : std::vector{words[3]};
    for (const std::string& group : groups) worst = std::max(worst, run_one(request, group));
    return worst;
  } catch (const std::exception& error) {
    std::cerr << "golden_run: " << error.what() << '\n';
    return 2;
  }
}
