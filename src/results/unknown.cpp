#include "pivotrace/results/unknown.h"

namespace pivotrace {

namespace {

const char* word_of(UnknownKind kind) {
  switch (kind) {
    case UnknownKind::centre: return "centre";
    case UnknownKind::lean: return "lean";
    case UnknownKind::position: return "position";
    case UnknownKind::height: return "height";
    case UnknownKind::effective_radius: return "effective radius";
    case UnknownKind::effect: return "effect";
  }
  return "";
}

}  // namespace

std::string text_of(const Unknown& unknown) {
  if (unknown.kind == UnknownKind::effect) return text_of(unknown.effect);
  std::string text = unknown.artefact.empty() ? std::string(1, unknown.axis) : unknown.artefact;
  text += std::string(".") + word_of(unknown.kind);
  if (unknown.direction) text += std::string(".") + "XYZ"[static_cast<int>(*unknown.direction)];
  return text;
}

}  // namespace pivotrace
