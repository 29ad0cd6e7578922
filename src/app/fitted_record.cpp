#include "app/fitted_record.h"

#include "pivotrace/disk/text_file.h"
#include "pivotrace/estimate/fit.h"
#include "pivotrace/formats/conditions_file.h"
#include "pivotrace/formats/machine_file.h"
#include "pivotrace/formats/touch_file.h"

namespace pivotrace::app {

Expected<FitResult> fitted_record(const std::string& machine_file, const std::string& touch_file,
                                  FileCalls& disk) {
  const auto machine_text = read_file(machine_file, disk);
  if (!machine_text) return tl::make_unexpected(machine_text.error());
  const auto machine = parse_machine(*machine_text, machine_file);
  if (!machine) return tl::make_unexpected(machine.error());
  const auto usual = conditions_of_machine(*machine_text, machine_file);
  if (!usual) return tl::make_unexpected(usual.error());
  const auto touch_text = read_file(touch_file, disk);
  if (!touch_text) return tl::make_unexpected(touch_text.error());
  const auto survey = parse_survey(*touch_text, touch_file, *machine);
  if (!survey) return tl::make_unexpected(survey.error());
  auto result = fit_survey(*machine, *survey);
  if (!result) return result;
  result->inputs = {{"machine", machine_file, sha256_hex(*machine_text)},
                    {"touches", touch_file, sha256_hex(*touch_text)}};
  result->conditions = overlaid(*usual, conditions_of_record(*touch_text));
  return result;
}

}  // namespace pivotrace::app
