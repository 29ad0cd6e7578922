// Every refusal of write, judge, shim and reseat, as the user sees it: number, words, exit code,
// and that nothing was written.
#include <doctest/doctest.h>
#include <sys/stat.h>

#include "app/child.h"
#include "app/demo_folder.h"
#include "pivotrace/report/finding_words.h"

using namespace pivotrace;
using namespace pivotrace::testing;
namespace fs = std::filesystem;

namespace {

/// The screen of a refusal: exit code, number, and advice in the line below.
void check_refused(const Screen& screen, int code, const std::string& number) {
  CAPTURE(screen.out);
  CAPTURE(screen.err);
  CHECK(screen.code == code);
  CHECK(says(screen.err, number));
}

std::string utf16_little_endian(const std::string& latin_1) {
  std::string text = "\xFF\xFE";
  for (const char c : latin_1) text += std::string{c, '\0'};
  return text;
}

std::string with_crlf(const std::string& text) {
  std::string result;
  for (const char c : text) result += c == '\n' ? std::string("\r\n") : std::string{c};
  return result;
}

/// The demo's post after `--apply`, worked out by hand from what the dry run shows.
std::string patched_by_hand(const std::string& text, const FitResult& result) {
  const auto number = [](double value, int decimals) {
    char digits[32];
    std::snprintf(digits, sizeof digits, "%.*f", decimals, value);
    return std::string(digits);
  };
  const AxisResult& axis = result.axes[0];
  const double y = axis.centre[0].estimate.value;
  const double z = axis.centre[1].estimate.value;
  std::string b;
  std::string c;
  for (const NamedEstimate& lean : axis.orientation) {
    (lean.name.direction == LinearAxis::Y ? b : c) =
        number(lean.estimate.value * 180.0 / std::acos(-1.0), 5);
  }
  std::string patched =
      replaced(text, "centre_y     = -200.0000", "centre_y     = " + number(y, 4));
  patched = replaced(patched, "centre_z     = -250.0000", "centre_z     = " + number(z, 4));
  patched = replaced(patched, "lean_about_z = 0.00000", "lean_about_z = " + c);
  patched = replaced(patched, "lean_about_y = 0.00000", "lean_about_y = " + b);
  return replaced(patched, "Y-200.000 Z-250.000", "Y" + number(y, 3) + " Z" + number(z, 3));
}

}  // namespace

TEST_CASE("write --patch: somebody edits the file while its change is on the screen") {
  const Demo demo;
  const std::string edited = slurp(demo.post) + "# edited meanwhile\n";
  const Screen screen = run_verb(demo.patch_words({"--apply"}), [&] { spill(demo.post, edited); });
  check_refused(screen, 2, "P503");
  CHECK(says(screen.err, "changed since it was read"));
  CHECK(slurp(demo.post) == edited);
  CHECK(demo.others().empty());
}

TEST_CASE("write --patch: a key that stands there twice is not guessed at") {
  const Demo demo;
  const std::string twice = slurp(demo.post) + "centre_y = -1.0\n";
  spill(demo.post, twice);
  check_refused(demo.patch({"--apply"}), 2, "P502");
  CHECK(slurp(demo.post) == twice);
}

TEST_CASE("write --patch: each yes lifts its own refusal and no other") {
  Demo demo;
  const std::string post = slurp(demo.post);
  spill(demo.post, replaced(post, "centre_y     = -200.0000", "centre_y     = -202.0000"));
  demo.result.machine_name = "another";
  demo.save();
  Screen screen = demo.patch({"--apply"});
  CHECK(says(screen.err, "P114"));
  CHECK(says(screen.err, "P504"));
  check_refused(demo.patch({"--apply", "--allow-other-machine"}), 1, "P504");
  check_refused(demo.patch({"--apply", "--allow-large-change"}), 2, "P114");
  screen = demo.patch({"--apply", "--allow-large-change", "--allow-other-machine"});
  CHECK_MESSAGE(screen.code == 0, screen.err);

  check_refused(demo.patch({"--apply", "--allow-other-machine"}), 1, "P505");
  CHECK(demo.patch({"--apply", "--allow-other-machine", "--allow-small-change"}).code == 0);
  demo.result.started = "2025-01-01T00:00:00Z";
  demo.save();
  check_refused(demo.patch({"--apply", "--allow-other-machine", "--allow-small-change"}), 1,
                "P506");
  CHECK(demo.patch({"--apply", "--allow-other-machine", "--allow-small-change",
                    "--allow-older-result"})
            .code == 0);
}

TEST_CASE("write --patch: half a degree is the limit for leans") {
  const Demo demo;
  spill(demo.post, replaced(slurp(demo.post), "lean_about_y = 0.00000", "lean_about_y = 0.60000"));
  check_refused(demo.patch({"--apply"}), 1, "P504");
}

TEST_CASE("write --patch: hard links are refused, a symbolic link is followed and stays one") {
  const Demo demo;
  const std::string before = slurp(demo.post);
  const fs::path second = demo.folder / "second name.txt";
  fs::create_hard_link(demo.post, second);
  Screen screen = demo.patch({"--apply"});
  check_refused(screen, 4, "P602");
  CHECK(says(screen.err, "hard links"));
  CHECK(slurp(demo.post) == before);
  fs::remove(second);

  const fs::path real = demo.folder / "real.txt";
  fs::rename(demo.post, real);
  fs::create_symlink("real.txt", demo.post);
  screen = demo.patch({"--apply"});
  CHECK_MESSAGE(screen.code == 0, screen.err);
  CHECK(fs::is_symlink(demo.post));
  CHECK(slurp(real) == patched_by_hand(before, demo.result));
  // Two symbolic links in a circle lead nowhere.
  fs::remove(demo.post);
  fs::create_symlink(demo.post, second);
  fs::create_symlink(second, demo.post);
  check_refused(demo.patch({"--apply"}), 4, "P601");
}

TEST_CASE("write --patch: a folder or a file that may not be written") {
  const Demo demo;
  const std::string before = slurp(demo.post);
  const std::vector<std::string> words = demo.patch_words({"--apply"});
  REQUIRE(::chmod(demo.folder.c_str(), 0555) == 0);
  check_refused(run_verb_in_child(words, become_nobody), 4, "P602");
  REQUIRE(::chmod(demo.folder.c_str(), 0755) == 0);
  REQUIRE(::chmod(demo.post.c_str(), 0444) == 0);
  const Screen screen = demo.patch({"--apply"});
  check_refused(screen, 4, "P602");
  CHECK(says(screen.err, "write-protected"));
  REQUIRE(::chmod(demo.post.c_str(), 0000) == 0);
  check_refused(run_verb_in_child(words, become_nobody), 4, "P601");
  REQUIRE(::chmod(demo.post.c_str(), 0644) == 0);
  CHECK(slurp(demo.post) == before);
  CHECK(demo.others().empty());
}

TEST_CASE("write --patch: a full disk leaves the old file and nothing beside it") {
  const Demo demo;
  const std::string before = slurp(demo.post) + std::string(4000, '\n');
  spill(demo.post, before);
  const Screen screen =
      run_verb_in_child(demo.patch_words({"--apply"}), [] { return limit_file_size(2000); });
  check_refused(screen, 4, "P602");
  CHECK(slurp(demo.post) == before);
  CHECK(demo.others().empty());
}

TEST_CASE("write --patch: UTF-16, Latin-1, byte-order mark and CRLF come out as they went in") {
  const Demo demo;
  const std::string plain = slurp(demo.post);
  const std::string patched = patched_by_hand(plain, demo.result);
  struct Case {
    const char* what;
    std::function<std::string(const std::string&)> spelled;
  };
  for (const Case& one :
       {Case{"UTF-8", [](const std::string& text) { return text; }},
        Case{"UTF-8 with a mark", [](const std::string& text) { return "\xEF\xBB\xBF" + text; }},
        Case{"CRLF", with_crlf},
        Case{"Latin-1",
             [](const std::string& text) {
               return replaced(text, "invented post",
                               "erfundener Pr\xFC"
                               "fpost");
             }},
        Case{"UTF-16",
             [](const std::string& text) { return utf16_little_endian(with_crlf(text)); }}}) {
    CAPTURE(one.what);
    spill(demo.post, one.spelled(plain));
    const Screen screen = demo.patch({"--apply"});
    CHECK_MESSAGE(screen.code == 0, screen.err);
    CHECK(slurp(demo.post) == one.spelled(patched));
    for (const std::string& other : demo.others()) fs::remove(demo.folder / other);
  }
}

TEST_CASE("write --patch and --verify: what is no text file, or not there") {
  Demo demo;
  const std::string post = demo.post;
  demo.post = demo.folder.string();
  check_refused(demo.patch(), 4, "P603");
  demo.post = "/dev/null";
  check_refused(demo.patch(), 4, "P601");
  demo.post = post + " not there";
  check_refused(demo.patch(), 4, "P601");
  const std::string mapping = example_path("fourth-axis.mapping.toml");
  check_refused(run_verb({"write", demo.result_file, "--verify", demo.post, "--mapping", mapping}),
                4, "P601");
  check_refused(run_verb({"write", demo.result_file, "--verify", post}), 2, "P115");
  check_refused(run_verb({"write", demo.result_file, "--patch", post, "--mapping", post}), 2,
                "P101");
  demo.post = post;
  spill(post, std::string("centre_y = \0\x01\x02", 14));
  CHECK(demo.patch().code == 2);
}

TEST_CASE("write: a mapping that asks for what the result does not have") {
  const Demo demo;
  const std::string mapping = (demo.folder / "wrong.mapping.toml").string();
  spill(mapping, "format = 1\n[[entry]]\nvalue = \"A.center.Y\"\nkey = \"centre_y\"\n");
  const Screen screen =
      run_verb({"write", demo.result_file, "--patch", demo.post, "--mapping", mapping});
  check_refused(screen, 2, "P508");
  CHECK(says(screen.err, "A.centre.Y"));
  CHECK(says(screen.err, "wrong.mapping.toml:"));
}

TEST_CASE("write: its own output never falls on a folder or a protected file") {
  const Demo demo;
  check_refused(run_verb(write_words(demo, 1, {"-o", demo.folder.string()})), 4, "P603");
  check_refused(
      run_verb(write_words(demo, 1, {"-o", (demo.folder / "no folder" / "x.nc").string()})), 4,
      "P602");
  const std::string output = (demo.folder / "offsets.ngc").string();
  spill(output, "mine");
  REQUIRE(::chmod(output.c_str(), 0444) == 0);
  REQUIRE(::chmod(demo.folder.c_str(), 0777) == 0);
  check_refused(run_verb_in_child(write_words(demo, 1, {"-o", output}), become_nobody), 4, "P602");
  CHECK(slurp(output) == "mine");
}

TEST_CASE("judge: everything it refuses") {
  Demo demo;
  const std::string limits = example_path("fourth-axis.limits.toml");
  const std::string earlier = (demo.folder / "earlier.result.json").string();
  const std::vector<std::string> words = {"judge", demo.result_file, "--limits", limits};
  const auto with_previous = [&] {
    std::vector<std::string> more = words;
    more.insert(more.end(), {"--previous", earlier});
    return run_verb(more);
  };
  check_refused(with_previous(), 4, "P601");
  FitResult previous = demo.result;
  previous.machine_name = "another";
  spill(earlier, write_result(previous, words_of));
  check_refused(with_previous(), 2, "P114");
  previous.machine_name = demo.result.machine_name;
  previous.usable = false;
  spill(earlier, write_result(previous, words_of));
  check_refused(with_previous(), 1, "P501");

  const std::string change = (demo.folder / "change.limits.toml").string();
  spill(change,
        "format = 1\nunits = \"mm\"\n[[limit]]\nvalue = \"A.centre.Y\"\nchange = true\n"
        "low = -0.01\nhigh = 0.01\n");
  check_refused(run_verb({"judge", demo.result_file, "--limits", change}), 2, "P115");
  spill(change,
        "format = 1\nunits = \"mm\"\n[[limit]]\nvalue = \"C.centre.Y\"\nlow = -1\nhigh = 1\n");
  check_refused(run_verb({"judge", demo.result_file, "--limits", change}), 2, "P508");
  spill(change, "format = 1\nunits = \"mm\"\n");
  check_refused(run_verb({"judge", demo.result_file, "--limits", change}), 2, "P110");
  check_refused(run_verb({"judge", demo.result_file, "--limits", demo.folder.string()}), 4, "P603");
  demo.result.machine_name = "another";
  demo.save();
  check_refused(run_verb(words), 2, "P114");
}

TEST_CASE("judge --previous: the change is judged, and both results count as old and new values") {
  const Demo demo;
  const std::string earlier = (demo.folder / "earlier.result.json").string();
  FitResult previous = demo.result;
  previous.axes[0].centre[0].estimate.value -= 0.02;
  previous.axes[0].line.point_mm.y() -= 0.02;
  spill(earlier, write_result(previous, words_of));
  const std::string limits = (demo.folder / "change.limits.toml").string();
  const auto text = [](double within) {
    return "format = 1\nunits = \"mm\"\n[[limit]]\nvalue = \"A.centre.Y\"\nchange = true\nlow = -" +
           std::to_string(within) + "\nhigh = " + std::to_string(within) + "\n";
  };
  const auto judged = [&] {
    return run_verb({"judge", demo.result_file, "--limits", limits, "--previous", earlier});
  };
  spill(limits, text(0.05));
  Screen screen = judged();
  CAPTURE(screen.out);
  CHECK(screen.code == 0);
  CHECK(says(screen.out, "0.0200 mm"));
  CHECK(says(screen.out, "All in all: conforms"));
  spill(limits, text(0.001));
  screen = judged();
  CHECK(screen.code == 1);
  CHECK(says(screen.out, "All in all: does not conform"));
}

TEST_CASE("shim: everything it refuses") {
  Demo demo;
  const std::string feet = example_path("fourth-axis.feet.toml");
  check_refused(run_verb({"shim", demo.result_file, "--feet", feet, "--axis", "C"}), 2, "P508");
  check_refused(run_verb({"shim", demo.result_file, "--feet", feet, "--axis", "AC"}), 2, "P115");
  // The demo's machine file says nothing of feet.
  check_refused(
      run_verb({"shim", demo.result_file, "--feet", example_path("fourth-axis.machine.toml")}), 2,
      "P1");
  const std::string twins = (demo.folder / "twins.feet.toml").string();
  spill(twins, replaced(slurp(feet), "left rear", "left front"));
  check_refused(run_verb({"shim", demo.result_file, "--feet", twins}), 2, "P107");
  spill(twins, replaced(slurp(feet), "most_shims = 3", "most_shims = 30"));
  check_refused(run_verb({"shim", demo.result_file, "--feet", twins}), 2, "P105");
  check_refused(run_verb({"shim", demo.result_file, "--feet", "/nowhere.toml"}), 4, "P601");
  demo.result.machine_name = "another";
  demo.save();
  check_refused(run_verb({"shim", demo.result_file, "--feet", feet}), 2, "P114");
  const Demo head("swivel-head");
  check_refused(run_verb({"shim", head.result_file, "--feet", twins}), 2, "P1");
}

TEST_CASE("reseat: everything it refuses") {
  const Demo demo;
  const auto reseat = [&](std::vector<std::string> more) {
    std::vector<std::string> words = {"reseat", demo.result_file};
    words.insert(words.end(), more.begin(), more.end());
    return run_verb(words);
  };
  const std::vector<std::string> taught = {"--offset", "-310", "-200.5", "-180.25"};
  const auto at = [&](const std::string& angles) {
    std::vector<std::string> words = taught;
    words.insert(words.end(), {"--at", angles});
    return words;
  };
  check_refused(reseat(at("C=90")), 2, "P508");
  check_refused(reseat(at("A=361")), 2, "P105");
  check_refused(reseat({"--offset", "-310", "-200.5", "12", "--at", "A=90"}), 2, "P105");
  for (const char* wrong : {"A=", "A=x", "90", "A=0..90", "A=0..90/0", "A=0..90/-1", "A=nan"}) {
    CAPTURE(wrong);
    check_refused(reseat(at(wrong)), 2, "P115");
  }
  std::vector<std::string> words = at("A=90");
  words.insert(words.end(), {"--taught-at", "A=0,90"});
  check_refused(reseat(words), 2, "P115");
  words = at("A=90");
  words.insert(words.end(), {"--first-offset", "10"});
  check_refused(reseat(words), 2, "P115");
  check_refused(reseat({"--offset", "nan", "0", "0", "--at", "A=90"}), 2, "P115");
  CHECK(reseat({"--offset", "1", "2", "--at", "A=90"}).code == 2);
  CHECK(reseat({"--offset", "1", "2", "three", "--at", "A=90"}).code == 2);
  CHECK(reseat(taught).code == 2);
}
