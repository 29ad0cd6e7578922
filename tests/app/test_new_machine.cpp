// The guide: what a setter answers becomes a machine file that reads back as answered.
#include <doctest/doctest.h>

#include <algorithm>
#include <filesystem>

#include "app/machine_guide.h"
#include "app/run_verb.h"
#include "formats/scratch_folder.h"
#include "pivotrace/disk/text_file.h"
#include "pivotrace/formats/machine_file.h"
#include "pivotrace/formats/touch_file.h"

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
      "Mill 7\nich\ninch\n-20 0\n-16,0\n\n\n\n\nrigth-hand\nright-hand\n-10 -8 -9\n0 90\n\n"
      "edge-finder\n0.2\n\n\n1\n-9 -8 -7\n-Z\n0.3 2\nvice bed 1 2\nvice bed -8 -7 -12 -6 -4 -11\n";
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
  REQUIRE(machine->artefacts.front().stem.has_value());
  CHECK(machine->artefacts.front().stem->length_mm == doctest::Approx(2 * 25.4));
  CHECK(made.err.find("for example: vice bed") != std::string::npos);
  REQUIRE(machine->obstacles.size() == 1);
  CHECK(machine->obstacles.front().to_mm.z() == doctest::Approx(-11 * 25.4));
  // An older file gives its answers back.
  const std::string copy = folder.file("copy.machine.toml");
  REQUIRE(run_verb({"new", copy, "--from", file, "--defaults"}).code == 0);
  const auto again = read_machine(copy);
  REQUIRE(again.has_value());
  CHECK(again->rotary.front().centre_mm.isApprox(machine->rotary.front().centre_mm, 1e-9));
  CHECK(again->rotary.front().positive_turn == TurnSense::right_hand);
  CHECK(again->artefacts.front().stem->direction.isApprox(-Eigen::Vector3d::UnitZ()));
  REQUIRE(again->obstacles.size() == 1);
  CHECK(again->obstacles.front().from_mm.isApprox(machine->obstacles.front().from_mm, 1e-9));
}

TEST_CASE("new: a table on a table, with a pin touched by an edge finder") {
  const ScratchFolder folder;
  const std::string file = folder.file("my.machine.toml");
  const std::string rows = folder.file("my.touches.csv");
  const Screen made = run_verb({"new", file, "--defaults", "--rows", rows, "--second-letter", "C",
                                "--touched", "pin", "--touched-with", "edge-finder", "--ball", "12",
                                "--turn-limits", "-30 100"});
  CAPTURE(made.err);
  REQUIRE(made.code == 0);
  const auto machine = read_machine(file);
  REQUIRE(machine.has_value());
  REQUIRE(machine->rotary.size() == 2);
  CHECK(machine->rotary[1].letter == 'C');
  CHECK(*machine->rotary[1].along == LinearAxis::Z);
  CHECK(machine->artefacts.front().kind == ArtefactKind::pin);
  CHECK(machine->artefacts.front().carried_by == 1);
  CHECK(machine->artefacts.front().direction.isApprox(Eigen::Vector3d::UnitZ()));
  // Each row says which way the tip went; filled in, the record is read.
  std::string record = read_file(rows).value();
  CHECK(record.find("A,C,X,Y,Z,I,J,K\n-30,0,,,,-1,0,0\n") != std::string::npos);
  CHECK(record.find("kind: centre") == std::string::npos);
  for (std::size_t at = record.find(",,,,"); at != std::string::npos; at = record.find(",,,,")) {
    record.replace(at, 4, ",-300,-200,-200,");
  }
  REQUIRE(write_file(rows, record).has_value());
  const auto survey = read_survey(rows, *machine);
  if (!survey) CAPTURE(survey.error().front().what);
  REQUIRE(survey.has_value());
  // Eight angles of A, seven of C besides 0; four sides at two places along the pin.
  CHECK(survey->stations.size() == 15);
  CHECK(survey->touches.size() == 15 * 8);
  CHECK(survey->touches.front().approach->isApprox(-Eigen::Vector3d::UnitX()));
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

TEST_CASE("new: an indicator on a bar in the chuck is read from two sides, at two places") {
  const ScratchFolder folder;
  const std::string file = folder.file("my.machine.toml");
  const std::string rows = folder.file("my.touches.csv");
  REQUIRE(run_verb({"new", file, "--defaults", "--rows", rows, "--touched", "pin", "--touched-with",
                    "indicator", "--ball", "30"})
              .code == 0);
  const auto machine = read_machine(file);
  REQUIRE(machine.has_value());
  CHECK(machine->probe.length_datum == LengthDatum::tip);
  CHECK(machine->artefacts.front().diameter_u_mm == doctest::Approx(0.002));
  std::string record = read_file(rows).value();
  CHECK(record.find("A,X,Y,Z,kind,I,J,K,reading\n0,,,,indicator,0,-1,0,\n") != std::string::npos);
  for (std::size_t at = record.find(",,,,"); at != std::string::npos; at = record.find(",,,,")) {
    record.replace(at, 4, ",-300,-200,-250,");
  }
  for (const std::string side : {"0,-1,0,\n", "0,1,0,\n"}) {
    for (std::size_t at = record.find(side); at != std::string::npos; at = record.find(side)) {
      record.insert(at + side.size() - 1, "0.01");
    }
  }
  REQUIRE(write_file(rows, record).has_value());
  const auto survey = read_survey(rows, *machine);
  if (!survey) CAPTURE(survey.error().front().what);
  REQUIRE(survey.has_value());
  const auto readings = std::ranges::count(survey->touches, TouchKind::indicator, &Touch::kind);
  CHECK(survey->touches.size() == 8 * 6);
  CHECK(readings == 8 * 4);
}

TEST_CASE("new: one face of a block, touched by an edge finder as it turns, tells the axis") {
  const ScratchFolder folder;
  const std::string file = folder.file("block.machine.toml");
  const std::string rows = folder.file("block.touches.csv");
  REQUIRE(run_verb({"new", file, "--defaults", "--rows", rows, "--touched", "block",
                    "--touched-with", "edge-finder", "--stylus", "10", "--centre", "-300 -200 -250",
                    "--ball-at", "-270 -200 -220", "--ball", "40"})
              .code == 0);
  std::string record = read_file(rows).value();
  CHECK(record.find("A,X,Y,Z,I,J,K\n0,,,,0,0,-1\n") != std::string::npos);
  CHECK(record.find("\n180,") == std::string::npos);  // then it looks down
  // The face stands 30.02 mm off a line through Y -200.05, Z -249.96; the lowest point of the tip is shown.
  const auto fill = [&record](const std::string& row, const std::vector<std::string>& places) {
    for (const std::string& place : places) {
      const std::size_t at = record.find(row);
      REQUIRE(at != std::string::npos);
      std::string filled = row;
      filled.replace(row.find(",,,,"), 4, "," + place + ",");
      record.replace(at, row.size(), filled);
    }
  };
  fill("\n0,,,,0,0,-1", {"-282,-212.05,-219.94", "-258,-212.05,-219.94", "-270,-188.05,-219.94"});
  fill("\n90,,,,0,-1,0", {"-282,-165.03,-242.96", "-258,-165.03,-242.96", "-270,-165.03,-266.96"});
  fill("\n270,,,,0,1,0", {"-282,-235.07,-266.96", "-258,-235.07,-266.96", "-270,-235.07,-242.96"});
  REQUIRE(write_file(rows, record).has_value());
  const Screen fitted = run_verb({"fit", file, rows});
  CAPTURE(record);
  CAPTURE(fitted.err);
  CHECK(fitted.out.find("    Y      -200.0500") != std::string::npos);
  CHECK(fitted.out.find("    Z      -249.9600") != std::string::npos);
}
