// golden_run check|update SOURCE_FOLDER SCRATCH_FOLDER GROUP PROGRAM...
// Runs the list tests/golden/runs/GROUP.runs of the source folder with the program (after a launcher,
// where it needs one) and compares with tests/golden/expected/GROUP/, or brings that up to date. GROUP
// "all" means every list. Exit code 0: all as kept, or brought up to date; 1: not as kept; 2: wrong list.
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
  bool update = false;
  fs::path source;
  fs::path scratch;
  std::vector<std::string> program;
};

std::vector<std::string> all_groups(const fs::path& source) {
  std::vector<std::string> groups;
  for (const auto& entry : fs::directory_iterator(source / "tests/golden/runs")) {
    groups.push_back(entry.path().stem().string());
  }
  std::sort(groups.begin(), groups.end());
  return groups;
}

int run_one(const Request& request, const std::string& group) {
  const fs::path golden = request.source / "tests/golden";
  const Places places{
      golden / "runs" / (group + ".runs"),
      golden / "expected" / group,
      {request.source / "examples", golden / "inputs", request.source / "tests/cycle/third.toml"},
      request.scratch / group,
      request.program,
      tolerance};
  const auto transcripts = run_group(places);
  if (!transcripts) {
    std::cerr << transcripts.error() << '\n';
    return 2;
  }
  if (request.update) std::cout << update(places, *transcripts);
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
  if (words.size() < 5 || (words[0] != "check" && words[0] != "update")) {
    std::cerr << "usage: golden_run check|update SOURCE SCRATCH GROUP|all PROGRAM...\n";
    return 2;
  }
  try {
    Request request{words[0] == "update",
                    fs::absolute(words[1]),
                    fs::absolute(words[2]),
                    {words.begin() + 4, words.end()}};
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
