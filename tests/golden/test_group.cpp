// The texts kept of a group: written, compared, brought up to date.
#include <doctest/doctest.h>

#include <fstream>
#include <random>
#include <sstream>

#include "golden/group.h"

using namespace pivotrace::golden;
namespace fs = std::filesystem;

namespace {

/// Test cases run at the same time, each needs a folder of its own.
fs::path new_folder() {
  return fs::temp_directory_path() / ("pivotrace-golden-" + std::to_string(std::random_device{}()));
}

/// Texts kept in a folder of its own.
struct Kept {
  Kept() { fs::create_directories(places.expected); }
  ~Kept() { fs::remove_all(places.expected); }

  std::string text(const std::string& run) const {
    std::ifstream stream(places.expected / (run + ".txt"), std::ios::binary);
    std::ostringstream read;
    read << stream.rdbuf();
    return read.str();
  }

  Places places{"runs/group.runs", new_folder(), {}, {}, {}, number_tolerance};
};

bool says(const std::string& text, const std::string& what) {
  return text.find(what) != std::string::npos;
}

}  // namespace

TEST_CASE("update keeps what is new, and afterwards nothing differs") {
  const Kept kept;
  const std::vector<Transcript> runs = {{"one", "a 1.5\nb 2.5\n", {}}, {"two", "c\n", {}}};
  CHECK(says(differences(kept.places, runs), "run one: no text is kept"));
  CHECK(says(update(kept.places, runs), "new "));
  CHECK(differences(kept.places, runs).empty());
  CHECK(update(kept.places, runs).empty());
  CHECK(kept.text("one") == "a 1.5\nb 2.5\n");
}

TEST_CASE("a difference names run, file, line, old and new") {
  const Kept kept;
  update(kept.places, {{"one", "a 1.5\nb 2.5\n", {}}});
  const std::string report = differences(kept.places, {{"one", "a 1.5\nb 2.6\n", {}}});
  CHECK(says(report, "run one: not as "));
  CHECK(says(report, "one.txt says\n  line 2: 2.5 became 2.6"));
  CHECK(says(report, "old | b 2.5\n    new | b 2.6\n"));
}

TEST_CASE("update leaves a text alone that counts as the same") {
  const Kept kept;
  update(kept.places, {{"one", "a 1.5\n", {}}});
  CHECK(update(kept.places, {{"one", "a 1.500000000001\n", {}}}).empty());
  CHECK(kept.text("one") == "a 1.5\n");
  CHECK(says(update(kept.places, {{"one", "a 1.6\n", {}}}), "changed "));
  CHECK(kept.text("one") == "a 1.6\n");
}

TEST_CASE("a text whose run is gone is found, and taken away by update") {
  const Kept kept;
  update(kept.places, {{"one", "a\n", {}}, {"two", "b\n", {}}});
  CHECK(says(differences(kept.places, {{"one", "a\n", {}}}), "belongs to no run"));
  CHECK(says(update(kept.places, {{"one", "a\n", {}}}), "gone "));
  CHECK(differences(kept.places, {{"one", "a\n", {}}}).empty());
}

TEST_CASE("a wrong exit code is no text to keep: it stays a difference") {
  const Kept kept;
  const std::vector<Transcript> runs = {{"one", "a\n", {"pivotrace fit ended with 5, not 0"}}};
  update(kept.places, runs);
  CHECK(says(differences(kept.places, runs), "ended with 5, not 0"));
}
