#include <doctest/doctest.h>

#include <cmath>

#include "pivotrace/geometry/angle.h"
#include "pivotrace/pivots/patch.h"
#include "pivotrace/report/patch_text.h"
#include "pivots/sample_result.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

TargetFile file_with(const std::string& bytes) {
  TargetFile target;
  target.path = target.real_path = "post.txt";
  target.bytes = bytes;
  return target;
}

MappingEntry by_key(const std::string& value, const std::string& key) {
  MappingEntry entry;
  entry.value = value;
  entry.key = key;
  return entry;
}

MappingEntry by_pattern(const std::string& value, const std::string& pattern) {
  MappingEntry entry;
  entry.value = value;
  entry.pattern = pattern;
  return entry;
}

Mapping mapping(std::vector<MappingEntry> entries) {
  Mapping map;
  map.entries = std::move(entries);
  return map;
}

PatchPlan planned(const std::string& bytes, const Mapping& map,
                  const FitResult& result = one_axis_result()) {
  const auto plan = plan_patch(result, map, file_with(bytes));
  for (const Problem& problem : plan ? Problems() : plan.error()) MESSAGE(describe(problem));
  REQUIRE(plan.has_value());
  return *plan;
}

ProblemNumber refused(const std::string& bytes, const Mapping& map,
                      const FitResult& result = one_axis_result()) {
  const auto plan = plan_patch(result, map, file_with(bytes));
  REQUIRE(!plan.has_value());
  return plan.error()[0].number;
}

bool objects(const PatchPlan& plan, ProblemNumber number) {
  for (const Problem& problem : plan.objections) {
    if (problem.number == number) return true;
  }
  return false;
}

const Mapping y_by_key = mapping({by_key("A.centre.Y", "pivotY")});

}  // namespace

TEST_CASE("only the number changes, comments, blanks and line ends stay") {
  const PatchPlan plan =
      planned("// head\r\n  var pivotY =  -200.0500; // mm\r\nvar pivotYZ = 3;\r\n", y_by_key);
  CHECK(plan.new_bytes == "// head\r\n  var pivotY =  -200.0123; // mm\r\nvar pivotYZ = 3;\r\n");
  REQUIRE(plan.edits.size() == 1);
  CHECK(plan.edits[0].line == 2);
  CHECK(plan.edits[0].column == 17);
  CHECK(plan.edits[0].old_text == "-200.0500");
  CHECK(plan.edits[0].change == doctest::Approx(0.0377));
  CHECK(plan.objections.empty());
}

TEST_CASE("keys are found exactly, in the shapes lists are written in") {
  for (const char* line :
       {"pivotY=-200.05\n", "pivotY : -200.05\n", "\"pivotY\": -200.05,\n", "pivotY -200.05\n",
        "pivotY,-200.05,mm\n", "\tpivotY\t=\t-200.05", "set.x; pivotY = -200.05 (mm)\n",
        "pivotY = -.20005e3\n", "pivotY = -200.05\rnext = 4\r"}) {
    INFO(line);
    const PatchPlan plan = planned(line, y_by_key);
    CHECK(plan.new_bytes.find("-200.0123") != std::string::npos);
  }
}

TEST_CASE("a key that is not there exactly once is refused") {
  CHECK(refused("", y_by_key) == ProblemNumber::target_not_found);
  CHECK(refused("pivoty = 1\n", y_by_key) == ProblemNumber::target_not_found);
  CHECK(refused("pivotY = 1\npivotY = 1\n", y_by_key) == ProblemNumber::target_not_found);
  CHECK(refused("mypivotY = 1\n", y_by_key) == ProblemNumber::target_not_found);
  CHECK(refused("head.pivotY = 1\n", y_by_key) == ProblemNumber::target_not_found);
  CHECK(refused("pivotY2 = 1\n", y_by_key) == ProblemNumber::target_not_found);
  CHECK(refused("pivotY = x\n", y_by_key) == ProblemNumber::target_not_found);
  CHECK(refused("pivotY = 0x1F\n", y_by_key) == ProblemNumber::target_not_found);
  CHECK(refused("pivotY = 1.2.3\n", y_by_key) == ProblemNumber::target_not_found);
}

TEST_CASE("a decimal comma is refused until the mapping states it") {
  CHECK(refused("pivotY = -200,05\n", y_by_key) == ProblemNumber::ambiguous_number);
  Mapping map = y_by_key;
  map.entries[0].format.decimal_mark = ',';
  CHECK(planned("pivotY = -200,05\n", map).new_bytes == "pivotY = -200,0123\n");
}

TEST_CASE("a pattern takes its one capture") {
  const PatchPlan plan = planned("N10 G10 L2 P1 X0 Y-200.05 Z-250.0\nN20 M2\n",
                                 mapping({by_pattern("A.centre.Y", R"(G10 L2 P1 .*Y([-+.\d]+))"),
                                          by_pattern("A.centre.Z", R"(G10 L2 P1 .*Z([-+.\d]+))")}));
  CHECK(plan.new_bytes == "N10 G10 L2 P1 X0 Y-200.0123 Z-250.0342\nN20 M2\n");
}

TEST_CASE("a capture that is more than a number is refused") {
  CHECK(refused("Y-200.05Z3\n", mapping({by_pattern("A.centre.Y", "Y(.*)")})) ==
        ProblemNumber::wrong_type);
}

TEST_CASE("a pattern that sends a backtracking search through every split ends at once") {
  const std::string line(60000, 'x');
  CHECK(refused(line + "\n", mapping({by_pattern("A.centre.Y", R"((?:x+x+)+y([-+.\d]+))")})) ==
        ProblemNumber::target_not_found);
  const PatchPlan plan =
      planned(line + "y-200.05\n", mapping({by_pattern("A.centre.Y", R"((?:x+x+)+y([-+.\d]+))")}));
  CHECK(plan.edits[0].old_text == "-200.05");
}

TEST_CASE("a pattern that needs more than regular languages is refused with what to do") {
  for (const char* pattern : {R"((?=k)(\d))", R"((\d)\1)", R"((?<=k)(\d))"}) {
    const auto problems = mapping({by_pattern("A.centre.Y", pattern)}).validate();
    CAPTURE(pattern);
    REQUIRE(problems.size() == 1);
    CHECK(problems[0].advice.find("looking ahead or back") != std::string::npos);
  }
}

namespace {

MappingEntry nth(const std::string& key, int number) {
  MappingEntry entry = by_key("A.centre.Y", key);
  entry.number = number;
  return entry;
}

std::string first_edit(const std::string& text, const MappingEntry& entry) {
  const auto plan = plan_patch(one_axis_result(), mapping({entry}), file_with(text));
  if (!plan) return describe(plan.error()[0]);
  return plan->new_bytes;
}

}  // namespace

TEST_CASE("the n-th number after a key: lists on a line, in brackets, over several lines") {
  CHECK(first_edit("{\"n\": \"A\", \"at\": [-300.0, -200.05, -250.0]}\n", nth("\"at\"", 2)) ==
        "{\"n\": \"A\", \"at\": [-300.0, -200.0123, -250.0]}\n");
  CHECK(first_edit("\"at\": [\n  -300.0,\n  -200.05\n]\n", nth("\"at\"", 2)) ==
        "\"at\": [\n  -300.0,\n  -200.0123\n]\n");
  CHECK(first_edit("table 1 = 5 -200.05 7\n3\n", nth("table 1", 2)) ==
        "table 1 = 5 -200.0123 7\n3\n");
  CHECK(first_edit("m = ((1, 2), (3, -200.05))\n", nth("m", 4)) ==
        "m = ((1, 2), (3, -200.0123))\n");
  CHECK(first_edit("at 1: 1; 2; -200.05\nat 2: 9; 9; 9\n", nth("at 1", 3)) ==
        "at 1: 1; 2; -200.0123\nat 2: 9; 9; 9\n");
}

TEST_CASE("the n-th number after a key stays within its own list") {
  const auto missing = [](const std::string& text, const MappingEntry& entry) {
    return refused(text, mapping({entry})) == ProblemNumber::target_not_found;
  };
  CHECK(missing("\"at\": [-300.0, -200.05], \"to\": [1.5]\n", nth("\"at\"", 3)));
  CHECK(missing("at = 1 2\n3\n", nth("at", 3)));
  CHECK(missing("bat = 1 2\n", nth("at", 1)));
  CHECK(missing("at2 = 1 2\n", nth("at", 1)));
  CHECK(missing("at = X1 Y-200.05\n", nth("at", 1)));  // numbers in words are none
  CHECK(missing("at = [1, 2]\nat = [3, 4]\n", nth("at", 2)));
  MappingEntry on_line = nth("at", 2);
  on_line.line = 2;
  CHECK(first_edit("at = [1, 2]\nat = [3, -200.05]\n", on_line) ==
        "at = [1, 2]\nat = [3, -200.0123]\n");
}

TEST_CASE("the n-th number after a key: a comma that may be a decimal mark is asked about") {
  MappingEntry entry = nth("at", 2);
  const auto plan = plan_patch(one_axis_result(), mapping({entry}), file_with("\nat = [1,5,-2]\n"));
  REQUIRE(!plan.has_value());
  CHECK(plan.error()[0].number == ProblemNumber::ambiguous_number);
  CHECK(plan.error()[0].where.line == 2);
  CHECK(plan.error()[0].where.column == 7);
  entry.format.decimal_mark = '.';
  CHECK(first_edit("at = [1,5,-2]\n", entry) == "at = [1,-200.0123,-2]\n");
  MappingEntry lost;
  lost.value = "A.centre.Y";
  lost.number = 2;
  lost.line = 1;
  CHECK(refused("1 2\n", mapping({lost})) == ProblemNumber::bad_mapping);
  CHECK(refused("at 1 2\n", mapping({nth("at", 0)})) == ProblemNumber::bad_mapping);
}

TEST_CASE("a line number alone does not take the number of a word without its sign") {
  MappingEntry entry;
  entry.value = "A.centre.Y";
  entry.line = 1;
  CHECK(refused("G54 Y-200.05\n", mapping({entry})) == ProblemNumber::target_not_found);
}

TEST_CASE("a line number alone needs a line with one number") {
  MappingEntry entry;
  entry.value = "A.centre.Y";
  entry.line = 2;
  CHECK(planned("1 2 3\n -200.05\n4\n", mapping({entry})).new_bytes == "1 2 3\n -200.0123\n4\n");
  CHECK(refused("1\n2 3\n", mapping({entry})) == ProblemNumber::target_not_found);
  CHECK(refused("1\n", mapping({entry})) == ProblemNumber::target_not_found);
}

TEST_CASE("unit, sign, scale and reference: written = sign * scale * (value - reference)") {
  MappingEntry entry = by_key("A.centre.Y", "P1");
  entry.unit = FileUnit::inch;
  entry.format.decimals = 5;
  CHECK(planned("P1 = -7.874\n", mapping({entry})).edits[0].new_text ==
        "-7.87450");  // -200.0123 / 25.4
  entry.unit = FileUnit::mm;
  entry.sign = -1.0;
  entry.scale = 1000.0;
  entry.reference = -200.0;
  entry.format.decimals = 0;
  entry.format.plus_sign = true;
  CHECK(planned("P1 = 50\n", mapping({entry})).edits[0].new_text == "+12");
  MappingEntry angle = by_key("A.orientation.C", "P2");
  angle.unit = FileUnit::arcsec;
  angle.format.decimals = 2;
  // 0.0002 rad = 41.25 arcsec (648000 / pi arcsec to the radian)
  CHECK(planned("P2 = 0.00\n", mapping({angle})).edits[0].new_text == "41.25");
  MappingEntry between = by_key("C.centre.Y", "P3");
  between.reference_value = "A.centre.Y";
  const PatchPlan plan = planned("P3 = 0.05\n", mapping({between}), trunnion_result());
  CHECK(plan.edits[0].new_text == "0.0623");  // -199.95 + 200.0123
  CHECK(plan.edits[0].U95 == doctest::Approx(std::sqrt(2.0) * 1.959964 * std::hypot(0.001, 0.002)));
}

TEST_CASE("a reference with a unit of its own") {
  MappingEntry entry = by_key("A.centre.Y", "P1");
  entry.unit = FileUnit::inch;
  entry.reference = -190.5;  // mm, 7.5 inch
  entry.reference_unit = FileUnit::mm;
  entry.format.decimals = 5;
  // (-200.0123 + 190.5) / 25.4
  CHECK(planned("P1 = -0.37\n", mapping({entry})).edits[0].new_text == "-0.37450");
  entry.reference_unit = FileUnit::deg;
  CHECK(refused("P1 = -0.37\n", mapping({entry})) == ProblemNumber::bad_mapping);
}

TEST_CASE("U95 of a difference follows the covariance: law of propagation, worked by hand") {
  // GUM (JCGM 100:2008) equation 16: u(a-b)^2 = u(a)^2 + u(b)^2 - 2 u(a,b).
  FitResult result = trunnion_result();
  MappingEntry entry = by_key("C.centre.Y", "k");
  entry.reference_value = "A.centre.Y";
  const double u = std::hypot(0.001, 0.002);
  result.covariance.names = {*value_named("A.centre.Y"), *value_named("C.centre.Y")};
  result.covariance.absolute = Eigen::Matrix2d{{u * u, 0.9 * u * u}, {0.9 * u * u, u * u}};
  const Mapping map = mapping({entry});
  CHECK(planned("k = 0\n", map, result).edits[0].U95 ==
        doctest::Approx(1.959964 * u * std::sqrt(0.2)));
  result.covariance.absolute = Eigen::Matrix2d{{u * u, -u * u}, {-u * u, u * u}};
  CHECK(planned("k = 0\n", map, result).edits[0].U95 == doctest::Approx(2 * 1.959964 * u));
  result.covariance.absolute.setZero();  // tells nothing: the safe sum
  CHECK(planned("k = 0\n", map, result).edits[0].U95 == doctest::Approx(2 * 1.959964 * u));
}

TEST_CASE("written and read back are inverse for every unit, sign, scale and reference") {
  const auto values = pivot_values(trunnion_result());
  REQUIRE(values.has_value());
  for (const double sign : {1.0, -1.0}) {
    for (const double scale : {1.0, 1000.0, 0.001}) {
      for (const double reference : {0.0, 12.5}) {
        for (const PivotValue& value : *values) {
          MappingEntry entry = by_key(text_of(value.name), "k");
          entry.sign = sign;
          entry.scale = scale;
          entry.reference = reference;
          const auto there = mapped_value(*values, entry);
          REQUIRE(there.has_value());
          const auto back = physical_value(*values, entry, there->written);
          REQUIRE(back.has_value());
          CHECK(std::abs(*back - value.value) < 1e-10);
        }
      }
    }
  }
}

TEST_CASE("units that do not suit a value, unknown values and bad patterns are refused") {
  MappingEntry entry = by_key("A.centre.Y", "k");
  entry.unit = FileUnit::deg;
  CHECK(refused("k = 1\n", mapping({entry})) == ProblemNumber::bad_mapping);
  CHECK(refused("k = 1\n", mapping({by_key("A.centre.X", "k")})) == ProblemNumber::no_such_value);
  CHECK(refused("k = 1\n", mapping({})) == ProblemNumber::bad_mapping);
  CHECK(refused("k = 1\n", mapping({by_pattern("A.centre.Y", "k = 1")})) ==
        ProblemNumber::bad_mapping);
  CHECK(refused("k = 1\n", mapping({by_pattern("A.centre.Y", "k = (1")})) ==
        ProblemNumber::bad_mapping);
  CHECK(refused("k = 1\n", mapping({by_pattern("A.centre.Y", "(k) = (1)")})) ==
        ProblemNumber::bad_mapping);
  MappingEntry nothing;
  nothing.value = "A.centre.Y";
  CHECK(refused("k = 1\n", mapping({nothing})) == ProblemNumber::bad_mapping);
}

TEST_CASE("two values for one number are refused") {
  CHECK(refused("k = -200.05\n", mapping({by_key("A.centre.Y", "k"), by_key("A.centre.Y", "k")})) ==
        ProblemNumber::target_not_found);
}

TEST_CASE("all problems of a mapping are told at once") {
  const auto plan = plan_patch(one_axis_result(),
                               mapping({by_key("A.centre.Y", "gone"), by_key("A.nothing", "k")}),
                               file_with("k = 1\n"));
  REQUIRE(!plan.has_value());
  CHECK(plan.error().size() == 2);
}

TEST_CASE("a change above the limit is objected to until it is allowed") {
  const std::string text = "pivotY = -199.0\n";
  CHECK(objects(planned(text, y_by_key), ProblemNumber::change_too_large));
  const auto allowed =
      plan_patch(one_axis_result(), y_by_key, file_with(text), {.large_change = true});
  REQUIRE(allowed.has_value());
  CHECK(allowed->objections.empty());
  CHECK(!objects(planned("pivotY = -199.1\n", y_by_key), ProblemNumber::change_too_large));
  Mapping narrow = y_by_key;
  narrow.entries[0].largest_change = 0.1;
  CHECK(objects(planned("pivotY = -199.9\n", narrow), ProblemNumber::change_too_large));
  // A turned sign is what the limit is there for.
  CHECK(objects(planned("pivotY = 200.0123\n", y_by_key), ProblemNumber::change_too_large));
}

TEST_CASE("the limit for angles is half a degree") {
  const Mapping map = mapping({by_key("A.orientation.C", "tilt")});
  CHECK(objects(planned("tilt = 0.52\n", map), ProblemNumber::change_too_large));
  CHECK(!objects(planned("tilt = 0.50\n", map), ProblemNumber::change_too_large));
}

TEST_CASE("a change below its U95 gains nothing, and is said so") {
  const std::string text = "pivotY = -200.0100\n";  // 2.3 um away, U95 4.4 um
  CHECK(objects(planned(text, y_by_key), ProblemNumber::change_too_small));
  const auto allowed =
      plan_patch(one_axis_result(), y_by_key, file_with(text), {.small_change = true});
  REQUIRE(allowed.has_value());
  CHECK(allowed->objections.empty());
}

TEST_CASE("values that belong together are written together") {
  const Mapping both = mapping({by_key("A.centre.Y", "y"), by_key("A.centre.Z", "z")});
  const PatchPlan plan = planned("y = -200.0100\nz = -250.1\n", both);
  CHECK(plan.objections.empty());
  CHECK(plan.notes.size() == 1);
  CHECK(plan.new_bytes == "y = -200.0123\nz = -250.0342\n");
}

TEST_CASE("an unusable result has no override") {
  FitResult result = one_axis_result();
  result.usable = false;
  const auto plan =
      plan_patch(result, y_by_key, file_with("pivotY = -200.1\n"), {true, true, true, true});
  REQUIRE(!plan.has_value());
  CHECK(plan.error()[0].number == ProblemNumber::not_usable);
}

TEST_CASE("a result of another machine is objected to") {
  Mapping map = y_by_key;
  map.machine = "the other mill";
  CHECK(objects(planned("pivotY = -200.1\n", map), ProblemNumber::other_machine));
  TargetFile target = file_with("pivotY = -200.1\n");
  target.last_patch = LastPatch{"", "2026-01-01", "the other mill", ""};
  const auto plan = plan_patch(one_axis_result(), y_by_key, target);
  REQUIRE(plan.has_value());
  CHECK(objects(*plan, ProblemNumber::other_machine));
}

TEST_CASE("a result older than the last patch is objected to, across time zones") {
  const auto with_last = [](const std::string& measured, const std::string& fitted) {
    TargetFile target = file_with("pivotY = -200.1\n");
    target.last_patch = LastPatch{measured, fitted, "invented trial machine", ""};
    const auto plan = plan_patch(one_axis_result(), y_by_key, target);
    REQUIRE(plan.has_value());
    return objects(*plan, ProblemNumber::outdated_result);
  };
  // The sample was measured 08:00 and fitted 08:30 UTC.
  CHECK(with_last("2026-03-02T08:00:01Z", "2026-01-01"));
  CHECK(!with_last("2026-03-02T07:59:59Z", "2027-01-01"));
  CHECK(!with_last("2026-03-02T09:00:00+01:00", "2026-03-02T08:30:00Z"));
  CHECK(with_last("2026-03-02T09:00:00+01:00", "2026-03-02T08:30:01Z"));
  CHECK(with_last("2026-03-02T08:00:00-01:00", "2026-01-01"));
  CHECK(with_last("", "2026-03-02T08:31:00Z"));
}

TEST_CASE("encodings: bytes outside the number are untouched") {
  const Mapping map = mapping({by_key("A.centre.Y", "Höhe")});
  const std::string utf8 = "\xEF\xBB\xBFH\xC3\xB6he = -200.05 \xE2\x82\xAC\n";
  CHECK(planned(utf8, map).new_bytes == "\xEF\xBB\xBFH\xC3\xB6he = -200.0123 \xE2\x82\xAC\n");
  const std::string latin1 = "H\xF6he = -200.05 \xA4\r\n";
  CHECK(planned(latin1, map).new_bytes == "H\xF6he = -200.0123 \xA4\r\n");
  const auto utf16 = [](const std::u16string& text, bool big) {
    std::string bytes = big ? "\xFE\xFF" : "\xFF\xFE";
    for (const char16_t c : text) {
      const char high = static_cast<char>(c >> 8);
      const char low = static_cast<char>(c & 0xFF);
      bytes += big ? high : low;
      bytes += big ? low : high;
    }
    return bytes;
  };
  for (const bool big : {false, true}) {
    CHECK(planned(utf16(u"x\r\nHöhe = -200.05 \U0001F4D0\r\n", big), map).new_bytes ==
          utf16(u"x\r\nHöhe = -200.0123 \U0001F4D0\r\n", big));
  }
}

TEST_CASE("what is no text is refused") {
  CHECK(refused(std::string("pivotY = 1\0\n", 12), y_by_key) == ProblemNumber::unsupported_format);
  CHECK(refused(std::string("\xFF\xFE\0\0p\0\0\0", 8), y_by_key) ==
        ProblemNumber::unsupported_format);
  CHECK(refused("\xFF\xFEp", y_by_key) == ProblemNumber::unsupported_format);
  CHECK(refused("pivotY = 1 " + std::string(70000, 'x'), y_by_key) == ProblemNumber::too_large);
}

TEST_CASE("the diff is a unified diff with three lines of context") {
  const PatchPlan plan = planned("1\n2\n3\n4\npivotY = -200.05\n6\n7\n8\n9\n", y_by_key);
  CHECK(patch_diff(plan) ==
        "--- post.txt (old)\n+++ post.txt (new)\n@@ -2,7 +2,7 @@\n 2\n 3\n 4\n"
        "-pivotY = -200.05\n+pivotY = -200.0123\n 6\n 7\n 8\n");
}

TEST_CASE("the table shows old, new, change and U95 with units") {
  const std::string table = patch_table(planned("pivotY = -200.05\n", y_by_key));
  for (const char* wanted : {"-200.05", "-200.0123", "+0.03770 mm", "0.00439 mm", "A.centre.Y",
                             "invented trial machine"}) {
    CHECK_MESSAGE(table.find(wanted) != std::string::npos, wanted << " in\n" << table);
  }
}

TEST_CASE("the result of a machine in inches shows changes in inches") {
  FitResult result = one_axis_result();
  result.inch = true;
  const auto plan = plan_patch(result, y_by_key, file_with("pivotY = -200.05\n"));
  REQUIRE(plan.has_value());
  // 0.0377 mm / 25.4; the number in the file keeps the unit of its mapping.
  const std::string table = patch_table(*plan);
  CHECK_MESSAGE(table.find("+0.001484 inch") != std::string::npos, table);
  CHECK(table.find("-200.0123") != std::string::npos);
  CHECK(table.find(" mm") == std::string::npos);
}

TEST_CASE("verification: what was written agrees, what was edited does not") {
  const FitResult result = one_axis_result();
  const auto homes_in = [&](const std::string& bytes, const std::string& name) {
    TargetFile target = file_with(bytes);
    target.path = name;
    const auto homes = read_homes(result, y_by_key, target);
    REQUIRE(homes.has_value());
    return *homes;
  };
  const auto disagreements = [&](const std::vector<std::vector<HomeReading>>& homes) {
    const auto verification = verify_homes(result, homes);
    REQUIRE(verification.has_value());
    return verification->disagreements;
  };
  const auto written = homes_in("pivotY = -200.0123\n", "post");
  CHECK(disagreements({written}).empty());
  CHECK(disagreements({homes_in("pivotY = -200.0124\n", "post")}).size() == 1);
  CHECK(disagreements({homes_in("pivotY = -200\n", "post")}).size() == 1);

  // Post and control, the two homes of one number: the disagreement is told with both shown.
  const Problems both = disagreements({written, homes_in("pivotY = -200.0500\n", "control")});
  REQUIRE(both.size() == 2);  // the control against the result, and the two against each other
  CHECK(both[0].number == ProblemNumber::values_disagree);
  bool shows_both = false;
  for (const Problem& problem : both) {
    shows_both =
        shows_both || (problem.what.find("post:1 says -200.01230 mm") != std::string::npos &&
                       problem.what.find("control:1 says -200.05000 mm") != std::string::npos);
  }
  CHECK(shows_both);
}
