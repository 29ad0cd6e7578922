// Parameter files of RS274/NGC controls: where programs without a log leave their touches.
#pragma once

#include <map>
#include <string>
#include <string_view>

#include "pivotrace/base/problem.h"
#include "pivotrace/control/emit.h"
#include "pivotrace/plan/plan.h"
#include "pivotrace/survey/survey.h"

namespace pivotrace {

/// A parameter file: number and value per line, ascending numbers (NISTIR 6556 section 3.2.1, from
/// memory); blank lines and lines without a leading number are skipped, as the published
/// interpreter does.
/// Errors: P101 with line and column for a broken number, P107 for a number twice.
Expected<std::map<int, double>> parse_parameters(std::string_view text, const std::string& name);

/// True when the text looks like a parameter file and not like a touch record.
bool looks_like_parameters(std::string_view text);

/// First line of a parameter file that a rehearsal made.
inline constexpr const char* simulated_heading = "SIMULATED by a rehearsal, not by a machine";

/// Where the shipped control sheet ngc leaves its results.
inline constexpr ResultVariables ngc_results = {1000, 1001, 1002};

/// The survey of a plan whose program left its touches in parameters.
///
/// `results` says where: the plan's identity number, the number of touches made, then X, Y, Z of
/// every touch in machine coordinates and program units (the machine file's). Stations, angles,
/// artefacts and approach directions come from the plan; the length datum is applied as in
/// touch records.
/// Errors: P114 when the identity number is another plan's; P103 when a parameter is missing (the
/// control saves only parameters its file lists); P110 when no touch was made; P105 when fewer or
/// more touches were made than planned, because then the program did not end by itself.
Expected<Survey> survey_from_parameters(const std::map<int, double>& parameters,
                                        const std::string& name, const Machine& machine,
                                        const Plan& plan, const ResultVariables& results);

/// The touches of a plan: from a parameter file or a listing of variables when the file looks like one,
/// otherwise from a touch record. The plan's number tells where in it they stand, whatever the control
/// sheet: the shop chooses the variables.
/// Errors: P103 the number stands nowhere; as survey_from_parameters.
Expected<Survey> parse_planned_touches(std::string_view text, const std::string& name,
                                       const Machine& machine, const Plan& plan);

/// Lines to add to the control's parameter file before the run, so that it saves the results:
/// "1000\t0.000000" and so on; before them the caution, a line without a number, which such controls
/// skip.
std::string parameter_rows(const Plan& plan, const ResultVariables& results);

}  // namespace pivotrace
