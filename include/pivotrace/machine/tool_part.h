// What of the probe may meet something.
#pragma once

namespace pivotrace {

enum class ToolPart { stylus, shank, holder };

/// "stylus ball", "shank", "holder".
inline const char* tool_part_word(ToolPart part) {
  switch (part) {
    case ToolPart::stylus: return "stylus ball";
    case ToolPart::shank: return "shank";
    case ToolPart::holder: return "holder";
  }
  return "";
}

}  // namespace pivotrace
