#include <algorithm>

#include "base/utf8.h"
#include "base/wrapped_text.h"
#include "pivotrace/manual/markdown.h"
#include "pivotrace/manual/writers.h"

namespace pivotrace::manual {

namespace {

/// A link to another page says what to type; one to elsewhere stands in brackets.
std::string link_text(const Span& span) {
  if (span.target.ends_with(".md")) {
    return span.text + " (pivotrace help " + span.target.substr(0, span.target.size() - 3) + ")";
  }
  return span.target.starts_with("http") ? span.text + " (" + span.target + ")" : span.text;
}

std::string words_of(const Inline& text) {
  std::string all;
  for (const Span& span : text) all += span.target.empty() ? span.text : link_text(span);
  return all;
}

using Row = std::vector<std::string>;

class Screen {
 public:
  std::string write(const std::vector<Block>& blocks) {
    add(blocks, 0);
    return text_;
  }

 private:
  void add(const std::vector<Block>& blocks, std::size_t indent) {
    bool first = true;
    for (const Block& block : blocks) {
      if (!first || indent == 0) {
        if (!text_.empty()) text_ += '\n';
      }
      first = false;
      add(block, indent);
    }
  }

  void add(const Block& block, std::size_t indent) {
    switch (block.kind) {
      case BlockKind::heading: heading(block); break;
      case BlockKind::paragraph: paragraph(words_of(block.text), indent); break;
      case BlockKind::code: code(block.code, indent + 4); break;
      case BlockKind::bullets:
      case BlockKind::steps: list(block, indent); break;
      case BlockKind::table: table(block, indent); break;
    }
  }

  void heading(const Block& block) {
    const std::string title = words_of(block.text);
    text_ +=
        title + '\n' + std::string(character_count(title), block.level == 1 ? '=' : '-') + '\n';
  }

  /// The mark of a list item waits for the first line of its text.
  void paragraph(const std::string& words, std::size_t indent) {
    const std::string first = mark_.empty() ? std::string(indent, ' ') : mark_;
    mark_.clear();
    text_ += wrapped(words, first, indent);
  }

  void code(const std::string& lines, std::size_t indent) {
    std::string_view rest = lines;
    while (!rest.empty()) {
      const std::size_t end = rest.find('\n');
      if (end > 0) text_ += std::string(indent, ' ');
      text_ += std::string(rest.substr(0, end)) + '\n';
      rest.remove_prefix(end + 1);
    }
  }

  void list(const Block& block, std::size_t indent) {
    int number = 0;
    for (const std::vector<Block>& item : block.items) {
      const std::string mark =
          block.kind == BlockKind::steps ? std::to_string(++number) + ". " : "- ";
      if (number > 1) text_ += '\n';
      mark_ = std::string(indent, ' ') + mark;
      add(item, indent + mark.size());
    }
  }

  static std::vector<Row> words_of_rows(const Block& block) {
    std::vector<Row> rows;
    for (const std::vector<Inline>& cells : block.rows) {
      Row row;
      for (const Inline& cell : cells) row.push_back(words_of(cell));
      rows.push_back(std::move(row));
    }
    return rows;
  }

  static std::vector<std::size_t> widths_of(const std::vector<Row>& rows) {
    std::vector<std::size_t> widths(rows.front().size());
    for (const Row& row : rows) {
      for (std::size_t k = 0; k < std::min(row.size(), widths.size()); ++k) {
        widths[k] = std::max(widths[k], character_count(row[k]));
      }
    }
    return widths;
  }

  void table(const Block& block, std::size_t indent) {
    const std::vector<Row> rows = words_of_rows(block);
    const std::vector<std::size_t> widths = widths_of(rows);
    std::size_t total = indent;
    for (const std::size_t width : widths) total += width + 2;
    if (total <= screen_columns) {
      for (const Row& row : rows) aligned(row, widths, indent);
    } else {
      for (std::size_t k = 1; k < rows.size(); ++k) spread(rows.front(), rows[k], indent);
    }
  }

  void aligned(const Row& row, const std::vector<std::size_t>& widths, std::size_t indent) {
    std::string line(indent, ' ');
    for (std::size_t k = 0; k < row.size(); ++k) {
      line += row[k] + std::string(widths[k] - character_count(row[k]) + 2, ' ');
    }
    line.erase(line.find_last_not_of(' ') + 1);
    text_ += line + '\n';
  }

  /// A wide table row by row: the first cell, below it the others.
  void spread(const Row& head, const Row& row, std::size_t indent) {
    text_ += wrapped(row.front(), std::string(indent, ' '), indent + 2);
    for (std::size_t k = 1; k < row.size(); ++k) {
      if (row[k].empty()) continue;
      const bool named = head.size() > 2 && k < head.size();
      text_ += wrapped(named ? head[k] + ": " + row[k] : row[k], std::string(indent + 4, ' '),
                       indent + 6);
    }
  }

  std::string text_;
  std::string mark_;
};

}  // namespace

std::string screen_text(std::string_view markdown) {
  return Screen().write(parse_markdown(markdown));
}

}  // namespace pivotrace::manual
