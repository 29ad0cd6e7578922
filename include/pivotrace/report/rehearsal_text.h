// A rehearsal for people and for programs: in words, as JSON, as a drawing.
#pragma once

#include <optional>
#include <string>

#include "pivotrace/rehearsal/rehearse.h"

namespace pivotrace {

/// The report for people, one fact per line, units on every number.
std::string rehearsal_text(const RehearsalReport& report, const Machine& machine);
std::string rehearsal_json(const RehearsalReport& report, const Machine& machine);

/// What a picture is of: a moment, and the two bodies that meet or nearly meet there.
struct PictureSubject {
  std::string title;
  Moment moment;
  std::optional<ToolPart> tool_part;  ///< as in Violation; absent: no body is made to stand out
  std::string body;
};

/// The moment worth looking at: the last violation, else where the program stopped itself, else the
/// smallest clearance.
PictureSubject picture_subject(const RehearsalReport& report, bool inch = false);

/// The whole probe from the front, and close up, in the view in which the distance between the two bodies
/// is seen at its true length, that distance with its number; to scale, as an SVG file.
std::string rehearsal_picture(const Machine& machine, const MachineState& state,
                              const PictureSubject& subject);

}  // namespace pivotrace
