#include "pivotrace/base/problem.h"

#include <fmt/format.h>

namespace pivotrace {

namespace {

std::string place_text(const Place& place) {
  std::string text = place.file;
  if (place.line > 0) text += fmt::format(":{}", place.line);
  if (place.line > 0 && place.column > 0) text += fmt::format(":{}", place.column);
  return text;
}

}  // namespace

std::string describe(const Problem& problem) {
  std::string text = fmt::format("P{:03}", static_cast<int>(problem.number));
  const std::string place = place_text(problem.where);
  if (!place.empty()) text += " " + place;
  text += ": " + problem.what;
  if (!problem.advice.empty()) text += "\n     " + problem.advice;
  return text;
}

}  // namespace pivotrace
