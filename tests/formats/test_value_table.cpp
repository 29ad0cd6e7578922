#include <doctest/doctest.h>
#include <toml++/toml.h>

#include <nlohmann/json.hpp>
#include <sstream>

#include "pivotrace/formats/value_table.h"
#include "pivots/sample_result.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

std::string table(const FitResult& result, TableFormat format, LengthUnit unit = LengthUnit::mm) {
  const auto text = value_table(result, {format, unit, "2026-03-02T09:00:00Z"});
  REQUIRE(text.has_value());
  return *text;
}

}  // namespace

TEST_CASE("CSV, JSON and TOML state one and the same numbers") {
  const FitResult result = trunnion_result();
  const auto json = nlohmann::json::parse(table(result, TableFormat::json));
  const toml::table toml = toml::parse(table(result, TableFormat::toml));
  const auto values = pivot_values(result);
  REQUIRE(values.has_value());
  REQUIRE(json["values"].size() == values->size());
  REQUIRE(toml["value"].as_array()->size() == values->size());

  std::istringstream csv(table(result, TableFormat::csv));
  std::string line;
  while (std::getline(csv, line) && line.starts_with("#")) continue;
  CHECK(line == "name,value,U95,unit,symbol,meaning");
  for (std::size_t i = 0; i < values->size(); ++i) {
    REQUIRE(std::getline(csv, line));
    const std::string name = text_of((*values)[i].name);
    const double from_csv = std::stod(line.substr(line.find(',') + 1));
    const toml::table& entry = *(*toml["value"].as_array())[i].as_table();
    CHECK(line.starts_with(name + ","));
    CHECK(entry["name"].value<std::string>() == name);
    CHECK(entry["value"].value<double>() == from_csv);
    CHECK(json["values"][name]["value"].get<double>() == from_csv);
    CHECK(json["values"][name]["U95"].get<double>() == entry["U95"].value<double>());
  }
}

TEST_CASE("the written number is the value within half a last place") {
  const FitResult result = one_axis_result();
  const auto mm = nlohmann::json::parse(table(result, TableFormat::json));
  CHECK(std::abs(mm["values"]["A.centre.Y"]["value"].get<double>() + 200.0123) <= 0.5e-5);
  const auto inch = nlohmann::json::parse(table(result, TableFormat::json, LengthUnit::inch));
  CHECK(inch["units"] == "inch");
  CHECK(std::abs(inch["values"]["A.centre.Y"]["value"].get<double>() * 25.4 + 200.0123) <=
        0.5e-6 * 25.4);
  CHECK(inch["values"]["A.orientation.C"]["unit"] == "deg");
}

TEST_CASE("a machine name with quotes, line ends and non-ASCII letters breaks no table") {
  FitResult result = one_axis_result();
  result.machine_name = "M\"1\"\nFräse, \\left";
  CHECK(nlohmann::json::parse(table(result, TableFormat::json))["machine"] == result.machine_name);
  const toml::table toml = toml::parse(table(result, TableFormat::toml));
  CHECK(toml["machine"].value<std::string>() == result.machine_name);
  CHECK(table(result, TableFormat::csv).find("# machine: M\"1\" Fräse, \\left\n") !=
        std::string::npos);
}

TEST_CASE("no table of an unusable result") {
  FitResult result = one_axis_result();
  result.usable = false;
  const auto text = value_table(result, {});
  REQUIRE(!text.has_value());
  CHECK(text.error()[0].number == ProblemNumber::not_usable);
}
