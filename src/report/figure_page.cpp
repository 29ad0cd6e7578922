#include "report/figure_page.h"

#include <kainjow/mustache.hpp>

#include "base/markup.h"
#include "report/figure_data.h"
#include "report/look.h"
#include "report/page_template.h"
#include "report/typeset.h"

namespace pivotrace::report {

namespace {

using kainjow::mustache::data;
using kainjow::mustache::mustache;

data figures_of(const FigurePage& page) {
  data list{data::type::list};
  for (const Figure& figure : page.figures) list << figure_data(figure);
  return list;
}

data sections_of(const FigurePage& page) {
  data list{data::type::list};
  for (const PageSection& section : page.sections) {
    if (section.paragraphs.empty()) continue;
    data paragraphs{data::type::list};
    for (const std::string& text : section.paragraphs) paragraphs << data("text", sentence(text));
    data entry;
    entry.set("heading", section.heading);
    entry.set("paragraphs", paragraphs);
    list << entry;
  }
  return list;
}

data files_of(const FigurePage& page) {
  data list{data::type::list};
  for (const PageFile& file : page.files) {
    data entry;
    entry.set("role", file.role);
    entry.set("file", file.file);
    entry.set("sha256", file.sha256);
    list << entry;
  }
  return list;
}

}  // namespace

std::string figure_page(const FigurePage& page) {
  mustache text{std::string(figure_page_template)};
  text.set_custom_escape([](const std::string& word) { return escaped(word); });
  data all;
  all.set("title", page.title);
  all.set("figure_css", figure_css());
  all.set("page_css", std::string(page_css));
  all.set("subject", page.subject);
  all.set("paper_foot", css_string(page.foot));
  all.set("verdict", typeset(page.verdict));
  all.set("caution", page.caution);
  if (!page.lead.empty()) all.set("lead", page.lead);
  all.set("figures", figures_of(page));
  all.set("sections", sections_of(page));
  all.set("files", files_of(page));
  all.set("foot", page.foot);
  return text.render(all);
}

}  // namespace pivotrace::report
