// What is said wherever an output of the program can hurt someone: each wording once. A screen or a
// remark puts "CAUTION: " before it, a file its key.
#pragma once

#include <string>

namespace pivotrace {

/// Beside every pivot value and work offset that leaves the program.
inline constexpr const char* wrong_value_caution =
    "A wrong pivot value or work offset can wreck tool, part and machine. The machine manual, "
    "local "
    "safety rules and qualified people come first. Check the first run without a part, high up, "
    "slowly.";

/// Beside every plan, drawing and sheet that leads to a probing program.
inline constexpr const char* moving_machine_caution =
    "The program moves the machine and turns rotary axes by itself, and knows only what the "
    "machine "
    "file describes. The machine manual, local safety rules and qualified people come first. First "
    "run: single block, rapid override low, hand at the stop, guards closed.";

/// Beside every advice to work on the machine itself.
inline constexpr const char* hands_in_machine_caution =
    "Machine off and locked before hands go near the unit; a heavy unit needs lifting gear. The "
    "machine manual, local safety rules and qualified people come first.";

/// Beside rows for the file a control keeps its parameters in.
inline constexpr const char* parameter_file_caution =
    "A damaged parameter file loses the work offsets. Keep a copy and add these rows while the "
    "control is off. The machine manual, local safety rules and qualified people come first.";

/// Turning an offset about an axis is only right when both count from the same place.
inline constexpr const char* taught_offset_caution =
    "The taught offset must count as the touch record does: Z to the centre of the stylus ball, or "
    "to its lowest point where length_datum says tip. One that counts to the spindle nose comes "
    "out "
    "wrong at every other angle.";

/// Beside every centre a control works out by itself and every offset set to one.
inline constexpr const char* on_control_centre_caution =
    "The control works this centre out itself: no outlier test, no U95.";

/// On everything made of touches that no machine made.
inline constexpr const char* simulated_notice =
    "SIMULATED: made from a rehearsal or a simulation, not from a machine.";

/// Said once for all programs.
inline constexpr const char* rules_come_first =
    "The machine manual, local safety rules and qualified people come first.";

inline std::string caution(const char* words) { return std::string("CAUTION: ") + words; }

}  // namespace pivotrace
