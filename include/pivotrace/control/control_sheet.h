// A control sheet: how one control writes a program. Everything an emitter needs to write it and an
// interpreter needs to read it. Filled from a TOML file in routines/
// (pivotrace/formats/control_sheet_file.h).
//
// Every entry is a slot (slots.h lists them with the question a manual answers). A slot left "?" is
// open: the entry stands as if the control could not do it, and `open` names it.
//
// Forms are lines with named blanks, "WHEN [{condition}] LEAP {label}"; fill_form() writes them,
// match_form() reads them back. An empty form or word means: this control cannot do that.
#pragma once

#include <array>
#include <map>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "pivotrace/base/problem.h"

namespace pivotrace {

/// What a program word means. Each belongs to one modal group (see group_of) or acts in its own
/// block only.
enum class Meaning {
  // motion
  rapid,
  feed,
  skip,  ///< straight move that ends where the probe triggers
  arc_clockwise,
  arc_counterclockwise,
  canned_cycle_off,
  // this block only
  machine_coordinates,  ///< targets of this block are machine coordinates
  dwell,
  set_data,  ///< the word that writes offsets ("G10"); its full line is OffsetRules::form
  // distances
  absolute,
  incremental,
  // units
  millimetres,
  inches,
  // plane
  plane_xy,
  plane_zx,
  plane_yz,
  // feed
  feed_per_minute,
  feed_per_revolution,
  feed_inverse_time,
  // corrections that would bend a probing move
  radius_compensation_off,
  radius_compensation_left,
  radius_compensation_right,
  length_compensation_off,
  length_compensation_on,
  scaling_off,
  scaling_on,
  mirror_off,
  mirror_on,
  rotation_off,
  rotation_on,
  tool_centre_off,
  tool_centre_on,
  // offsets
  work_offset_1,
  work_offset_2,
  work_offset_3,
  work_offset_4,
  work_offset_5,
  work_offset_6,
  work_offset_7,
  work_offset_8,
  work_offset_9,
  axis_offset_suspend,  ///< shift of the program origin is off, its numbers are kept
  axis_offset_resume,
  axis_offset_set,    ///< "G92": shifts the program origin; position words follow
  axis_offset_clear,  ///< off, and its numbers are forgotten
  // path control
  exact_path,
  exact_stop,
  blended_path,
  // machine
  spindle_stop,
  spindle_clockwise,
  spindle_counterclockwise,
  spindle_orient,
  coolant_off,
  coolant_on,
  program_stop,
  optional_stop,
  program_end,
  unknown_harmless,  ///< read and ignored (listed by a user who knows why)
};

/// Modal groups: of each, one word is in force, and a block may hold one.
enum class ModalGroup {
  none,
  motion,
  distance,
  units,
  plane,
  feed_mode,
  radius_compensation,
  length_compensation,
  scaling,
  mirror,
  rotation,
  tool_centre,
  work_offset,
  axis_offset,
  path_control,
  spindle,
  coolant,
  stopping,
};

ModalGroup group_of(Meaning meaning);

/// Key of a meaning in control sheets: the enumerator with hyphens, "machine-coordinates".
std::string key_of(Meaning meaning);
std::optional<Meaning> meaning_from_key(const std::string& key);
std::vector<Meaning> all_meanings();

std::string key_of(ModalGroup group);
std::optional<ModalGroup> group_from_key(const std::string& key);
std::vector<ModalGroup> all_groups();

/// How lines and remarks look.
struct TextRules {
  std::string comment_open = "(";
  std::string comment_close = ")";  ///< empty: a remark runs to the end of the line
  int max_line_length = 0;          ///< characters without the line end; 0 = no limit
  int max_comment_length = 0;       ///< characters between the delimiters; 0 = no limit
  bool upper_case_only = true;      ///< remarks are written in capitals
  bool case_matters = false;        ///< when reading: "g1" is not "G1"
  bool spaces_ignored = true;       ///< when reading: "G 1 X 1 0" is "G1 X10"
  /// Characters remarks may hold besides letters, digits and spaces.
  std::string comment_punctuation = ".,:;=+-*/<>_%!?'";
  std::string block_end;           ///< written at the end of every block, ";" or nothing
  bool carriage_return = false;    ///< lines end with CR LF
  std::string line_number_prefix;  ///< "N"; empty: lines carry no numbers
  int line_number_step = 0;        ///< 0: the emitter numbers only branch targets
  int line_number_max = 99999;
  std::string block_skip = "/";  ///< mark of a line the operator may switch off; empty = none
  bool repeated_letter_is_error = true;  ///< one letter at most once in a block (G and M excepted)
};

/// How numbers look in the program.
struct NumberRules {
  int decimals_mm = 4;
  int decimals_inch = 5;
  int decimals_deg = 4;
  int decimals_feed = 1;
  int decimals_factor = 6;    ///< of bare factors, such as the parts of a direction
  bool point_always = false;  ///< "10." for whole numbers in axis words and values
  std::string decimal_mark = ".";
  bool exponent_allowed = false;
  bool plus_sign_allowed = true;
  /// Most digits of one number, mark and sign not counted; 0 = no limit.
  int max_digits = 0;
};

struct VariableRange {
  int first = 0;
  int last = -1;
  int count() const { return last - first + 1; }
};

/// Numbered variables ("#101"). Numbers the control reserves are named in PositionRules.
struct VariableRules {
  std::string prefix = "#";
  std::string suffix;
  std::string index_open = "[";  ///< computed number: "#[#1+5]"; empty = not available
  std::string index_close = "]";
  bool chained = false;             ///< "##1" is the variable whose number stands in #1
  VariableRange readable{1, 9999};  ///< anything outside is an error
  VariableRange working{700, 799};  ///< the program may use these as it likes
  VariableRange table{1000, 1499};  ///< long tables; may equal a part of `working`
  /// Touches are left here, three numbers each, when the control writes no log.
  std::optional<VariableRange> results;
  /// A variable never written is an error when read (false: it reads as 0).
  bool unset_is_error = false;
};

enum class Operator { add, subtract, multiply, divide, power, modulo, both, either, one_of };
enum class Comparison { equal, not_equal, less, less_equal, greater, greater_equal };
enum class Function {
  sine,
  cosine,
  tangent,
  arcsine,
  arccosine,
  arctangent,  ///< of two sides, see ExpressionRules::arctangent_form
  square_root,
  absolute,
  round,
  round_down,
  round_up,
  exponential,
  logarithm,
};

std::string key_of(Operator op);
std::string key_of(Comparison comparison);
std::string key_of(Function function);
std::vector<Operator> all_operators();
std::vector<Comparison> all_comparisons();
std::vector<Function> all_functions();

enum class ArctangentForm { slash, comma, single };  ///< ATAN[y]/[x], ATAN[y,x], ATAN[y/x]

/// How values are worked out. Angles are degrees.
struct ExpressionRules {
  std::string open = "[";
  std::string close = "]";
  std::map<Operator, std::string> operators;
  std::map<Comparison, std::string> comparisons;
  std::map<Function, std::string> functions;
  ArctangentForm arctangent_form = ArctangentForm::slash;
  /// Precedence, tightest first; each level works left to right.
  std::vector<std::vector<Operator>> precedence = {
      {Operator::power},
      {Operator::multiply, Operator::divide, Operator::modulo},
      {Operator::add, Operator::subtract, Operator::both, Operator::either, Operator::one_of}};
  bool sign_before_variable = true;      ///< "-#1" and "-[...]"; false: write "[0-#1]"
  bool round_down_towards_zero = false;  ///< round_down of -0.5: true 0, false -1
  bool modulo_never_negative = true;
  int max_nesting = 0;  ///< brackets in brackets; 0 = no limit
  /// X[#1+2] in axis words; a lone variable, X#1, or function, XSQRT[#1], never needs them.
  bool word_needs_brackets = true;
  std::string word_mark;  ///< between letter and value, "=" for X=12; usually nothing
};

/// "#101=[#102+1.]".
struct AssignmentRules {
  std::string form = "{variable}={value}";
  bool takes_effect_after_block = false;  ///< all values of a block are read before any is set
  int per_block = 1;                      ///< most assignments in one block; 0 = no limit
  bool value_needs_brackets = false;      ///< "#1=[#2+1]"; a lone variable or function never does
};

/// Leaving the straight order. Empty forms: the control has no such thing.
struct BranchRules {
  std::string jump;         ///< "LEAP {label}"
  std::string jump_if;      ///< "WHEN [{condition}] LEAP {label}"
  std::string label;        ///< "N{label}"
  std::string while_begin;  ///< "AGAIN {level} AS LONG AS [{condition}]"
  std::string while_end;    ///< "AGAIN {level} DONE"
  int while_levels = 0;     ///< depth of nested loops
  bool can_jump() const { return !jump_if.empty() && !label.empty(); }
  bool can_loop() const { return !while_begin.empty() && !while_end.empty() && while_levels > 0; }
};

enum class Coordinates { program, machine };
/// not_known: written as if it went on, and tested; positioning moves are not watched.
enum class WhenUntriggered { goes_on, stops_with_error, not_known };

/// The straight move that ends where the probe triggers. It takes no machine_coordinates word:
/// `target` says what its axis words mean. Not triggered, the trip variables hold the target.
struct SkipRules {
  Coordinates target = Coordinates::program;      ///< what its axis words mean
  Coordinates trip_point = Coordinates::program;  ///< what the trip variables hold
  /// X, Y, Z -> variable number. Empty: the position the control shows after the move is taken, or
  /// the operator types it.
  std::map<char, int> trip_variable;
  WhenUntriggered untriggered = WhenUntriggered::goes_on;
  /// Triggered before it moves: true, the control stops with an error; false, the move ends at once.
  bool triggered_at_start_is_error = false;
  double min_distance_mm = 0.0;  ///< shorter skip moves are an error
  bool rotary_words_allowed = false;
  bool feed_in_same_block = true;  ///< F stands in the block of the skip move
};

struct MotionWords {
  /// The machine-coordinates word works with feed moves too; false: only with rapid.
  bool machine_coordinates_at_feed = true;
  /// The clamp and unclamp words of the machine file may be written.
  bool clamp_words = true;
};

/// Where the machine stands, as the program can read it. Missing letters: cannot be read.
struct PositionRules {
  std::map<char, int> machine_position;
  std::map<char, int> program_position;
  /// Origin of work offset 1 in machine coordinates; for controls that cannot tell their position.
  std::map<char, int> work_origin_1;
  std::map<char, int> axis_offset;  ///< numbers kept for axis_offset_resume
  int work_origin_step = 0;         ///< variable numbers between one work offset and the next
  int active_work_offset = 0;       ///< variable holding 1..9; 0 = none
  std::map<ModalGroup, int> modal_variable;  ///< variable holding the number of the word in force
};

/// One thing the program checks before it moves: the variable must hold one of `allowed`.
struct Refusal {
  ModalGroup group = ModalGroup::none;
  std::vector<int> allowed;
  std::string text;  ///< what the operator reads
};

/// Stopping.
struct StopRules {
  std::string message;        ///< shown, program goes on: "(MSG,{text})"
  std::string operator_stop;  ///< waits for the start button: "M0 ({text})"
  std::string alarm;          ///< ends the program with an error: "FAULT {number} ({text})"
  VariableRange alarm_numbers{1, 200};
  int max_alarm_text = 0;  ///< characters; 0 = no limit
  /// One line that raises an alarm unless a condition holds: "DEMAND {condition} ELSE {text}".
  std::string demand;
  /// No branch, no demand line, but a root of a negative number stops the program with an error.
  bool root_of_negative_stops = false;
  /// How a text shows what a variable holds, "[{variable}]"; empty: it names the variable.
  std::string value_in_text;
};

/// One line of the control's own record. Items are texts and values, joined by `join` in the
/// statement and by `separator` in the record.
struct LogRules {
  std::string open_form;  ///< opens the output, "OPEN"; empty = not needed
  std::string close_form;
  std::string begin;                 ///< "NOTE "; empty: this control writes no log
  std::string end;                   ///< ""
  std::string join;                  ///< between items of the statement
  std::string text_item = "{text}";  ///< "\"{text}\"" where texts are quoted
  std::string space_in_text = " ";   ///< how a space is written in a text item
  std::string value_item = "{variable}:{whole}.{decimals}";
  int whole_digits = 5;
  int decimals = 4;                ///< of millimetres and degrees
  int decimals_inch = 5;           ///< of inches
  std::string separator = ",";     ///< between columns, in the record
  std::string decimal_mark = ".";  ///< in the record
  bool available() const { return !begin.empty(); }
};

/// Waiting, in the block of Meaning::dwell: "G4 P0.5".
struct DwellRules {
  std::string letter;  ///< empty: this control cannot wait
  double seconds_per_unit = 1.0;
};

/// Writing a work offset: "G10 L2 P{system} {axes}".
struct OffsetRules {
  std::string form;
  int first_system = 1;
  int last_system = 6;
  /// A work offset the shop leaves to these programs: they write zeros into it and select it, so that
  /// program coordinates are machine coordinates. 0 = none.
  int own_system = 0;
};

struct SpindleRules {
  std::string orient_form;  ///< turns the spindle to {degrees} and holds it; empty = by hand
};

/// What a proof program showed (proof.h): when, and of which contents.
struct ProofRecord {
  std::string date;         ///< ISO 8601
  std::string fingerprint;  ///< ControlSheet::fingerprint at that time
};

/// One control's language.
struct ControlSheet {
  std::string name;
  std::string title;      ///< one line for people
  std::string file;       ///< where it came from, for messages
  bool invented = false;  ///< of a control nobody built: every program says so
  /// Slots left open, "skip.trip_variable", in the order of the file.
  std::vector<std::string> open;
  std::map<std::string, std::string> pages;  ///< slot -> where the control's manual says it
  std::optional<ProofRecord> proof;
  std::string fingerprint;  ///< of all the sheet says, [proof] aside; empty = not read from a file
  TextRules text;
  NumberRules numbers;
  VariableRules variables;
  ExpressionRules expressions;
  AssignmentRules assignment;
  BranchRules branches;
  MotionWords motion;
  SkipRules skip;
  PositionRules position;
  std::vector<Refusal> refusals;
  StopRules stops;
  LogRules log;
  OffsetRules offsets;
  DwellRules dwell;
  SpindleRules spindle;
  /// Spellings of each word, the first is the one written.
  std::map<Meaning, std::vector<std::string>> words;
  /// Words in force from the first block on, one inner list per line written.
  std::vector<std::vector<Meaning>> setup;
  std::vector<std::string> program_start;  ///< lines; {number} and {title} are filled in
  std::vector<std::string> program_end;
  std::string axis_letters = "XYZABC";  ///< axes a block may move

  /// Everything that makes this control sheet unusable; empty when it can be used.
  Problems validate() const;

  /// First spelling of a word; empty when the control has none.
  std::string word(Meaning meaning) const;

  bool is_open(const std::string& slot) const;
  /// The control itself has shown that the sheet, as it stands now, is right.
  bool is_proven() const { return proof && proof->fingerprint == fingerprint; }
};

/// A form with its blanks filled. Blanks without a value are left as they stand.
std::string fill_form(const std::string& form, const std::map<std::string, std::string>& values);

/// Reads a line back: the texts that stood in the blanks, or nothing when the line is not of this
/// form. Literal parts must match (letter case ignored unless `case_matters`; runs of spaces match
/// any run, including none); a blank takes the shortest text that lets the rest match.
std::optional<std::map<std::string, std::string>> match_form(const std::string& form,
                                                             const std::string& line,
                                                             bool case_matters = false);

}  // namespace pivotrace
