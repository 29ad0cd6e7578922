#include "pivotrace/machine/machine.h"

namespace pivotrace {

int Machine::rotary_index(char letter) const {
  for (std::size_t i = 0; i < rotary.size(); ++i) {
    if (rotary[i].letter == letter) return static_cast<int>(i);
  }
  return -1;
}

int Machine::artefact_index(const std::string& wanted) const {
  for (std::size_t i = 0; i < artefacts.size(); ++i) {
    if (artefacts[i].name == wanted) return static_cast<int>(i);
  }
  return -1;
}

std::vector<int> Machine::work_chain(int last) const {
  std::vector<int> chain;
  for (int i = 0; i <= last; ++i) {
    if (rotary[i].side == AxisSide::work) chain.push_back(i);
  }
  return chain;
}

std::vector<int> Machine::tool_chain() const {
  std::vector<int> chain;
  for (std::size_t i = 0; i < rotary.size(); ++i) {
    if (rotary[i].side == AxisSide::tool) chain.push_back(static_cast<int>(i));
  }
  return chain;
}

const char* kind_word(ArtefactKind kind) {
  switch (kind) {
    case ArtefactKind::ball: return "ball";
    case ArtefactKind::pin: return "pin";
    case ArtefactKind::bore: return "bore";
    case ArtefactKind::flat: return "flat";
  }
  return "artefact";
}

}  // namespace pivotrace
