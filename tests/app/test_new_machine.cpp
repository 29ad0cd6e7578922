// The guide: what a setter answers becomes a machine file that reads back as answered.
#include <doctest/doctest.h>

#include <filesystem>

#include "app/machine_guide.h"
#include "app/run_verb.h"
#include "formats/scratch_folder.h"
#include "pivotrace/formats/machine_file.h"

using namespace pivotrace;
using namespace pivotrace::testing;
using pivotrace::test::ScratchFolder;

TEST_CASE("new: what is offered makes a machine file that plan can use, whatever axis and units") {
  const ScratchFolder folder;
  int number = 0;
  for (const char* letter : {"A", "B", "C"}) {
    for (const char* units : {"mm", "inch"}) {
      const std::string file = folder.file(std::to_string(++number) + ".machine.toml");
      const Screen made =
          run_verb({"new", file, "--defaults", "--letter", letter, "--units", units});
      CAPTURE(made.err);
      REQUIRE(made.code == 0);
      const auto machine = read_machine(file);
      REQUIRE(machine.has_value());
      CHECK(machine->rotary.front().letter == *letter);
      CHECK(machine->inch == (std::string(units) == "inch"));
      CHECK(run_verb({"check", file}).code == 0);
    }
  }
}

TEST_CASE("new: typed answers, a slip that is asked again, and a record to fill in") {
  const ScratchFolder folder;
  const std::string file = folder.file("my.machine.toml");
  const std::string rows = folder.file("my.touches.csv");
  const std::string typed =
      "Mill 7\nich\ninch\n-20 0\n-16,0\n\n\n\n\nrigth-hand\nright-hand\n-10 -8 -9\n0 90\n"
      "edge-finder\n0.2\n\n1\n-9 -8 -7\n";
  const Screen made = run_verb({"new", file, "--rows", rows}, {}, system_file_calls(), typed);
  CAPTURE(made.err);
  REQUIRE(made.code == 0);
  CHECK(made.err.find("did you mean inch?") != std::string::npos);
  CHECK(made.err.find("did you mean right-hand?") != std::string::npos);
  CHECK(made.err.find("next: pivotrace fit " + file + " " + rows) != std::string::npos);
  const auto machine = read_machine(file);
  REQUIRE(machine.has_value());
  CHECK(machine->name == "Mill 7");
  CHECK(machine->linear.travel_mm[1].low == doctest::Approx(-16 * 25.4));
  CHECK(machine->rotary.front().positive_turn == TurnSense::right_hand);
  CHECK(machine->rotary.front().centre_mm.x() == doctest::Approx(-254.0));
  CHECK(machine->probe.touch_sigma_mm == doctest::Approx(0.010).epsilon(0.01));
  CHECK(machine->artefacts.front().at_mm.z() == doctest::Approx(-7 * 25.4));
  // An older file gives its answers back.
  const std::string copy = folder.file("copy.machine.toml");
  REQUIRE(run_verb({"new", copy, "--from", file, "--defaults"}).code == 0);
  const auto again = read_machine(copy);
  REQUIRE(again.has_value());
  CHECK(again->rotary.front().centre_mm.isApprox(machine->rotary.front().centre_mm, 1e-9));
  CHECK(again->rotary.front().positive_turn == TurnSense::right_hand);
}

TEST_CASE("new: leaving writes nothing, and nothing is overwritten") {
  const ScratchFolder folder;
  const std::string file = folder.file("my.machine.toml");
  CHECK(run_verb({"new", file}, {}, system_file_calls(), "Mill\nleave\n").code == 0);
  CHECK(folder.file_count() == 0);
  CHECK(run_verb({"new", file, "--defaults", "--travel-x", "0 -600"}).code == 2);
  CHECK(run_verb({"new", file, "--defaults", "--travel-x", "zero"}).code == 2);
  CHECK(folder.file_count() == 0);
  REQUIRE(run_verb({"new", file, "--defaults"}).code == 0);
  CHECK(run_verb({"new", file, "--defaults"}).code == 2);
  CHECK(run_verb({"new"}).code == 2);
}
