// Every output that can hurt someone says so, defers to manual, local safety rules and qualified
// people, and says it in the one wording of the program.
#include <doctest/doctest.h>

#include <regex>

#include "app/demo_folder.h"
#include "base/cautions.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

/// Line ends, comment marks, brackets about remarks and tags are one blank; capitals small.
std::string flowing(const std::string& text) {
  const std::string flat =
      std::regex_replace(text, std::regex(R"(\)?\n[(# ]*|</text>\n<text[^>]*>|\s+)"), " ");
  std::string small;
  for (const char c : flat) {
    small += static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  }
  return small;
}

bool cautions(const std::string& text, const char* words) {
  return says(flowing(text), flowing(words));
}

}  // namespace

TEST_CASE("cautions: everything made of a result") {
  const Demo demo;
  const std::string feet = example_path("fourth-axis.feet.toml");
  const std::string limits = example_path("fourth-axis.limits.toml");
  using Words = std::vector<std::string>;
  const std::string& file = demo.result_file;
  const Words reseat = {"reseat", file, "--offset", "-310", "-200.5", "-180.25", "--at", "A=0,90"};
  const auto with = [](Words words, const Words& more) {
    words.insert(words.end(), more.begin(), more.end());
    return words;
  };
  for (const Words& words :
       {Words{"write", file, "--list"}, Words{"write", file, "--list", "--json"},
        Words{"write", file, "--form", "csv"}, Words{"write", file, "--form", "toml"},
        Words{"write", file, "--form", "json"}, write_words(demo, 2),
        Words{"judge", file, "--limits", limits},
        Words{"judge", file, "--limits", limits, "--json"}, reseat, with(reseat, {"--json"}),
        with(reseat, {"--form", "csv"}),
        with(reseat, {"--form", "program", "--control", ngc_sheet(), "--first-offset", "1"}),
        Words{"report", file}}) {
    CAPTURE(words);
    CHECK(cautions(run_verb(words).out, wrong_value_caution));
  }
  for (const Words& words :
       {Words{"write", file, "--form", "csv"}, write_words(demo, 2), reseat,
        with(reseat, {"--json"}), Words{"shim", file, "--feet", feet}, Words{"report", file}}) {
    CAPTURE(words);
    CHECK(says(flowing(run_verb(words).out), "invented"));
  }
  for (const Words& words :
       {Words{"shim", file, "--feet", feet}, Words{"shim", file, "--feet", feet, "--json"}}) {
    CHECK(cautions(run_verb(words).out, hands_in_machine_caution));
  }
  CHECK(cautions(demo.patch().err, wrong_value_caution));
  CHECK(cautions(demo.patch({"--apply"}).err, wrong_value_caution));
}

TEST_CASE("what is made of touches no machine made says so, up to the line that sets an offset") {
  Demo demo;
  demo.result.simulated = true;
  demo.save();
  const std::string& file = demo.result_file;
  using Words = std::vector<std::string>;
  const Screen refused = run_verb(write_words(demo, 2));
  CHECK(refused.code == 1);
  CHECK(says(refused.err, "--simulated"));
  CHECK(refused.out.empty());
  const Words reseat = {"reseat", file, "--offset", "-310", "-200.5", "-180.25", "--at", "A=0,90"};
  const auto with = [](Words words, const Words& more) {
    words.insert(words.end(), more.begin(), more.end());
    return words;
  };
  for (const Words& words :
       {write_words(demo, 2, {"--simulated"}), Words{"write", file, "--list"},
        Words{"write", file, "--form", "csv", "--simulated"},
        Words{"judge", file, "--limits", example_path("fourth-axis.limits.toml")}, reseat,
        with(reseat, {"--form", "csv"}),
        with(reseat,
             {"--form", "program", "--control", ngc_sheet(), "--first-offset", "1", "--simulated"}),
        Words{"shim", file, "--feet", example_path("fourth-axis.feet.toml")}, Words{"report", file},
        Words{"compare", file, file}, Words{"history", file}}) {
    CAPTURE(words);
    CHECK(cautions(run_verb(words).out, simulated_notice));
  }
  CHECK(says(demo.patch({"--simulated"}).out, "SIMULATED"));
  for (const Words& words :
       {Words{"write", file, "--json", "--simulated"}, with(reseat, {"--json"}),
        Words{"judge", file, "--limits", example_path("fourth-axis.limits.toml"), "--json"},
        Words{"shim", file, "--feet", example_path("fourth-axis.feet.toml"), "--json"}}) {
    CAPTURE(words);
    CHECK(says(run_verb(words).out, "\"simulated\": true"));
  }
}

TEST_CASE("cautions: a template without {{caution}} is filled, with a warning") {
  const Demo demo;
  const std::string form = (demo.folder / "form.txt").string();
  const auto filled = [&](const std::string& text) {
    spill(form, text);
    return run_verb({"write", demo.result_file, "--template", form});
  };
  const Screen bare = filled("Y {{A.centre.Y}}\n");
  CHECK(bare.code == 0);
  CHECK(says(bare.out, "Y -199.9"));
  CHECK(says(bare.err, "has no {{caution}}"));
  CHECK(cautions(bare.err, wrong_value_caution));
  const Screen full = filled("Y {{A.centre.Y}}\n{{caution}}\n");
  CHECK(cautions(full.out, wrong_value_caution));
  CHECK(full.err.empty());
}

TEST_CASE("cautions: everything that leads to a moving machine") {
  const Demo demo;
  const std::string machine = example_path("fourth-axis.machine.toml");
  const std::string plan = (demo.folder / "p.plan.toml").string();
  const std::string drawing = (demo.folder / "p.svg").string();
  const std::string page = (demo.folder / "p.html").string();
  const std::string rows = (demo.folder / "rows.var").string();
  const Screen planned =
      run_verb({"plan", machine, "--for", "crash", "-o", plan, "--drawing", drawing});
  REQUIRE(planned.code == 0);
  CHECK(cautions(planned.out, moving_machine_caution));
  CHECK(cautions(run_verb({"plan", machine, "--for", "crash", "--json"}).out,
                 moving_machine_caution));
  CHECK(cautions(slurp(plan), moving_machine_caution));
  CHECK(cautions(slurp(drawing), moving_machine_caution));

  const Screen cycle = run_verb(
      {"cycle", plan, "--control", ngc_sheet(), "--sheet", page, "--parameter-rows", rows});
  REQUIRE(cycle.code == 0);
  CHECK(cautions(cycle.out, rules_come_first));
  for (const std::string& made : {planned.out, cycle.out, slurp(page)}) {
    CHECK(says(flowing(made), "invented"));
  }
  CHECK(cautions(slurp(page), moving_machine_caution));
  CHECK(cautions(slurp(rows), parameter_file_caution));
  CHECK(cautions(cycle.err, parameter_file_caution));
}

TEST_CASE("cautions: an offset from a centre worked out on the control") {
  const Demo demo;
  const std::string plan = (demo.folder / "p.plan.toml").string();
  const std::string page = (demo.folder / "p.html").string();
  REQUIRE(run_verb({"plan", example_path("fourth-axis.machine.toml"), "-o", plan}).code == 0);
  const Screen cycle = run_verb({"cycle", plan, "--control", ngc_sheet(), "--solve-on-control", "A",
                                 "--set-offset", "2", "--sheet", page});
  INFO(cycle.err);
  REQUIRE(cycle.code == 0);
  CHECK(cautions(cycle.out, on_control_centre_caution));
  CHECK(cautions(slurp(page), on_control_centre_caution));
  const std::size_t stop = cycle.out.find("writes work offset 2: ");
  REQUIRE(stop != std::string::npos);
  CHECK(says(cycle.out.substr(stop, 200), "no outlier test, no U95"));
}
