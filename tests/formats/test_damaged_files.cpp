// Every kind of file, cut short or garbled anywhere: it reads, or it is refused in words. No reader
// crashes, throws or stays silent.
#include <doctest/doctest.h>
#include <rapidcheck.h>

#include <chrono>
#include <filesystem>
#include <fstream>

#include "app/check.h"
#include "formats/file_tests.h"
#include "formats/scratch_folder.h"
#include "pivotrace/disk/text_file.h"
#include "pivotrace/estimate/fit.h"
#include "pivotrace/formats/machine_file.h"
#include "pivotrace/formats/mapping_file.h"
#include "pivotrace/formats/result_file.h"
#include "pivotrace/formats/touch_file.h"
#include "pivotrace/report/finding_words.h"

using namespace pivotrace;
using test::ScratchFolder;
namespace fs = std::filesystem;

namespace {

struct Sample {
  std::string name;
  std::string text;
};

/// The whole result of the demo, as `fit -o` leaves it.
std::string demo_result() {
  const auto machine = read_machine(test::example_path("fourth-axis.machine.toml"));
  REQUIRE(machine.has_value());
  const auto survey = read_survey(test::example_path("fourth-axis.touches.csv"), *machine);
  REQUIRE(survey.has_value());
  const auto result = fit_survey(*machine, *survey);
  REQUIRE(result.has_value());
  return write_result(*result, words_of);
}

std::vector<Sample> samples() {
  std::vector<Sample> all;
  for (const char* folder : {"/examples", "/routines"}) {
    for (const auto& entry : fs::directory_iterator(std::string(PIVOTRACE_SOURCE_DIR) + folder)) {
      const std::string name = entry.path().filename().string();
      if (!name.ends_with(".toml") && !name.ends_with(".csv")) continue;
      if (name.starts_with("spoiled-")) continue;  // records like the others
      const auto text = read_file(entry.path().string());
      REQUIRE(text.has_value());
      all.push_back({name, *text});
    }
  }
  all.push_back({"demo.result.json", demo_result()});
  return all;
}

void look_at(const ScratchFolder& folder, const Sample& sample, const std::string& text) {
  const std::string file = folder.file(sample.name);
  std::ofstream(file, std::ios::binary) << text;
  const FileCheck check = check_file(file, test::example_path("fourth-axis.machine.toml"));
  RC_ASSERT(check.good() != check.summary.empty());
  for (const Problem& problem : check.problems) {
    RC_ASSERT(problem.number != ProblemNumber::not_set);
    RC_ASSERT(!problem.what.empty());
    RC_ASSERT(!problem.advice.empty());
  }
}

}  // namespace

TEST_CASE("every kind of file cut short anywhere reads, or is refused in words") {
  const ScratchFolder folder;
  for (const Sample& sample : samples()) {
    CAPTURE(sample.name);
    CHECK(rc::check([&] {
      const auto length = *rc::gen::inRange<std::size_t>(0, sample.text.size());
      look_at(folder, sample, sample.text.substr(0, length));
    }));
  }
}

TEST_CASE("every kind of file with garbled bytes reads, or is refused in words") {
  const ScratchFolder folder;
  for (const Sample& sample : samples()) {
    CAPTURE(sample.name);
    CHECK(rc::check([&] {
      std::string text = sample.text;
      const auto faults = *rc::gen::inRange(1, 4);
      for (int i = 0; i < faults; ++i) {
        const auto at = *rc::gen::inRange<std::size_t>(0, text.size());
        text[at] = static_cast<char>(*rc::gen::inRange(0, 256));
      }
      look_at(folder, sample, text);
    }));
  }
}

TEST_CASE("10 MB of garbage under any name is refused at once") {
  const ScratchFolder folder;
  constexpr std::size_t size = 10'000'000;
  std::string noise(size, '\0');
  std::uint64_t state = 1;
  for (char& byte : noise) {
    state = state * 6364136223846793005U + 1442695040888963407U;  // Knuth's MMIX generator
    byte = static_cast<char>(state >> 56U);
  }
  const auto refused_at_once = [&](const std::string& name, const std::string& text) {
    CAPTURE(name);
    CAPTURE(static_cast<int>(text[0]));
    const std::string file = folder.file(name);
    std::ofstream(file, std::ios::binary) << text;
    const auto start = std::chrono::steady_clock::now();
    const FileCheck check = check_file(file, test::example_path("fourth-axis.machine.toml"));
    // Nothing hangs. Generous, because this is no benchmark and machines are busy.
    CHECK(std::chrono::steady_clock::now() - start < std::chrono::seconds(20));
    CHECK(!check.good());
    REQUIRE(!check.problems.empty());
    CHECK(!check.problems.front().advice.empty());
  };
  for (const char* name : {"x.machine.toml", "x.touches.csv", "x.result.json", "x.plan.toml",
                           "x.limits.toml", "x.mapping.toml", "x.feet.toml", "x.truth.toml", "x"}) {
    refused_at_once(name, noise);
  }
  for (const char filler : {'q', ',', '[', '{', '"', '\n', '7'}) {
    for (const char* name : {"x.machine.toml", "x.touches.csv", "x.result.json"}) {
      refused_at_once(name, std::string(size, filler));
    }
  }
}
