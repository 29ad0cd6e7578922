// A machine and a survey of the host as the embedded core is given them.
#pragma once

#include "board.h"
#include "pivotrace/machine/machine.h"
#include "pivotrace/survey/survey.h"

namespace pivotrace::testing {

/// Positions to 10 nm and angles to 0.000001 deg: what the core can be told.
Survey rounded_for_board(const Survey& survey);

/// `dof` as in pivotrace_errors. The survey must be rounded; a stay at several artefacts becomes
/// several stations.
BoardJob board_job(const Machine& machine, const Survey& survey, int dof);

}  // namespace pivotrace::testing
