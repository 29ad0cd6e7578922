#include "pivotrace/control/slots.h"

#include <algorithm>

namespace pivotrace {

namespace {

/// What a slot is asked, what for, and what is done without it.
struct Asked {
  const char* question = "";
  const char* needed_for = "";
  const char* without = "";
  const char* example = "";
};

Slot slot(const char* table, const char* key, SlotPlace place, const Asked& asked = {}) {
  return {table, key, place, asked.question, asked.needed_for, asked.without, asked.example, {}};
}

Slot choice(const char* table, const char* key, ChoicePlace place, std::vector<std::string> choices,
            const Asked& asked = {}) {
  Slot made = slot(table, key, place, asked);
  made.choices = std::move(choices);
  return made;
}

/// Spellings of operators and the like: the key is made at run time.
Slot spelling(const char* table, const std::string& key, SlotPlace place, const Asked& asked) {
  Slot made = slot(table, "", place, asked);
  made.key = key;
  if (made.is_asked()) made.question += " " + key + "?";
  return made;
}

constexpr Asked arithmetic = {"How does arithmetic spell", "every program", "", "+"};
constexpr Asked comparing = {"How does a condition spell", "jumps and loops",
                             "checks are made without a jump", "<"};

bool is_needed(Operator op) {
  return op == Operator::add || op == Operator::subtract || op == Operator::multiply ||
         op == Operator::divide;
}

bool is_needed(Function function) {
  return function == Function::sine || function == Function::cosine ||
         function == Function::square_root || function == Function::absolute;
}

bool is_tested(ModalGroup group) {
  return group == ModalGroup::units || group == ModalGroup::radius_compensation ||
         group == ModalGroup::scaling || group == ModalGroup::rotation;
}

/// The words programs are made of; the others only serve reading.
std::optional<Asked> asked_word(Meaning meaning) {
  switch (meaning) {
    case Meaning::rapid: return Asked{"", "every program", "", "G0"};
    case Meaning::feed: return Asked{"", "every program", "", "G1"};
    case Meaning::skip:
      return Asked{"", "every touch", "", "the straight move that ends at a trigger"};
    case Meaning::machine_coordinates:
      return Asked{"", "moves in machine coordinates",
                   "such moves are written in program coordinates", "G53"};
    case Meaning::absolute: return Asked{"", "the plain state", "the line is left out", "G90"};
    case Meaning::incremental:
      return Asked{"", "the first find where the control does not tell its position",
                   "that position is needed", "G91"};
    case Meaning::millimetres: return Asked{"", "machine files in mm", "", "G21"};
    case Meaning::inches: return Asked{"", "machine files in inches", "", "G20"};
    case Meaning::program_stop: return Asked{"", "every stop", "", "M0"};
    case Meaning::program_end: return Asked{"", "every program", "", "M2"};
    case Meaning::spindle_stop:
      return Asked{"", "a stopped spindle", "the operator stops it", "M5"};
    case Meaning::feed_per_minute:
    case Meaning::plane_xy:
    case Meaning::radius_compensation_off:
    case Meaning::length_compensation_off:
    case Meaning::canned_cycle_off:
    case Meaning::scaling_off:
    case Meaning::rotation_off:
      return Asked{"", "the plain state", "the word is left out", "a word"};
    default: return std::nullopt;
  }
}

void add_top(std::vector<Slot>& all) {
  all.push_back(
      slot("", "name", TextPlace([](ControlSheet& sheet) -> std::string& { return sheet.name; }),
           Asked{"What shall this control sheet be called?", "every program", "", "a short name"}));
  all.push_back(slot("", "title",
                     TextPlace([](ControlSheet& sheet) -> std::string& { return sheet.title; }),
                     Asked{"Which control is it for, in one line?", "people who read the sheet",
                           "nothing is written there", "the machine and its control"}));
  all.push_back(
      slot("", "invented", FlagPlace([](ControlSheet& sheet) -> bool& { return sheet.invented; })));
  all.push_back(slot("", "axis_letters", TextPlace([](ControlSheet& sheet) -> std::string& {
                       return sheet.axis_letters;
                     }),
                     Asked{"Which axis letters may a block move?", "every program", "", "XYZABC"}));
  all.push_back(slot(
      "", "program_start", LinesPlace([](ControlSheet& sheet) -> std::vector<std::string>& {
        return sheet.program_start;
      }),
      Asked{"Which lines does a program file begin with? {number} and {title} are filled in.",
            "every program that has a head", "the program begins with its first block", "\"%\""}));
  all.push_back(
      slot("", "program_end", LinesPlace([](ControlSheet& sheet) -> std::vector<std::string>& {
             return sheet.program_end;
           }),
           Asked{"Which lines does a program file end with, after its last block?",
                 "every program that has an end mark", "nothing is written there", "\"%\""}));
}

void add_text(std::vector<Slot>& all) {
  all.push_back(slot("text", "comment_open", TextPlace([](ControlSheet& sheet) -> std::string& {
                       return sheet.text.comment_open;
                     }),
                     Asked{"What begins a remark?", "every remark", "", "("}));
  all.push_back(slot("text", "comment_close", TextPlace([](ControlSheet& sheet) -> std::string& {
                       return sheet.text.comment_close;
                     }),
                     Asked{"What ends a remark? Nothing: it runs to the end of the line.",
                           "every remark", "remarks run to the end of the line", ")"}));
  all.push_back(
      slot("text", "max_line_length",
           WholePlace([](ControlSheet& sheet) -> int& { return sheet.text.max_line_length; }),
           Asked{"How many characters may a line have? 0: no limit.", "long lines", "", "0"}));
  all.push_back(
      slot("text", "max_comment_length",
           WholePlace([](ControlSheet& sheet) -> int& { return sheet.text.max_comment_length; }),
           Asked{"How many characters may a remark have? 0: no limit.", "long remarks", "", "0"}));
  all.push_back(slot("text", "upper_case_only", FlagPlace([](ControlSheet& sheet) -> bool& {
                       return sheet.text.upper_case_only;
                     }),
                     Asked{"Are remarks written in capitals only?", "remarks", "", "yes"}));
  all.push_back(slot("text", "case_matters", FlagPlace([](ControlSheet& sheet) -> bool& {
                       return sheet.text.case_matters;
                     })));
  all.push_back(slot("text", "spaces_ignored", FlagPlace([](ControlSheet& sheet) -> bool& {
                       return sheet.text.spaces_ignored;
                     })));
  all.push_back(slot(
      "text", "comment_punctuation",
      TextPlace([](ControlSheet& sheet) -> std::string& { return sheet.text.comment_punctuation; }),
      Asked{"Which signs may a remark hold besides letters, digits and blanks?", "remarks",
            "remarks hold letters and digits only", ".,:=+-*/"}));
  all.push_back(slot("text", "block_end", TextPlace([](ControlSheet& sheet) -> std::string& {
                       return sheet.text.block_end;
                     }),
                     Asked{"What stands at the end of every block? Nothing is an answer.",
                           "every block", "", ""}));
  all.push_back(slot("text", "carriage_return", FlagPlace([](ControlSheet& sheet) -> bool& {
                       return sheet.text.carriage_return;
                     })));
  all.push_back(
      slot("text", "line_number_prefix", TextPlace([](ControlSheet& sheet) -> std::string& {
             return sheet.text.line_number_prefix;
           })));
  all.push_back(slot("text", "line_number_step", WholePlace([](ControlSheet& sheet) -> int& {
                       return sheet.text.line_number_step;
                     })));
  all.push_back(slot("text", "line_number_max", WholePlace([](ControlSheet& sheet) -> int& {
                       return sheet.text.line_number_max;
                     })));
  all.push_back(slot("text", "block_skip", TextPlace([](ControlSheet& sheet) -> std::string& {
                       return sheet.text.block_skip;
                     })));
  all.push_back(slot(
      "text", "repeated_letter_is_error",
      FlagPlace([](ControlSheet& sheet) -> bool& { return sheet.text.repeated_letter_is_error; })));
}

void add_numbers(std::vector<Slot>& all) {
  all.push_back(slot(
      "numbers", "decimals_mm",
      WholePlace([](ControlSheet& sheet) -> int& { return sheet.numbers.decimals_mm; }),
      Asked{"How many decimals does the control read in millimetres?", "every number", "", "4"}));
  all.push_back(
      slot("numbers", "decimals_inch",
           WholePlace([](ControlSheet& sheet) -> int& { return sheet.numbers.decimals_inch; }),
           Asked{"How many decimals does the control read in inches?", "every number", "", "4"}));
  all.push_back(
      slot("numbers", "decimals_deg",
           WholePlace([](ControlSheet& sheet) -> int& { return sheet.numbers.decimals_deg; }),
           Asked{"How many decimals does the control read in degrees?", "every number", "", "4"}));
  all.push_back(
      slot("numbers", "decimals_feed",
           WholePlace([](ControlSheet& sheet) -> int& { return sheet.numbers.decimals_feed; }),
           Asked{"How many decimals does the control read in a feed?", "every number", "", "4"}));
  all.push_back(slot(
      "numbers", "decimals_factor",
      WholePlace([](ControlSheet& sheet) -> int& { return sheet.numbers.decimals_factor; }),
      Asked{"How many decimals does the control read in a bare factor?", "every number", "", "4"}));
  all.push_back(slot(
      "numbers", "point_always",
      FlagPlace([](ControlSheet& sheet) -> bool& { return sheet.numbers.point_always; }),
      Asked{"Must a whole number carry a decimal mark (10. for 10)?", "every number", "", "yes"}));
  all.push_back(slot("numbers", "decimal_mark", TextPlace([](ControlSheet& sheet) -> std::string& {
                       return sheet.numbers.decimal_mark;
                     })));
  all.push_back(slot("numbers", "exponent_allowed", FlagPlace([](ControlSheet& sheet) -> bool& {
                       return sheet.numbers.exponent_allowed;
                     })));
  all.push_back(slot("numbers", "plus_sign_allowed", FlagPlace([](ControlSheet& sheet) -> bool& {
                       return sheet.numbers.plus_sign_allowed;
                     })));
  all.push_back(slot("numbers", "max_digits", WholePlace([](ControlSheet& sheet) -> int& {
                       return sheet.numbers.max_digits;
                     })));
}

void add_variables(std::vector<Slot>& all) {
  all.push_back(
      slot("variables", "prefix",
           TextPlace([](ControlSheet& sheet) -> std::string& { return sheet.variables.prefix; }),
           Asked{"What stands before the number of a variable?", "every program", "", "#"}));
  all.push_back(slot("variables", "suffix", TextPlace([](ControlSheet& sheet) -> std::string& {
                       return sheet.variables.suffix;
                     })));
  all.push_back(slot(
      "variables", "index_open",
      TextPlace([](ControlSheet& sheet) -> std::string& { return sheet.variables.index_open; }),
      Asked{"What opens a computed variable number, as in the variable whose number is worked out?",
            "programs written as loops", "programs are written out touch by touch", "["}));
  all.push_back(slot("variables", "index_close", TextPlace([](ControlSheet& sheet) -> std::string& {
                       return sheet.variables.index_close;
                     }),
                     Asked{"What closes it?", "programs written as loops",
                           "programs are written out touch by touch", "]"}));
  all.push_back(slot("variables", "chained", FlagPlace([](ControlSheet& sheet) -> bool& {
                       return sheet.variables.chained;
                     })));
  all.push_back(slot(
      "variables", "readable",
      RangePlace([](ControlSheet& sheet) -> VariableRange& { return sheet.variables.readable; }),
      Asked{"Which variable numbers exist, first and last?", "every program", "", "1 9999"}));
  all.push_back(slot("variables", "working", RangePlace([](ControlSheet& sheet) -> VariableRange& {
                       return sheet.variables.working;
                     }),
                     Asked{"Which variables does the shop leave to these programs, first and last? "
                           "They are overwritten.",
                           "every program", "", "700 799"}));
  all.push_back(slot("variables", "table", RangePlace([](ControlSheet& sheet) -> VariableRange& {
                       return sheet.variables.table;
                     }),
                     Asked{"Which further variables may tables take? May be the same range.",
                           "programs written as loops", "", "1000 1499"}));
  all.push_back(slot("variables", "results",
                     OptionalRangePlace([](ControlSheet& sheet) -> std::optional<VariableRange>& {
                       return sheet.variables.results;
                     }),
                     Asked{"Where may touches be left when no log is written: 2 and 3 for each "
                           "touch, first and last?",
                           "programs without a log", "a log is needed", "7000 7999"}));
  all.push_back(slot("variables", "unset_is_error", FlagPlace([](ControlSheet& sheet) -> bool& {
                       return sheet.variables.unset_is_error;
                     })));
}

void add_expressions(std::vector<Slot>& all) {
  all.push_back(slot("expressions", "open", TextPlace([](ControlSheet& sheet) -> std::string& {
                       return sheet.expressions.open;
                     }),
                     Asked{"What opens a bracket in arithmetic?", "every program", "", "["}));
  all.push_back(slot("expressions", "close", TextPlace([](ControlSheet& sheet) -> std::string& {
                       return sheet.expressions.close;
                     }),
                     Asked{"What closes it?", "every program", "", "]"}));
  all.push_back(choice("expressions", "arctangent_form",
                       ChoicePlace{[](const ControlSheet& sheet) {
                                     return static_cast<int>(sheet.expressions.arctangent_form);
                                   },
                                   [](ControlSheet& sheet, int chosen) {
                                     sheet.expressions.arctangent_form =
                                         static_cast<ArctangentForm>(chosen);
                                   }},
                       {"slash", "comma", "single"}));
  all.push_back(slot("expressions", "sign_before_variable",
                     FlagPlace([](ControlSheet& sheet) -> bool& {
                       return sheet.expressions.sign_before_variable;
                     }),
                     Asked{"May a minus stand straight before a variable or a bracket?",
                           "every program", "it is subtracted from 0", "no"}));
  all.push_back(
      slot("expressions", "round_down_towards_zero", FlagPlace([](ControlSheet& sheet) -> bool& {
             return sheet.expressions.round_down_towards_zero;
           })));
  all.push_back(
      slot("expressions", "modulo_never_negative", FlagPlace([](ControlSheet& sheet) -> bool& {
             return sheet.expressions.modulo_never_negative;
           })));
  all.push_back(slot("expressions", "max_nesting", WholePlace([](ControlSheet& sheet) -> int& {
                       return sheet.expressions.max_nesting;
                     })));
  all.push_back(slot(
      "expressions", "word_needs_brackets",
      FlagPlace([](ControlSheet& sheet) -> bool& { return sheet.expressions.word_needs_brackets; }),
      Asked{"Does arithmetic after an axis letter need brackets?", "every program", "", "yes"}));
  all.push_back(slot("expressions", "word_mark", TextPlace([](ControlSheet& sheet) -> std::string& {
                       return sheet.expressions.word_mark;
                     }),
                     Asked{"What stands between an axis letter and its value?", "every program",
                           "nothing stands there", "="}));
  for (const Operator op : all_operators())
    all.push_back(spelling("expressions.operators", key_of(op), OperatorPlace{op},
                           is_needed(op) ? arithmetic : Asked{}));
  for (const Comparison comparison : all_comparisons())
    all.push_back(spelling("expressions.comparisons", key_of(comparison),
                           ComparisonPlace{comparison}, comparing));
  for (const Function function : all_functions())
    all.push_back(spelling("expressions.functions", key_of(function), FunctionPlace{function},
                           is_needed(function) ? arithmetic : Asked{}));
}

void add_assignment(std::vector<Slot>& all) {
  all.push_back(slot("assignment", "form", TextPlace([](ControlSheet& sheet) -> std::string& {
                       return sheet.assignment.form;
                     }),
                     Asked{"The line that sets a variable, with {variable} and {value}.",
                           "every program", "", "{variable}={value}"}));
  all.push_back(
      slot("assignment", "takes_effect_after_block", FlagPlace([](ControlSheet& sheet) -> bool& {
             return sheet.assignment.takes_effect_after_block;
           })));
  all.push_back(slot("assignment", "per_block", WholePlace([](ControlSheet& sheet) -> int& {
                       return sheet.assignment.per_block;
                     })));
  all.push_back(slot(
      "assignment", "value_needs_brackets",
      FlagPlace([](ControlSheet& sheet) -> bool& { return sheet.assignment.value_needs_brackets; }),
      Asked{"Does arithmetic that sets a variable need brackets round it all?", "every program",
            "none are written", "no"}));
}

void add_branches(std::vector<Slot>& all) {
  all.push_back(slot(
      "branches", "jump",
      TextPlace([](ControlSheet& sheet) -> std::string& { return sheet.branches.jump; }),
      Asked{"The line that jumps to a numbered line, with {label}.", "checks of several states",
            "checks are made without a jump, and the program is written out touch by touch",
            "a word for jump, then {label}"}));
  all.push_back(
      slot("branches", "jump_if",
           TextPlace([](ControlSheet& sheet) -> std::string& { return sheet.branches.jump_if; }),
           Asked{"The line that jumps when a condition holds, with {condition} and {label}.",
                 "alarms that retract, loops, watched positioning",
                 "checks are made without a jump, and the program is written out touch by touch",
                 "a word for if, [{condition}], a word for jump, {label}"}));
  all.push_back(
      slot("branches", "label",
           TextPlace([](ControlSheet& sheet) -> std::string& { return sheet.branches.label; }),
           Asked{"How is the line a jump goes to marked, with {label}?", "jumps",
                 "checks are made without a jump, and the program is written out touch by touch",
                 "N{label}"}));
  all.push_back(slot(
      "branches", "while_begin",
      TextPlace([](ControlSheet& sheet) -> std::string& { return sheet.branches.while_begin; }),
      Asked{"The line that begins a loop while a condition holds, with {condition} and {level}.",
            "programs written as loops", "programs are written out touch by touch",
            "a word for while, [{condition}], a word with {level}"}));
  all.push_back(
      slot("branches", "while_end",
           TextPlace([](ControlSheet& sheet) -> std::string& { return sheet.branches.while_end; }),
           Asked{"The line that ends that loop, with {level}.", "programs written as loops",
                 "programs are written out touch by touch", "a word with {level}"}));
  all.push_back(slot("branches", "while_levels", WholePlace([](ControlSheet& sheet) -> int& {
                       return sheet.branches.while_levels;
                     }),
                     Asked{"How many loops may stand in one another?", "programs written as loops",
                           "programs are written out touch by touch", "3"}));
}

void add_motion(std::vector<Slot>& all) {
  all.push_back(
      slot("motion", "machine_coordinates_at_feed", FlagPlace([](ControlSheet& sheet) -> bool& {
             return sheet.motion.machine_coordinates_at_feed;
           }),
           Asked{"Does the word for machine coordinates work with feed moves too, and not with "
                 "rapid only?",
                 "moves at feed", "such moves are written in program coordinates", "no"}));
  all.push_back(slot("motion", "clamp_words", FlagPlace([](ControlSheet& sheet) -> bool& {
                       return sheet.motion.clamp_words;
                     }),
                     Asked{"May the program write the machine builder's words for clamping?",
                           "machines with clamps", "the machine must clamp by itself", "yes"}));
}

void add_skip(std::vector<Slot>& all) {
  all.push_back(choice(
      "skip", "target",
      ChoicePlace{[](const ControlSheet& sheet) { return static_cast<int>(sheet.skip.target); },
                  [](ControlSheet& sheet, int chosen) {
                    sheet.skip.target = static_cast<Coordinates>(chosen);
                  }},
      {"program", "machine"},
      Asked{"Do the axis words of the probe move mean program or machine coordinates?",
            "every touch", "", "program"}));
  all.push_back(choice(
      "skip", "trip_point",
      ChoicePlace{[](const ControlSheet& sheet) { return static_cast<int>(sheet.skip.trip_point); },
                  [](ControlSheet& sheet, int chosen) {
                    sheet.skip.trip_point = static_cast<Coordinates>(chosen);
                  }},
      {"program", "machine"},
      Asked{"Is the position the control keeps of a trigger in program or machine coordinates?",
            "every touch", "", "program"}));
  all.push_back(slot("skip", "trip_variable",
                     AxesPlace([](ControlSheet& sheet) -> std::map<char, int>& {
                       return sheet.skip.trip_variable;
                     }),
                     Asked{"Which variables hold the position of the trigger, X Y Z?",
                           "positions latched at the trigger",
                           "the position the control tells after the move is taken; where it tells "
                           "none, the operator types it at every touch",
                           "X=number Y=number Z=number"}));
  all.push_back(
      choice("skip", "untriggered",
             ChoicePlace{
                 [](const ControlSheet& sheet) { return static_cast<int>(sheet.skip.untriggered); },
                 [](ControlSheet& sheet, int chosen) {
                   sheet.skip.untriggered = static_cast<WhenUntriggered>(chosen);
                 }},
             {"goes-on", "stops-with-error"},
             Asked{"What does a probe move that meets nothing do: does the program go on, or does "
                   "the control stop with an error?",
                   "watched positioning",
                   "every touch is tested, positioning moves are not watched", "goes-on"}));
  all.push_back(slot(
      "skip", "triggered_at_start_is_error", FlagPlace([](ControlSheet& sheet) -> bool& {
        return sheet.skip.triggered_at_start_is_error;
      }),
      Asked{
          "Does the control stop with an error when the probe is triggered before the move begins?",
          "every touch", "the program tests it", "no"}));
  all.push_back(slot("skip", "min_distance_mm", NumberPlace([](ControlSheet& sheet) -> double& {
                       return sheet.skip.min_distance_mm;
                     })));
  all.push_back(slot("skip", "rotary_words_allowed", FlagPlace([](ControlSheet& sheet) -> bool& {
                       return sheet.skip.rotary_words_allowed;
                     })));
  all.push_back(slot("skip", "feed_in_same_block", FlagPlace([](ControlSheet& sheet) -> bool& {
                       return sheet.skip.feed_in_same_block;
                     })));
}

void add_position(std::vector<Slot>& all) {
  all.push_back(slot(
      "position", "machine_position", AxesPlace([](ControlSheet& sheet) -> std::map<char, int>& {
        return sheet.position.machine_position;
      }),
      Asked{"Which variables hold the machine position, X Y Z and each rotary axis?",
            "coordinates without a work offset of its own, the check that axes stand where told",
            "the program takes `offsets.own_system`, and the operator looks at the rotary axes",
            "X=number Y=number Z=number A=number"}));
  all.push_back(slot(
      "position", "program_position", AxesPlace([](ControlSheet& sheet) -> std::map<char, int>& {
        return sheet.position.program_position;
      }),
      Asked{"Which variables hold the position in the work offset in force, X Y Z?",
            "coordinates without a work offset of its own",
            "the program takes `offsets.own_system`", "X=number Y=number Z=number"}));
  all.push_back(slot("position", "work_origin_1",
                     AxesPlace([](ControlSheet& sheet) -> std::map<char, int>& {
                       return sheet.position.work_origin_1;
                     }),
                     Asked{"Which variables hold the origin of the first work offset, X Y Z?",
                           "showing the old offset at a stop",
                           "the operator looks at the offset page", "X=number Y=number Z=number"}));
  all.push_back(
      slot("position", "axis_offset", AxesPlace([](ControlSheet& sheet) -> std::map<char, int>& {
             return sheet.position.axis_offset;
           })));
  all.push_back(slot(
      "position", "work_origin_step",
      WholePlace([](ControlSheet& sheet) -> int& { return sheet.position.work_origin_step; }),
      Asked{"How far apart are those of one work offset and the next?",
            "showing the old offset at a stop", "the operator looks at the offset page", "20"}));
  all.push_back(slot("position", "active_work_offset", WholePlace([](ControlSheet& sheet) -> int& {
                       return sheet.position.active_work_offset;
                     })));
  for (const ModalGroup group : all_groups()) {
    Slot made = slot("position.modal_variable", "", ModalPlace{group});
    made.key = key_of(group);
    if (is_tested(group)) {
      made.question = "Which variable holds the number of the word in force for " + made.key + "?";
      made.needed_for = "refusing a control that is not in its plain state";
      made.without = "the operator is asked to look";
      made.example = "a variable number";
    }
    all.push_back(made);
  }
}

void add_stops(std::vector<Slot>& all) {
  all.push_back(slot("stops", "message", TextPlace([](ControlSheet& sheet) -> std::string& {
                       return sheet.stops.message;
                     }),
                     Asked{"The line that shows a text while the program goes on, with {text}.",
                           "messages", "a remark is written", "a word, then ({text})"}));
  all.push_back(
      slot("stops", "operator_stop",
           TextPlace([](ControlSheet& sheet) -> std::string& { return sheet.stops.operator_stop; }),
           Asked{"The line that stops until the start button, and shows a text, with {text}.",
                 "every stop", "remarks and the word for a stop", "M0 ({text})"}));
  all.push_back(slot("stops", "alarm", TextPlace([](ControlSheet& sheet) -> std::string& {
                       return sheet.stops.alarm;
                     }),
                     Asked{"The line that stops the program with an alarm and a text, with {text} "
                           "and, if it has one, {number}.",
                           "checks", "the operator is told, then the program ends",
                           "a word, {number}, ({text})"}));
  all.push_back(slot(
      "stops", "alarm_numbers",
      RangePlace([](ControlSheet& sheet) -> VariableRange& { return sheet.stops.alarm_numbers; }),
      Asked{"Which alarm numbers may a program use, first and last?", "alarms", "", "1 99"}));
  all.push_back(slot(
      "stops", "max_alarm_text",
      WholePlace([](ControlSheet& sheet) -> int& { return sheet.stops.max_alarm_text; }),
      Asked{"How many characters of an alarm text are shown? 0: no limit.", "alarms", "", "0"}));
  all.push_back(slot(
      "stops", "demand",
      TextPlace([](ControlSheet& sheet) -> std::string& { return sheet.stops.demand; }),
      Asked{"One line that stops with an alarm unless a condition holds, with {condition} and "
            "{text}, if the control has one.",
            "checks without jumps",
            "jumps or the root of a negative number are used, else the operator looks at every "
            "check",
            "a word, {condition}, {text}"}));
  all.push_back(slot("stops", "root_of_negative_stops", FlagPlace([](ControlSheet& sheet) -> bool& {
                       return sheet.stops.root_of_negative_stops;
                     }),
                     Asked{"Does the root of a negative number stop the program with an error?",
                           "checks without jumps",
                           "jumps or that line are used, else the operator looks", "yes"}));
  all.push_back(
      slot("stops", "value_in_text",
           TextPlace([](ControlSheet& sheet) -> std::string& { return sheet.stops.value_in_text; }),
           Asked{"How does a text at a stop show what a variable holds, with {variable}?",
                 "values on the screen, what the variables hold that a program overwrites",
                 "the variable is named, the operator looks it up", "a mark and {variable}"}));
}

void add_log(std::vector<Slot>& all) {
  all.push_back(
      slot("log", "open_form",
           TextPlace([](ControlSheet& sheet) -> std::string& { return sheet.log.open_form; }),
           Asked{"The line that opens the output file or line, if one is needed.", "the log",
                 "touches stay in variables and the listing is read back", "a word"}));
  all.push_back(slot("log", "close_form", TextPlace([](ControlSheet& sheet) -> std::string& {
                       return sheet.log.close_form;
                     }),
                     Asked{"The line that closes it.", "the log",
                           "touches stay in variables and the listing is read back", "a word"}));
  all.push_back(slot("log", "begin",
                     TextPlace([](ControlSheet& sheet) -> std::string& { return sheet.log.begin; }),
                     Asked{"How is one line written to a file: what begins that statement?",
                           "the log", "touches stay in variables and the listing is read back",
                           "a word and an opening mark"}));
  all.push_back(slot(
      "log", "end", TextPlace([](ControlSheet& sheet) -> std::string& { return sheet.log.end; }),
      Asked{"What ends that statement?", "the log",
            "touches stay in variables and the listing is read back", "a closing mark"}));
  all.push_back(slot("log", "join",
                     TextPlace([](ControlSheet& sheet) -> std::string& { return sheet.log.join; }),
                     Asked{"What stands between two items of it?", "the log",
                           "touches stay in variables and the listing is read back", ","}));
  all.push_back(
      slot("log", "text_item",
           TextPlace([](ControlSheet& sheet) -> std::string& { return sheet.log.text_item; }),
           Asked{"How does a text stand in it, with {text}?", "the log",
                 "touches stay in variables and the listing is read back", "\"{text}\""}));
  all.push_back(slot("log", "space_in_text", TextPlace([](ControlSheet& sheet) -> std::string& {
                       return sheet.log.space_in_text;
                     })));
  all.push_back(slot("log", "value_item", TextPlace([](ControlSheet& sheet) -> std::string& {
                       return sheet.log.value_item;
                     }),
                     Asked{"How does a variable stand in it, with {variable}, {whole} digits "
                           "before and {decimals} after the mark?",
                           "the log", "touches stay in variables and the listing is read back",
                           "{variable}:{whole}.{decimals}"}));
  all.push_back(slot("log", "whole_digits", WholePlace([](ControlSheet& sheet) -> int& {
                       return sheet.log.whole_digits;
                     })));
  all.push_back(slot("log", "decimals",
                     WholePlace([](ControlSheet& sheet) -> int& { return sheet.log.decimals; })));
  all.push_back(slot("log", "decimals_inch", WholePlace([](ControlSheet& sheet) -> int& {
                       return sheet.log.decimals_inch;
                     })));
  all.push_back(slot("log", "separator", TextPlace([](ControlSheet& sheet) -> std::string& {
                       return sheet.log.separator;
                     }),
                     Asked{"What stands between two columns in the file itself?", "the log",
                           "touches stay in variables and the listing is read back", ","}));
  all.push_back(slot("log", "decimal_mark", TextPlace([](ControlSheet& sheet) -> std::string& {
                       return sheet.log.decimal_mark;
                     }),
                     Asked{"Which decimal mark stands in the file?", "the log", "", "."}));
}

void add_offsets(std::vector<Slot>& all) {
  all.push_back(
      slot("offsets", "form",
           TextPlace([](ControlSheet& sheet) -> std::string& { return sheet.offsets.form; }),
           Asked{"The line that writes the origin of a work offset, with {system} and {axes}.",
                 "writing work offsets, the work offset of its own",
                 "offsets are written by hand from the sheet", "G10 L2 P{system} {axes}"}));
  all.push_back(slot("offsets", "first_system", WholePlace([](ControlSheet& sheet) -> int& {
                       return sheet.offsets.first_system;
                     }),
                     Asked{"Which number has the first work offset in it?", "writing work offsets",
                           "offsets are written by hand from the sheet", "1"}));
  all.push_back(slot("offsets", "last_system", WholePlace([](ControlSheet& sheet) -> int& {
                       return sheet.offsets.last_system;
                     }),
                     Asked{"Which number has the last?", "writing work offsets",
                           "offsets are written by hand from the sheet", "6"}));
  all.push_back(slot("offsets", "own_system", WholePlace([](ControlSheet& sheet) -> int& {
                       return sheet.offsets.own_system;
                     }),
                     Asked{"Which work offset does the shop leave to these programs? They write "
                           "zeros into it. 0: none.",
                           "coordinates where the control does not tell its position",
                           "the positions the control tells are needed", "6"}));
}

void add_dwell(std::vector<Slot>& all) {
  all.push_back(slot("dwell", "letter", TextPlace([](ControlSheet& sheet) -> std::string& {
                       return sheet.dwell.letter;
                     })));
  all.push_back(slot("dwell", "seconds_per_unit", NumberPlace([](ControlSheet& sheet) -> double& {
                       return sheet.dwell.seconds_per_unit;
                     })));
}

void add_spindle(std::vector<Slot>& all) {
  all.push_back(slot(
      "spindle", "orient_form",
      TextPlace([](ControlSheet& sheet) -> std::string& { return sheet.spindle.orient_form; }),
      Asked{"The line that turns the spindle to an angle and holds it there, with {degrees}.",
            "spindle flips", "the operator turns it by hand", "M19 and a letter with {degrees}"}));
}

void add_words(std::vector<Slot>& all) {
  for (const Meaning meaning : all_meanings()) {
    Slot made = slot("words", "", WordPlace{meaning});
    made.key = key_of(meaning);
    if (const auto asked = asked_word(meaning)) {
      made.question = "The word for " + made.key + ".";
      made.needed_for = asked->needed_for;
      made.without = asked->without;
      made.example = asked->example;
    }
    all.push_back(made);
  }
}

std::vector<Slot> all_slots() {
  std::vector<Slot> all;
  add_top(all);
  add_text(all);
  add_numbers(all);
  add_variables(all);
  add_expressions(all);
  add_assignment(all);
  add_branches(all);
  add_motion(all);
  add_skip(all);
  add_position(all);
  add_stops(all);
  add_log(all);
  add_offsets(all);
  add_dwell(all);
  add_spindle(all);
  add_words(all);
  return all;
}

}  // namespace

const std::vector<Slot>& slots() {
  static const std::vector<Slot> table = all_slots();
  return table;
}

const Slot* find_slot(const std::string& name) {
  const auto found = std::find_if(slots().begin(), slots().end(),
                                  [&](const Slot& slot) { return slot.name() == name; });
  return found == slots().end() ? nullptr : &*found;
}

std::vector<const Slot*> open_slots(const ControlSheet& sheet) {
  std::vector<const Slot*> open;
  for (const Slot& slot : slots()) {
    if (sheet.is_open(slot.name())) open.push_back(&slot);
  }
  return open;
}

}  // namespace pivotrace
