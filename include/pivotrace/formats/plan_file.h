// Probing plans, `*.plan.toml`: written by `pivotrace plan`, read and edited by people.
#pragma once

#include <string>
#include <string_view>

#include "pivotrace/base/problem.h"
#include "pivotrace/disk/file_calls.h"
#include "pivotrace/machine/machine.h"
#include "pivotrace/plan/plan.h"

namespace pivotrace {

/// A plan together with the machine it is for.
struct PlanOnMachine {
  Machine machine;
  Plan plan;
  std::string machine_file;
};

/// The plan as TOML: lengths mm, angles degrees, predictions as remarks beside their numbers.
/// parse_plan(write_plan(p)) gives p back within 1e-6 mm and 1e-6 deg, and the same identity.
std::string write_plan(const Plan& plan, const Machine& machine, const std::string& machine_file);

/// Reads a plan for a machine. Only the file is judged here; whether the machine can run it is
/// check_plan's business.
/// Errors: P101..P108 with line and column, P114 when it is for another machine.
Expected<Plan> parse_plan(std::string_view text, const std::string& name, const Machine& machine);

/// The plan and its machine file: `machine_file` if given, otherwise the one the plan names,
/// relative to the plan's own folder.
Expected<PlanOnMachine> read_plan(const std::string& path, const std::string& machine_file = {},
                                  FileCalls& disk = system_file_calls());

}  // namespace pivotrace
