#include <fmt/format.h>

#include <algorithm>

#include "base/markup.h"
#include "manual/page_texts.h"
#include "pivotrace/manual/markdown.h"
#include "pivotrace/manual/writers.h"

namespace pivotrace::manual {

namespace {

/// "files.md" and "files.md#plan" lead to a place in the book; other files are not in it.
std::string place_in_book(const std::string& target) {
  const std::size_t end = target.find(".md");
  if (end == std::string::npos || target.find('/') != std::string::npos) return "";
  return "#" + target.substr(0, end);
}

std::string span_html(const Span& span) {
  std::string html = escaped(span.text);
  if (span.code) html = "<code>" + html + "</code>";
  if (span.emphasis) html = "<em>" + html + "</em>";
  if (span.strong) html = "<strong>" + html + "</strong>";
  const std::string place = place_in_book(span.target);
  return place.empty() ? html : fmt::format("<a href=\"{}\">{}</a>", place, html);
}

std::string inline_html(const Inline& text) {
  std::string html;
  for (const Span& span : text) html += span_html(span);
  return html;
}

std::string blocks_html(const std::vector<Block>& blocks);

std::string list_html(const Block& block) {
  const char* name = block.kind == BlockKind::steps ? "ol" : "ul";
  std::string html = fmt::format("<{}>\n", name);
  for (const std::vector<Block>& item : block.items) {
    html += "<li>" + blocks_html(item) + "</li>\n";
  }
  return html + fmt::format("</{}>\n", name);
}

std::string table_html(const Block& block) {
  std::string html = "<div class=\"wide\" tabindex=\"0\"><table>\n";
  for (std::size_t k = 0; k < block.rows.size(); ++k) {
    const char* cell = k == 0 ? "th scope=\"col\"" : "td";
    html += "<tr>";
    for (const Inline& text : block.rows[k]) {
      html += fmt::format("<{}>{}</{}>", cell, inline_html(text), k == 0 ? "th" : "td");
    }
    html += "</tr>\n";
  }
  return html + "</table></div>\n";
}

/// Two levels down: the book and its chapters stand above.
std::string heading_html(const Block& block) {
  const int level = std::min(block.level + 2, 6);
  return fmt::format("<h{0}>{1}</h{0}>\n", level, inline_html(block.text));
}

std::string block_html(const Block& block) {
  switch (block.kind) {
    case BlockKind::heading: return heading_html(block);
    case BlockKind::paragraph: return "<p>" + inline_html(block.text) + "</p>\n";
    case BlockKind::code: return "<pre tabindex=\"0\">" + escaped(block.code) + "</pre>\n";
    case BlockKind::bullets:
    case BlockKind::steps: return list_html(block);
    case BlockKind::table: return table_html(block);
  }
  return "";
}

std::string blocks_html(const std::vector<Block>& blocks) {
  std::string html;
  for (const Block& block : blocks) html += block_html(block);
  return html;
}

std::string contents_html(const std::vector<Chapter>& parts) {
  std::string html = "<nav aria-label=\"Contents\">\n";
  for (const Chapter& chapter : parts) {
    html += fmt::format("<p>{}</p>\n<ul>\n", escaped(chapter.title));
    for (const ManualPage& page : chapter.pages) {
      html += fmt::format("<li><a href=\"#{}\">{}</a></li>\n", page.topic,
                          escaped(title_of(page.markdown)));
    }
    html += "</ul>\n";
  }
  return html + "</nav>\n";
}

std::string chapter_html(const Chapter& chapter) {
  std::string html = fmt::format("<h2>{}</h2>\n", escaped(chapter.title));
  for (const ManualPage& page : chapter.pages) {
    html += fmt::format("<section id=\"{}\">\n{}</section>\n", page.topic,
                        blocks_html(parse_markdown(page.markdown)));
  }
  return html;
}

}  // namespace

std::string html_book(const std::vector<Chapter>& parts, std::string_view version) {
  std::string body = contents_html(parts);
  for (const Chapter& chapter : parts) body += chapter_html(chapter);
  std::string book = book_frame;
  const auto put = [&book](std::string_view mark, std::string_view text) {
    book.replace(book.find(mark), mark.size(), text);
  };
  put("{{version}}", version);
  put("{{pages}}", body);
  return book;
}

}  // namespace pivotrace::manual
