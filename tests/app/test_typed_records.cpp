// A stranger's own few lines, as spreadsheets and editors spell them, and what people get wrong:
// through the real program, with number, place, advice and exit code.
#include <doctest/doctest.h>
#include <fmt/format.h>
#include <sys/stat.h>

#include <nlohmann/json.hpp>
#include <regex>

#include "app/child.h"
#include "app/demo_folder.h"
#include "formats/scratch_folder.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

/// The eight rows of src/manual/fourth-axis.md.
const std::string eight_rows =
    "# units: mm\n# kind: centre\nA,X,Y,Z\n"
    "0,-269.590,-200.270,-189.640\n45,-269.605,-157.431,-207.083\n"
    "90,-269.623,-139.474,-249.709\n135,-269.634,-156.917,-292.547\n"
    "180,-269.631,-199.543,-310.505\n225,-269.616,-242.381,-293.062\n"
    "270,-269.598,-260.339,-250.436\n315,-269.587,-242.896,-207.597\n";

std::string all_replaced(std::string text, const std::string& from, const std::string& to) {
  for (std::size_t at = 0; (at = text.find(from, at)) != std::string::npos; at += to.size()) {
    text.replace(at, from.size(), to);
  }
  return text;
}

/// Every number with a decimal point divided by 25.4: in the record and in the machine file the
/// lengths are those.
std::string in_inches(const std::string& text) {
  const std::regex length(R"(-?\d+\.\d+)");
  std::string result;
  auto last = text.begin();
  for (std::sregex_iterator match(text.begin(), text.end(), length), none; match != none; ++match) {
    result.append(last, (*match)[0].first);
    result += fmt::format("{:.9f}", std::stod((*match)[0]) / 25.4);
    last = (*match)[0].second;
  }
  return result.append(last, text.end());
}

/// A machine file of the shortest kind; angles without a decimal point, so that in_inches leaves
/// them alone.
const std::string short_machine =
    "format = 1\nname = \"mine\"\nunits = \"mm\"\n[linear]\n"
    "limits = { X = [-600.0, 0.0], Y = [-400.0, 0.0], Z = [-500.0, 0.0] }\n"
    "[[rotary]]\nletter = \"A\"\ncarries = \"work\"\nalong = \"X\"\npositive_turn = \"left-hand\"\n"
    "centre = [-300.0, -200.0, -250.0]\nlimits = [-360, 360]\n"
    "[probe]\nstylus_diameter = 6.0\nlength_datum = \"centre\"\n"
    "[[artefact]]\nname = \"ball\"\nkind = \"ball\"\ncarried_by = \"A\"\n"
    "at = [-270.0, -200.0, -190.0]\n";

struct Centre {
  double y = 0.0;
  double z = 0.0;
};

class Desk {
 public:
  Desk() { spill(file("my.machine.toml"), short_machine); }
  std::string file(const std::string& name) const { return folder_.file(name); }
  Centre fitted(const std::string& record) const {
    spill(file("my.touches.csv"), record);
    const Screen check = run_verb({"check", file("my.machine.toml"), file("my.touches.csv")});
    CHECK_MESSAGE(check.code == 0, check.err);
    const Screen fit = run_verb({"fit", file("my.machine.toml"), file("my.touches.csv"), "--json"});
    REQUIRE_MESSAGE(fit.code == 0, fit.err);
    const auto location = nlohmann::json::parse(fit.out)["axes"]["A"]["centre"];
    return {location["Y"]["value"].get<double>(), location["Z"]["value"].get<double>()};
  }
  ProgramScreen fit(const std::string& record) const {
    spill(file("my.touches.csv"), record);
    return run_program({"fit", file("my.machine.toml"), file("my.touches.csv")});
  }

 private:
  test::ScratchFolder folder_;
};

}  // namespace

TEST_CASE("eight typed lines give one answer, however they were saved") {
  const Desk desk;
  const Centre plain = desk.fitted(eight_rows);
  // The invented truth the rows were made from; the rows are rounded to 1 um.
  CHECK(std::abs(plain.y - -199.9127) < 0.001);
  CHECK(std::abs(plain.z - -250.0621) < 0.001);
  const std::string semicolons = all_replaced(eight_rows, ",", ";");
  for (const std::string& spelling :
       {semicolons, all_replaced(semicolons, ".", ","), all_replaced(eight_rows, ",", "\t"),
        all_replaced(all_replaced(eight_rows, ",", "\t"), ".", ","), "\xEF\xBB\xBF" + eight_rows,
        all_replaced(eight_rows, "\n", "\r\n"),
        "\xEF\xBB\xBF" + all_replaced(all_replaced(semicolons, ".", ","), "\n", "\r\n"),
        // as spreadsheets fill up rows, and quote what holds a separator
        all_replaced(eight_rows, "\n", ",,\n"), all_replaced(semicolons, "\n", ";;;\n"),
        "\"# my ball, by hand\",,,\n,,,\n" +
            all_replaced(eight_rows, "# units: mm", "\"# units: mm\",,,"),
        all_replaced(eight_rows, ",", " , "), eight_rows + "\n\n,,,\n"}) {
    CAPTURE(spelling);
    const Centre same = desk.fitted(spelling);
    CHECK(same.y == plain.y);
    CHECK(same.z == plain.z);
  }
}

TEST_CASE("eight typed lines in inches: record, machine file, or both") {
  const Desk desk;
  const Centre plain = desk.fitted(eight_rows);
  const std::string inch_rows = all_replaced(in_inches(eight_rows), "# units: mm", "# units: inch");
  const std::string inch_machine = all_replaced(in_inches(short_machine), "\"mm\"", "\"inch\"");
  const auto check_same = [&](const Centre& other) {
    // Nine decimals of an inch were typed.
    CHECK(std::abs(other.y - plain.y) < 1e-6);
    CHECK(std::abs(other.z - plain.z) < 1e-6);
  };
  check_same(desk.fitted(inch_rows));
  spill(desk.file("my.machine.toml"), inch_machine);
  check_same(desk.fitted(inch_rows));
  check_same(desk.fitted(eight_rows));
}

TEST_CASE("what people get wrong in a record: number, file, line, column, advice, exit code") {
  const Desk desk;
  const std::string header = "# units: mm\n# kind: centre\nA,X,Y,Z\n";
  struct Mistake {
    std::string record;
    std::string number;
    std::string place;  ///< after the name of the file
  };
  for (const Mistake& mistake :
       {Mistake{"", "P110", ":"}, Mistake{header, "P110", ":3"},
        Mistake{all_replaced(eight_rows, "A,X,Y,Z", "A,X,Y,depth"), "P109", ":3:"},
        Mistake{all_replaced(eight_rows, "-157.431", "nan"), "P105", ":5:13"},
        Mistake{all_replaced(eight_rows, "-157.431", "-inf"), "P105", ":5:13"},
        Mistake{all_replaced(eight_rows, "-157.431", "about -157"), "P104", ":5:13"},
        Mistake{all_replaced(eight_rows, "A,X,Y,Z", "B,X,Y,Z"), "P106", ":3:1"},
        Mistake{all_replaced(eight_rows, "A,X,Y,Z\n", "artefact,A,X,Y,Z\n"), "P1", ":"},
        Mistake{all_replaced(eight_rows, "units: mm", "units: inch"), "P112", ":"},
        Mistake{all_replaced(eight_rows, "units: mm", "unit: mm"), "P102", ":1:"},
        Mistake{all_replaced(eight_rows, ".", ","), "P101", ":4:"},
        Mistake{std::string(10'000'000, '\x8F'), "P101", ":1:1"}}) {
    CAPTURE(mistake.record.substr(0, 200));
    const ProgramScreen screen = desk.fit(mistake.record);
    CAPTURE(screen.err);
    CHECK(screen.code == 2);
    CHECK(screen.signal == 0);
    CHECK(screen.out.empty());
    CHECK(says(screen.err, mistake.number));
    CHECK(says(screen.err, "my.touches.csv" + mistake.place));
    CHECK(says(screen.err, "\n     "));  // advice stands indented below
  }
}

TEST_CASE("the same touch number twice, and a station of one touch") {
  const Desk desk;
  std::string numbered = all_replaced(eight_rows, "A,X,Y,Z\n", "touch,A,X,Y,Z\n");
  int number = 0;
  for (const char* angle : {"0,", "45,", "90,", "135,", "180,", "225,", "270,", "315,"}) {
    numbered = replaced(numbered, std::string("\n") + angle,
                        "\n" + std::to_string(++number) + "," + angle);
  }
  CHECK(desk.fit(numbered).code == 0);  // every station has one row
  const ProgramScreen twice = desk.fit(replaced(numbered, "\n5,180", "\n4,180"));
  CHECK(twice.code == 2);
  CHECK(says(twice.err, "P107"));
  CHECK(says(twice.err, "my.touches.csv:8:1"));
}

TEST_CASE("too little, or the wrong way round: what the data cannot tell is refused by name") {
  const Desk desk;
  const auto rows = [](int count) {
    std::size_t end = eight_rows.find("A,X,Y,Z\n") + 8;
    for (int i = 0; i < count; ++i) end = eight_rows.find('\n', end) + 1;
    return eight_rows.substr(0, end);
  };
  for (const int count : {1, 2}) {
    const ProgramScreen screen = desk.fit(rows(count));
    CAPTURE(screen.err);
    CHECK(screen.code == 3);
    CHECK(says(screen.err, "P20"));
    CHECK(says(screen.err, "\n     "));
  }
  CHECK(desk.fit(rows(3)).code == 0);
  spill(desk.file("my.machine.toml"), all_replaced(short_machine, "left-hand", "right-hand"));
  const ProgramScreen turned = desk.fit(eight_rows);
  CHECK(turned.code == 3);
  CHECK(says(turned.err, "P205"));
}

TEST_CASE("folders, missing and unreadable files are told apart, whatever they are named for") {
  const Desk desk;
  spill(desk.file("my.touches.csv"), eight_rows);
  const std::string machine = desk.file("my.machine.toml");
  const std::string touches = desk.file("my.touches.csv");
  const std::string folder = desk.file("");
  for (const std::vector<std::string>& words : {std::vector<std::string>{"fit", machine, folder},
                                                {"fit", folder, touches},
                                                {"check", folder},
                                                {"write", folder, "--list"},
                                                {"cycle", folder, "--control", "demo-control"},
                                                {"plan", folder}}) {
    const ProgramScreen screen = run_program(words);
    CAPTURE(screen.err);
    CHECK(screen.code == 4);
    CHECK(says(screen.err, "P603"));
  }
  for (const std::vector<std::string>& words :
       {std::vector<std::string>{"fit", machine, touches + "x"},
        {"fit", machine + "x", touches},
        {"check", "nowhere.toml"},
        {"judge", "nowhere.json", "--limits", machine}}) {
    const ProgramScreen screen = run_program(words);
    CAPTURE(screen.err);
    CHECK(screen.code == 4);
    CHECK(says(screen.err, "P601"));
  }
  REQUIRE(::chmod(folder.c_str(), 0755) == 0);
  REQUIRE(::chmod(touches.c_str(), 0000) == 0);
  for (const std::vector<std::string>& words :
       {std::vector<std::string>{"fit", machine, touches}, {"check", touches}}) {
    const Screen screen = run_verb_in_child(words, become_nobody);
    CAPTURE(screen.err);
    CHECK(screen.code == 4);
    CHECK(says(screen.err, "P601"));
    CHECK(says(screen.err, "may not be read"));
  }
}
