// The stable numbers of every error message, in one place. Numbers are never reused.
#pragma once

namespace pivotrace {

enum class ProblemNumber {
  not_set = 0,

  // P1xx input: a file or an argument is not what it should be.
  cannot_parse = 101,        // not TOML, not CSV, not JSON: the syntax is broken
  unknown_key = 102,         // a key this file format does not have
  missing_key = 103,         // a key this file format needs
  wrong_type = 104,          // text where a number should be, and the like
  out_of_range = 105,        // a number that cannot be right (negative diameter, NaN, ...)
  unknown_name = 106,        // an axis letter or artefact the machine file does not have
  duplicate_name = 107,      // the same name or touch number twice
  unsupported_format = 108,  // `format` is newer than this program, or another file kind
  missing_column = 109,      // a touch record without a column it needs
  no_data = 110,             // an empty file, or a header and nothing under it
  ambiguous_number = 111,    // decimal comma or thousands mark: cannot tell
  wrong_units = 112,         // positions that cannot lie within the travel
  bad_station = 113,         // a station whose rows disagree or that comes back later
  other_machine = 114,       // a file made for another machine
  bad_argument = 115,        // a command-line argument that cannot be used

  // P2xx geometry and observability: these touches cannot determine what is asked.
  not_observable = 201,     // a direction in the unknowns the touches do not see
  too_few_touches = 202,    // fewer readings than unknowns
  axis_never_turned = 203,  // a rotary axis stood at one angle throughout
  weakly_determined = 204,  // solvable on paper, useless in practice
  wrong_turn_sense = 205,   // the touches fit the other turn sense

  // P3xx fit.
  did_not_converge = 301,
  not_a_number = 302,  // the model left the range of numbers during the solution
  bad_options = 303,

  // P4xx plan, cycle and rehearsal.
  cannot_plan = 401,   // no admissible station or touch
  cannot_spell = 402,  // the control sheet has no word for a step of the plan
  bad_control_sheet = 403,
  program_error = 404,  // a program line the control would refuse
  collision = 405,
  travel_exceeded = 406,
  probe_fault = 407,  // no trigger, early trigger, trigger too far off
  unguarded_move = 408,
  program_stopped = 409,   // alarm or stop reached
  program_too_long = 410,  // step limit reached: an endless loop

  // P5xx writing pivot values.
  not_usable = 501,        // a result that must not be written
  target_not_found = 502,  // a key or pattern found not exactly once
  target_changed = 503,    // the file changed since it was read
  change_too_large = 504,
  change_too_small = 505,
  outdated_result = 506,  // older than the file's own last patch
  values_disagree = 507,  // two homes of one number
  no_such_value = 508,    // a value name the result does not have
  bad_mapping = 509,
  offsets_run_out = 510,

  // P6xx files and storage.
  cannot_read = 601,
  cannot_write = 602,
  is_directory = 603,
  too_large = 604,
};

}  // namespace pivotrace
