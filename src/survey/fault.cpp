#include "pivotrace/survey/fault.h"

#include <fmt/format.h>

#include <array>
#include <charconv>
#include <utility>

namespace pivotrace {

namespace {

constexpr std::array<std::pair<FaultKind, const char*>, 5> words = {{
    {FaultKind::no_trigger, "no-trigger"},
    {FaultKind::early_trigger, "early-trigger"},
    {FaultKind::moved_artefact, "moved-artefact"},
    {FaultKind::wrong_turn, "wrong-turn"},
    {FaultKind::index_slip, "index-slip"},
}};

tl::unexpected<Problems> refuse(const std::string& text) {
  std::string known;
  for (const auto& word : words) known += (known.empty() ? "" : ", ") + std::string(word.second);
  return failure({ProblemNumber::bad_argument,
                  fmt::format("'{}' is not a fault", text),
                  {},
                  fmt::format("write one of {}, with the number of a touch: no-trigger:5", known)});
}

}  // namespace

Expected<Fault> fault_from_text(const std::string& text) {
  const std::size_t colon = text.find(':');
  const std::string word = text.substr(0, colon);
  for (const auto& [kind, known] : words) {
    if (word != known) continue;
    const bool one_touch = kind == FaultKind::no_trigger || kind == FaultKind::early_trigger;
    Fault fault{kind, one_touch ? 1 : 0};
    if (colon == std::string::npos) return fault;
    const char* last = text.data() + text.size();
    const auto read = std::from_chars(text.data() + colon + 1, last, fault.touch);
    const bool good = read.ec == std::errc() && read.ptr == last && fault.touch >= 0;
    if (!good || (one_touch && fault.touch == 0)) return refuse(text);
    return fault;
  }
  return refuse(text);
}

std::string fault_text(const Fault& fault) {
  for (const auto& [kind, word] : words) {
    if (kind == fault.kind) return fmt::format("{}:{}", word, fault.touch);
  }
  return "";
}

std::vector<std::string> fault_words() {
  std::vector<std::string> all;
  all.reserve(std::size(words));
  for (const auto& word : words) all.emplace_back(word.second);
  return all;
}

}  // namespace pivotrace
