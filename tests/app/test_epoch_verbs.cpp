// compare, history and confirm as a user types them: a year of made-up results, damaged files, options.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <cctype>
#include <cmath>
#include <nlohmann/json.hpp>
#include <random>
#include <sstream>

#include "app/demo_folder.h"
#include "pivotrace/report/finding_words.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

std::string month_name(int month) { return (month < 9 ? "0" : "") + std::to_string(month + 1); }

/// The demo's result as it might have come out in this month: values drawn anew, a jump in Y between May
/// and June, a creep in Z. Invented.
FitResult in_month(FitResult result, int month, std::mt19937_64& engine) {
  std::normal_distribution<double> normal;
  result.started = "2026-" + month_name(month) + "-02T08:00:00Z";
  result.inputs = {{"machine", "m", "one"}, {"touches", "t", month_name(month)}};
  for (NamedEstimate& centre : result.axes[0].centre) {
    centre.estimate.value += 0.5 * centre.estimate.u * normal(engine);
    const bool jumps = centre.name.direction == LinearAxis::Y;
    centre.estimate.value += jumps ? (month >= 5 ? 0.040 : 0.0) : 0.003 * month;
  }
  return result;
}

double find_centre(const FitResult& result, LinearAxis direction) {
  for (const NamedEstimate& centre : result.axes[0].centre) {
    if (centre.name.direction == direction) return centre.estimate.value;
  }
  return not_run;
}

class Year : public Demo {
 public:
  Year() {
    std::filesystem::remove(result_file);
    std::mt19937_64 engine(7);
    for (int month = 0; month < 12; ++month) {
      spill(folder / (month_name(month) + ".result.json"),
            write_result(in_month(result, month, engine), words_of));
    }
  }
};

}  // namespace

TEST_CASE("a year of results shows its jump, its creep and a date") {
  const Year year;
  const Screen screen =
      run_verb({"history", year.folder.string(), "--within", "0.08", "--between", "0.001"});
  CHECK(screen.code == 1);
  CHECK(says(screen.out, "12 results, 2026-01-02 to 2026-12-02"));
  CHECK(says(screen.out, "A.centre.Y jumped by"));
  CHECK(says(screen.out, "between 2026-05-02 and 2026-06-02"));
  CHECK(says(screen.out, "A.centre.Z creeps by"));
  CHECK(says(screen.out, "NEXT CHECK: before 2027-"));
  CHECK_FALSE(says(screen.out, "A.centre.Z jumped"));
}

TEST_CASE("files that cannot belong to a history are named and left out") {
  const Year year;
  spill(year.folder / "broken.result.json", "{");
  FitResult other = year.result;
  other.machine_name = "another mill";
  spill(year.folder / "other.result.json", write_result(other, words_of));
  spill(year.folder / "twice.result.json", slurp(year.folder / "03.result.json"));
  const Screen screen = run_verb({"history", year.folder.string()});
  CHECK(says(screen.out, "12 results"));
  CHECK(says(screen.out, "broken.result.json"));
  CHECK(says(screen.out, "another mill"));
  CHECK(says(screen.out, "twice.result.json"));
  CHECK(says(screen.out, "no limit was given"));
}

TEST_CASE("a history is JSON and rows too") {
  const Year year;
  const Screen json = run_verb({"history", year.folder.string(), "--json"});
  const auto tree = nlohmann::json::parse(json.out);
  CHECK(tree["format"] == "pivotrace-history-1");
  CHECK(tree["results"].size() == 12);
  CHECK(tree["values"][0]["points"].size() == 12);
  const Screen rows = run_verb({"history", year.folder.string(), "--form", "csv"});
  CHECK(std::count(rows.out.begin(), rows.out.end(), '\n') ==
        1 + 12 * static_cast<long>(tree["values"].size()));
}

TEST_CASE("an empty folder has no history") {
  const Demo demo;
  std::filesystem::remove(demo.result_file);
  CHECK(run_verb({"history", demo.folder.string()}).code == 2);
}

TEST_CASE("compare says what moved and by how much") {
  const Year year;
  const auto file = [&](const char* month) {
    return (year.folder / (std::string(month) + ".result.json")).string();
  };
  const Screen moved = run_verb({"compare", file("01"), file("08")});
  CHECK(moved.code == 1);
  CHECK(says(moved.out, "MOVED: "));
  CHECK(says(moved.out, "WHAT MOVED ("));
  // The flip of the spindle is advised only where the probe may be what moved.
  CHECK((!says(moved.out, "flip") || says(moved.out, "the probe")));
  const Screen quiet = run_verb({"compare", file("01"), file("02"), "--within", "50um"});
  CHECK(quiet.code == 0);
  CHECK(says(quiet.out, "NOTHING MOVED"));
  const auto tree =
      nlohmann::json::parse(run_verb({"compare", file("01"), file("08"), "--json"}).out);
  CHECK(tree["format"] == "pivotrace-comparison-1");
  CHECK(tree["moved"] == true);
  CHECK(tree["explanations"][0]["what"].size() >= 1);
}

TEST_CASE("limits say how far a value may go, and by when it is there") {
  const Year year;
  const double z = find_centre(year.result, LinearAxis::Z);
  const std::string limits = (year.folder / "some.limits.toml").string();
  spill(limits, "format = 1\nunits = \"mm\"\n[[limit]]\nvalue = \"A.centre.Z\"\nlow = " +
                    std::to_string(z - 0.5) + "\nhigh = " + std::to_string(z + 0.08) +
                    "\n[[limit]]\nvalue = \"A.centre.Y\"\nlow = -0.1\nhigh = 0.1\nchange = true\n"
                    "[[limit]]\nvalue = \"A.F_R\"\nhigh = 0.02\n");
  const Screen followed =
      run_verb({"history", year.folder.string(), "--limits", limits, "--between", "0.001"});
  // 0.080 at 0.003 a month: 27 months after January 2026, less what U95 takes.
  CHECK((says(followed.out, "NEXT CHECK: before 2027-") ||
         says(followed.out, "NEXT CHECK: before 2028-0")));
  CHECK(says(followed.out, "of A.centre.Z together"));
  CHECK(says(followed.err, "not followed here, see pivotrace judge: A.F_R"));
  const auto file = [&](const char* month) {
    return (year.folder / (std::string(month) + ".result.json")).string();
  };
  const Screen compared = run_verb({"compare", file("01"), file("02"), "--limits", limits});
  CHECK(says(compared.out, "within tolerance"));
  CHECK(run_verb({"report", file("01"), file("02"), file("08"), "--limits", limits, "-o",
                  (year.folder / "h.html").string()})
            .code == 1);
  spill(limits,
        "format = 1\nunits = \"mm\"\nmachine = \"some mill\"\n[[limit]]\nvalue = "
        "\"A.centre.Y\"\nhigh = 0.0\n");
  CHECK(run_verb({"compare", file("01"), file("02"), "--limits", limits}).code == 2);
}

namespace {

/// The same touches in inches, a month later.
std::string in_inches(const std::string& record) {
  std::istringstream lines(record);
  std::string text = "# units: inch\n# started: 2026-04-02T08:15:00Z\n";
  for (std::string line; std::getline(lines, line);) {
    if (line.starts_with("# units") || line.starts_with("# started")) continue;
    std::istringstream fields(line);
    std::string field;
    for (int column = 0; std::getline(fields, field, ','); ++column) {
      const bool place = std::isdigit(line[0]) != 0 && column >= 4 && column <= 6;
      text += (column > 0 ? "," : "") +
              (place ? fmt::format("{:.7f}", std::stod(field) / 25.4) : field);
    }
    text += '\n';
  }
  return text;
}

}  // namespace

TEST_CASE("inches against mm is no movement") {
  const Demo demo;
  const std::string record = (demo.folder / "inch.csv").string();
  spill(record, in_inches(slurp(example_path("fourth-axis.touches.csv"))));
  const Screen screen =
      run_verb({"compare", demo.result_file, record, "--machine",
                example_path("fourth-axis.machine.toml"), "--within", "50um", "--json"});
  CHECK_MESSAGE(screen.code == 0, screen.err);
  const auto tree = nlohmann::json::parse(screen.out);
  CHECK(tree["moved"] == false);
  // Both are rounded where they were written: 1e-4 mm and 1e-7 inch.
  for (const auto& value : tree["values"]) CHECK(std::abs(value["change"].get<double>()) < 1e-4);
}

TEST_CASE("compare refuses what cannot be compared") {
  const Year year;
  const auto file = [&](const char* month) {
    return (year.folder / (std::string(month) + ".result.json")).string();
  };
  const Screen swapped = run_verb({"compare", file("08"), file("01")});
  CHECK(swapped.code == 2);
  CHECK(says(swapped.err, "swap them"));
  CHECK(run_verb({"compare", file("01"), file("01")}).code == 2);
}

TEST_CASE("confirm plans touches, reads a survey back and weighs a cut") {
  const Year year;
  const std::string written = (year.folder / "01.result.json").string();
  const Screen planned =
      run_verb({"confirm", written, "--machine", example_path("fourth-axis.machine.toml"),
                "--within", "0.1", "--plan-file", (year.folder / "c.plan.toml").string()});
  CHECK(planned.code == 0);
  CHECK(std::filesystem::exists(year.folder / "c.plan.toml"));
  const Screen holds =
      run_verb({"confirm", written, (year.folder / "02.result.json").string(), "--within", "0.05"});
  CHECK(holds.code == 0);
  CHECK(says(holds.out, "HOLD within"));
  const Screen gone =
      run_verb({"confirm", written, (year.folder / "08.result.json").string(), "--within", "0.01"});
  CHECK(gone.code == 1);
  CHECK(says(gone.out, "DO NOT HOLD"));
  const Screen cut = run_verb({"confirm", written, "--cut-axis", "A", "--cut-at", "0", "180",
                               "--step", "0.2", "--step-u95", "0.004"});
  CHECK(cut.code == 1);
  CHECK(says(cut.out, "something else than the centre"));
}

TEST_CASE("what comes of simulated results says so, as JSON and rows too") {
  Demo demo;
  demo.result.simulated = true;
  demo.save();
  const std::string other = (demo.folder / "later.result.json").string();
  FitResult later = demo.result;
  later.started = "2026-12-02T08:00:00Z";
  later.inputs = {{"machine", "m", "one"}, {"touches", "t", "later"}};
  later.simulated = false;  // one of two is enough
  spill(other, write_result(later, words_of));
  for (const std::vector<std::string>& words :
       {std::vector<std::string>{"compare", demo.result_file, other},
        std::vector<std::string>{"history", demo.result_file, other},
        std::vector<std::string>{"confirm", demo.result_file, other}}) {
    CAPTURE(words.front());
    std::vector<std::string> as_json = words;
    as_json.emplace_back("--json");
    CHECK(says(run_verb(words).out, "SIMULATED"));
    CHECK(nlohmann::json::parse(run_verb(as_json).out).at("simulated") == true);
  }
  const std::string rows = run_verb({"history", demo.result_file, other, "--form", "csv"}).out;
  CHECK(says(rows, "file,started,simulated,"));
  CHECK(says(rows, ",yes,"));
  CHECK(says(rows, ",no,"));
}
