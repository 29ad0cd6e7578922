#include "pivotrace/formats/value_table.h"

#include <fmt/format.h>

#include "base/cautions.h"
#include "base/number_text.h"
#include "formats/json_writer.h"

namespace pivotrace {

namespace {

struct Row {
  const PivotValue& value;
  LengthUnit unit;

  std::string amount(double mm_or_rad) const {
    return fixed_text(shown_value(value.quantity, mm_or_rad, unit),
                      shown_decimals(value.quantity, unit));
  }
  std::string amount_U95() const {
    return uncertainty_text(shown_value(value.quantity, value.U95, unit),
                            shown_decimals(value.quantity, unit));
  }
};

std::string csv_field(const std::string& text) {
  if (text.find_first_of(",\"\r\n") == std::string::npos) return text;
  std::string quoted = "\"";
  for (const char c : text) quoted += c == '"' ? std::string("\"\"") : std::string(1, c);
  return quoted + "\"";
}

/// A comment line of the CSV must stay one line whatever the machine is called.
std::string one_line(std::string text) {
  for (char& c : text) {
    if (c == '\n' || c == '\r') c = ' ';
  }
  return text;
}

std::string as_csv(const FitResult& result, const std::vector<PivotValue>& values,
                   const ValueTableOptions& options) {
  std::string text;
  text += "# format: 1\n";
  text += fmt::format("# units: {}\n", unit_word(QuantityKind::length, options.unit));
  text += "# machine: " + one_line(result.machine_name) + "\n";
  if (result.simulated) text += fmt::format("# {}\n", simulated_notice);
  text += "# measured: " + one_line(result.started) + "\n";
  text += "# fitted: " + one_line(result.made) + "\n";
  text += "# written: " + one_line(options.date) + "\n";
  text += fmt::format("# coordinates: {}\n", coordinates_note);
  text += fmt::format("# caution: {}\n", wrong_value_caution);
  text += "name,value,U95,unit,symbol,meaning\n";
  for (const PivotValue& value : values) {
    const Row row{value, options.unit};
    text +=
        fmt::format("{},{},{},{},{},{}\n", csv_field(text_of(value.name)), row.amount(value.value),
                    row.amount_U95(), unit_word(value.quantity, options.unit),
                    iso_symbol(value.name), csv_field(value.meaning));
  }
  return text;
}

std::string as_json(const FitResult& result, const std::vector<PivotValue>& values,
                    const ValueTableOptions& options) {
  formats::JsonWriter json;
  json.begin_object();
  json.add("format", "pivotrace-values-1");
  json.add("units", unit_word(QuantityKind::length, options.unit));
  json.add("machine", result.machine_name);
  json.add("simulated", result.simulated);
  json.add("measured", result.started);
  json.add("fitted", result.made);
  json.add("written", options.date);
  json.add("coordinates", coordinates_note);
  json.add("caution", wrong_value_caution);
  json.begin_object("values");
  for (const PivotValue& value : values) {
    const Row row{value, options.unit};
    json.begin_object(text_of(value.name), formats::JsonLayout::one_line);
    // Through the rounded text, so that all three kinds of table state one and the same number.
    json.add("value", number_from_text(row.amount(value.value)));
    json.add("U95", number_from_text(row.amount_U95()));
    json.add("unit", unit_word(value.quantity, options.unit));
    if (const std::string symbol = iso_symbol(value.name); !symbol.empty()) {
      json.add("symbol", symbol);
    }
    json.add("meaning", value.meaning);
    json.end();
  }
  json.end();
  json.end();
  return json.take();
}

std::string toml_string(const std::string& text) {
  std::string quoted = "\"";
  for (const char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    if (c == '"' || c == '\\') {
      quoted += '\\';
      quoted += c;
    } else if (byte < 0x20 || byte == 0x7F) {
      quoted += fmt::format("\\u{:04X}", static_cast<unsigned>(byte));
    } else {
      quoted += c;
    }
  }
  return quoted + "\"";
}

std::string as_toml(const FitResult& result, const std::vector<PivotValue>& values,
                    const ValueTableOptions& options) {
  std::string text;
  text += fmt::format("# {}\n", wrong_value_caution);
  text += "format = 1\n";
  text += fmt::format("units = {}\n", toml_string(unit_word(QuantityKind::length, options.unit)));
  text += fmt::format("machine = {}\n", toml_string(result.machine_name));
  text += fmt::format("simulated = {}\n", result.simulated);
  text += fmt::format("measured = {}\n", toml_string(result.started));
  text += fmt::format("fitted = {}\n", toml_string(result.made));
  text += fmt::format("written = {}\n", toml_string(options.date));
  text += fmt::format("coordinates = {}\n", toml_string(coordinates_note));
  for (const PivotValue& value : values) {
    const Row row{value, options.unit};
    text += "\n[[value]]\n";
    text += fmt::format("name = {}\n", toml_string(text_of(value.name)));
    text += fmt::format("value = {}\n", row.amount(value.value));
    text += fmt::format("U95 = {}\n", row.amount_U95());
    text += fmt::format("unit = {}\n", toml_string(unit_word(value.quantity, options.unit)));
    if (const std::string symbol = iso_symbol(value.name); !symbol.empty()) {
      text += fmt::format("symbol = {}\n", toml_string(symbol));
    }
    text += fmt::format("meaning = {}\n", toml_string(value.meaning));
  }
  return text;
}

}  // namespace

Expected<std::string> value_table(const FitResult& result, const ValueTableOptions& options) {
  const Expected<std::vector<PivotValue>> values = pivot_values(result);
  if (!values) return tl::make_unexpected(values.error());
  switch (options.format) {
    case TableFormat::csv: return as_csv(result, *values, options);
    case TableFormat::json: return as_json(result, *values, options);
    case TableFormat::toml: return as_toml(result, *values, options);
  }
  return std::string();
}

}  // namespace pivotrace
