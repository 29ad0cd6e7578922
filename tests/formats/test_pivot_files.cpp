// Mapping, limits and feet files: what they say, and every mistake answered with its place.
#include <doctest/doctest.h>

#include "app/check.h"
#include "formats/file_tests.h"
#include "pivotrace/formats/limits_file.h"
#include "pivotrace/formats/machine_file.h"
#include "pivotrace/formats/mapping_file.h"
#include "pivotrace/formats/mounting_file.h"

using namespace pivotrace;
using pivotrace::test::example_text;
using pivotrace::test::place_in;
using pivotrace::test::replaced;

namespace {

bool has(const Problems& problems, ProblemNumber number, int line) {
  for (const Problem& problem : problems) {
    if (problem.number == number && problem.where.line == line) return true;
  }
  return false;
}

template <class T>
Problems problems_of(const Expected<T>& parsed) {
  REQUIRE(!parsed.has_value());
  return parsed.error();
}

}  // namespace

TEST_CASE("the example mapping says what it says") {
  const auto mapping = parse_mapping(example_text("fourth-axis.mapping.toml"), "m");
  REQUIRE(mapping.has_value());
  CHECK(mapping->machine == "Bench mill with 4th axis, invented");
  REQUIRE(mapping->entries.size() == 6);
  CHECK(mapping->entries[0].value == "A.centre.Y");
  CHECK(mapping->entries[0].key == "centre_y");
  CHECK(mapping->entries[0].unit == FileUnit::mm);
  CHECK(mapping->entries[2].unit == FileUnit::deg);
  CHECK(mapping->entries[4].pattern == R"(pivot_list\s*: Y([-+.\d]+) Z)");
  CHECK(mapping->entries[4].format.decimals == 3);
}

TEST_CASE("every key of a mapping is read") {
  const auto mapping = parse_mapping(
      "format = 1\n[[entry]]\nvalue = \"C.centre.Y\"\nline = 7\nunit = \"inch\"\nsign = -1\n"
      "scale = 1000\nreference_value = \"A.centre.Y\"\ndecimals = 2\nplus_sign = true\n"
      "decimal_mark = \",\"\nlargest_change = 0.2\n",
      "m");
  REQUIRE(mapping.has_value());
  const MappingEntry& entry = mapping->entries[0];
  CHECK(entry.line == 7);
  CHECK(entry.unit == FileUnit::inch);
  CHECK(entry.sign == -1.0);
  CHECK(entry.scale == 1000.0);
  CHECK(entry.reference_value == "A.centre.Y");
  CHECK(entry.format.decimals == 2);
  CHECK(entry.format.plus_sign);
  CHECK(entry.format.decimal_mark == ',');
  CHECK(entry.largest_change == 0.2);
  CHECK(entry.where.line == 2);

  const auto counted = parse_mapping(
      "format = 1\n[[entry]]\nvalue = \"A.centre.Y\"\nkey = \"at\"\nnumber = 2\n"
      "reference = -448\nreference_unit = \"mm\"\nunit = \"inch\"\n",
      "m");
  REQUIRE(counted.has_value());
  CHECK(counted->entries[0].number == 2);
  CHECK(counted->entries[0].reference == -448.0);
  CHECK(counted->entries[0].reference_unit == FileUnit::mm);
}

TEST_CASE("mistakes in a mapping are told together, each with its line") {
  const std::string text =
      "format = 1\n[[entry]]\nvalue = 3\nkey = \"k\"\nunit = \"mn\"\nplus_sign = 1\nkeys = 2\n";
  const Problems problems = problems_of(parse_mapping(text, "m"));
  CHECK(has(problems, ProblemNumber::wrong_type, 3));
  CHECK(has(problems, ProblemNumber::unknown_name, 5));
  CHECK(has(problems, ProblemNumber::wrong_type, 6));
  CHECK(has(problems, ProblemNumber::unknown_key, 7));
  CHECK(has(problems_of(parse_mapping("format = 1\n[[entry]]\nvalue = \"v\"\n", "m")),
            ProblemNumber::bad_mapping, 2));
  CHECK(has(problems_of(parse_mapping("format = 2\n", "m")), ProblemNumber::unsupported_format, 1));
  CHECK(!parse_mapping("", "m").has_value());
  CHECK(!parse_mapping("format = 1\nentry = 3\n", "m").has_value());
  CHECK(!parse_mapping("format = ", "m").has_value());
  CHECK(!read_mapping("/nowhere/at/all").has_value());
}

TEST_CASE("the example limits say what they say") {
  const auto limits = parse_limits(example_text("fourth-axis.limits.toml"), "l");
  REQUIRE(limits.has_value());
  REQUIRE(limits->limits.size() == 5);
  CHECK(limits->limits[0].low == doctest::Approx(-200.1));
  CHECK(limits->limits[0].high == doctest::Approx(-199.9));
  CHECK(limits->limits[2].unit == LimitUnit::arcsec);
  CHECK(!limits->limits[4].low.has_value());
  REQUIRE(limits->part.has_value());
  CHECK(limits->part->at.size() == 4);
  CHECK(limits->part->mismatch_mm == 0.02);
}

TEST_CASE("limits in inches: the part in mm, limits marked as inch") {
  const auto limits = parse_limits(
      "format = 1\nunits = \"inch\"\n[part]\nfrom = [0, 0, 0]\nto = [1, 2, 3]\nat = [\"A=0\"]\n"
      "mismatch = 0.001\n",
      "l");
  REQUIRE(limits.has_value());
  CHECK(limits->inch);
  CHECK(limits->part->to_mm.isApprox(Eigen::Vector3d(25.4, 50.8, 76.2)));
  CHECK(*limits->part->mismatch_mm == doctest::Approx(0.0254));
}

TEST_CASE("mistakes in limits are told together, each with its line") {
  const std::string text =
      "format = 1\nunits = \"mm\"\n[[limit]]\nvalue = \"A.centre.Y\"\nlow = 1\nnominal = 2\n"
      "within = 1\n[[limit]]\nvalue = \"A.centre.Z\"\nlow = \"1\"\nhihg = 3\n[part]\nat = [1]\n";
  const Problems problems = problems_of(parse_limits(text, "l"));
  CHECK(has(problems, ProblemNumber::missing_key, 3));
  CHECK(has(problems, ProblemNumber::wrong_type, 10));
  CHECK(has(problems, ProblemNumber::unknown_key, 11));
  CHECK(has(problems, ProblemNumber::missing_key, 12));  // from, to
  CHECK(has(problems, ProblemNumber::wrong_type, 13));
  CHECK(has(problems_of(parse_limits("format = 1\n[[limit]]\nvalue = \"a\"\nlow = 1\n", "l")),
            ProblemNumber::missing_key, 1));  // units
  CHECK(problems_of(parse_limits("format = 1\nunits = \"mm\"\n", "l"))[0].number ==
        ProblemNumber::no_data);
  CHECK(has(problems_of(parse_limits("format = 1\nunits = \"mm\"\n[[limit]]\nvalue = \"a\"\n"
                                     "low = 2\nhigh = 1\n",
                                     "l")),
            ProblemNumber::out_of_range, 3));
}

TEST_CASE("the example feet say what they say") {
  const auto mounting = parse_mounting(example_text("fourth-axis.feet.toml"), "f");
  REQUIRE(mounting.has_value());
  CHECK(mounting->feet.size() == 4);
  CHECK(mounting->keys.size() == 1);
  CHECK(mounting->keys[0].clearance_mm == 0.02);
  CHECK(mounting->tailstock_mm.has_value());
  CHECK(mounting->shims_mm.size() == 7);
  CHECK(mounting->mismatch_mm == 0.02);
}

TEST_CASE("feet may stand in the machine file, which stays a machine file") {
  const std::string feet =
      "\n[[foot]]\nname = \"front\"\nat = [0, 0, 0]\nfixed = true\n[[foot]]\nname = \"rear\"\n"
      "at = [100, 0, 0]\n[mounting]\npart_reach = 50\n";
  const std::string text = example_text("fourth-axis.machine.toml") + feet;
  CHECK(parse_machine(text, "m").has_value());
  const auto mounting = parse_mounting(text, "m");
  REQUIRE(mounting.has_value());
  CHECK(mounting->machine == "Bench mill with 4th axis, invented");
  CHECK(mounting->feet[0].fixed);
  CHECK(mounting->part_reach_mm == 50.0);
}

TEST_CASE("mistakes in feet are told together, each with its line") {
  const std::string text =
      "format = 1\nunits = \"mm\"\n[[foot]]\nname = \"a\"\nat = [0, 0]\n[[foot]]\nname = \"b\"\n"
      "at = [1, 0, 0]\nfixed = \"yes\"\n[mounting]\nshims = [0.1, -0.1]\nreach = 3\n";
  const Problems problems = problems_of(parse_mounting(text, "f"));
  CHECK(has(problems, ProblemNumber::wrong_type, 5));
  CHECK(has(problems, ProblemNumber::wrong_type, 9));
  CHECK(has(problems, ProblemNumber::out_of_range, 11));
  CHECK(has(problems, ProblemNumber::unknown_key, 12));
  CHECK(has(problems_of(parse_mounting("format = 1\nunits = \"mm\"\n", "f")),
            ProblemNumber::missing_key, 1));
}

TEST_CASE("the example files pass the check as what they are") {
  const auto kind = [](const std::string& name) {
    const FileCheck check = check_file(pivotrace::test::example_path(name));
    CHECK(check.good());
    CHECK(!check.summary.empty());
    return check.kind;
  };
  CHECK(kind("fourth-axis.mapping.toml") == "mapping file");
  CHECK(kind("fourth-axis.control.mapping.toml") == "mapping file");
  CHECK(kind("fourth-axis.limits.toml") == "limits file");
  CHECK(kind("fourth-axis.feet.toml") == "feet file");
}

TEST_CASE("no pivot file of garbage is read, and none crashes") {
  std::string garbage(20000, '\0');
  unsigned state = 7;
  for (char& c : garbage) {
    state = state * 1103515245U + 12345U;
    c = static_cast<char>(state >> 16U);
  }
  CHECK(!parse_mapping(garbage, "g").has_value());
  CHECK(!parse_limits(garbage, "g").has_value());
  CHECK(!parse_mounting(garbage, "g").has_value());
}
