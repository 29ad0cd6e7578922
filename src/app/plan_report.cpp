#include "app/plan_report.h"

#include <ostream>
#include <utility>
#include <vector>

#include "app/clock.h"
#include "app/control_sheets.h"
#include "app/next_step.h"
#include "app/progress.h"
#include "app/refusal.h"
#include "app/version.h"
#include "pivotrace/disk/text_file.h"
#include "pivotrace/formats/plan_file.h"
#include "pivotrace/formats/truth_file.h"
#include "pivotrace/plan/make_plan.h"
#include "pivotrace/rehearsal/rehearse.h"
#include "pivotrace/report/plan_page.h"

namespace pivotrace::app {

namespace {

/// A file the page names, read.
Expected<std::string> listed_text(const std::string& role, const std::string& file,
                                  std::vector<ReportedFile>& files, FileCalls& disk) {
  Expected<std::string> text = read_file(file, disk);
  if (text) files.push_back({role, file, sha256_hex(*text)});
  return text;
}

/// The program of the plan run on the virtual machine, begun where the plan begins.
Expected<RehearsalReport> rehearsed(const PlanReport& arguments, const PlanOnMachine& planned,
                                    std::vector<ReportedFile>& files, const Console& console) {
  const auto sheet = named_control_sheet(arguments.control, console.disk);
  if (!sheet) return tl::make_unexpected(sheet.error());
  const auto program = listed_text("program", arguments.program_file, files, console.disk);
  if (!program) return tl::make_unexpected(program.error());
  RehearsalTruth truth = nominal_truth(planned.machine);
  if (!arguments.truth_file.empty()) {
    auto stated = read_truth(arguments.truth_file, planned.machine, console.disk);
    if (!stated) return tl::make_unexpected(stated.error());
    truth = std::move(*stated);
  }
  RehearsalOptions options;
  options.control = usual_start(planned.machine, *sheet);
  options.start_mm = start_position_mm(planned.machine, planned.plan);
  if (!planned.plan.stations.empty()) {
    options.start_angles_rad = planned.plan.stations.front().angles_rad;
  }
  ProgressLine line(console, "rehearsing", "blocks");
  options.progress = [&line](std::size_t blocks) { line.show(blocks); };
  auto report = rehearse(*program, arguments.program_file, planned.machine, *sheet, truth, options);
  line.clear();
  return report;
}

std::vector<std::string> after_plan(const PlanReport& arguments, const PlanOnMachine& planned,
                                    const RehearsalReport* report) {
  const std::string& plan = arguments.plan_file;
  if (report == nullptr) {
    return {"cycle", plan, "--control", "ngc", "-o", beside(plan, ".nc")};
  }
  if (!report->passed) return {"help", "program"};
  const std::string touches = beside(arguments.program_file, ".touches.csv");
  return {"fit", planned.machine_file, touches, "-o", beside(touches, ".result.json")};
}

}  // namespace

ExitCode report_plan(const PlanReport& arguments, const Console& console) {
  const std::string& file = arguments.plan_file;
  if (arguments.program_file.empty() != arguments.control.empty()) {
    return refuse(console, {{ProblemNumber::bad_argument,
                             "a rehearsal needs the program and the sheet it is written with",
                             {},
                             "for example --program probe.nc --control ngc"}});
  }
  const auto planned = read_plan(file, arguments.machine_file, console.disk);
  if (!planned) return refuse(console, planned.error());
  const auto prediction = predict_plan(planned->machine, planned->plan);
  if (!prediction) return refuse(console, prediction.error());
  PlanPageOptions options;
  options.unit = arguments.units.empty()
                     ? (planned->machine.inch ? LengthUnit::inch : LengthUnit::mm)
                     : length_unit(arguments.units);
  options.date = utc_now();
  options.version = version;
  for (const auto& [role, name] :
       {std::pair("plan", file), std::pair("machine", planned->machine_file)}) {
    const auto text = listed_text(role, name, options.files, console.disk);
    if (!text) return refuse(console, text.error());
  }
  Expected<RehearsalReport> report;
  if (!arguments.program_file.empty()) {
    report = rehearsed(arguments, *planned, options.files, console);
    if (!report) return refuse(console, report.error());
    options.rehearsal = &*report;
  }
  const auto delivered = deliver(console, arguments.output,
                                 plan_page(planned->machine, planned->plan, *prediction, options));
  if (!delivered) return refuse(console, delivered.error());
  if (is_kept(arguments.output)) {
    console.err << "wrote " << arguments.output << ": open it in a browser\n";
    say_next(console, after_plan(arguments, *planned, options.rehearsal));
  }
  return options.rehearsal == nullptr || options.rehearsal->passed ? ExitCode::good
                                                                   : ExitCode::not_good;
}

}  // namespace pivotrace::app
