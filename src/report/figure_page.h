// A page of figures with a verdict on top: what comparison, history and plan have in common.
#pragma once

#include <string>
#include <vector>

#include "report/result_figures.h"

namespace pivotrace::report {

struct PageSection {
  std::string heading;
  std::vector<std::string> paragraphs;
};

struct PageFile {
  std::string role;
  std::string file;
  std::string sha256;
};

struct FigurePage {
  std::string title;
  std::string subject;  ///< under the title
  std::string verdict;  ///< one sentence
  std::string caution;
  std::string lead;  ///< an <svg> before the figures; empty = none
  std::vector<Figure> figures;
  std::vector<PageSection> sections;
  std::vector<PageFile> files;
  std::string foot;
};

/// One self-contained HTML file, as result_page.
std::string figure_page(const FigurePage& page);

}  // namespace pivotrace::report
