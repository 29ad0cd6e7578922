#include "pivotrace/manual/pages.h"

#include "manual/page_texts.h"

namespace pivotrace::manual {

const std::vector<Chapter>& chapters() {
  static const std::vector<Chapter> all = page_texts();
  return all;
}

const ManualPage* find_page(std::string_view topic) {
  for (const Chapter& chapter : chapters()) {
    for (const ManualPage& page : chapter.pages) {
      if (page.topic == topic) return &page;
    }
  }
  return nullptr;
}

std::vector<std::string> topics() {
  std::vector<std::string> names;
  for (const Chapter& chapter : chapters()) {
    for (const ManualPage& page : chapter.pages) names.push_back(page.topic);
  }
  return names;
}

std::string title_of(std::string_view markdown) {
  const std::string_view line = markdown.substr(0, markdown.find('\n'));
  return std::string(line.substr(std::min(line.find_first_not_of("# "), line.size())));
}

}  // namespace pivotrace::manual
