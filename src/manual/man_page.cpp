#include <fmt/format.h>

#include "pivotrace/manual/markdown.h"
#include "pivotrace/manual/writers.h"

namespace pivotrace::manual {

namespace {

/// Backslashes and minus signs as the formatter wants them (groff_char(7)).
std::string escaped(std::string_view text) {
  std::string safe;
  for (const char c : text) {
    if (c == '\\') {
      safe += "\\e";
    } else if (c == '-') {
      safe += "\\-";
    } else {
      safe += c;
    }
  }
  return safe;
}

/// A line must not begin with a control character of the formatter.
std::string guarded(const std::string& line) {
  return line.starts_with('.') || line.starts_with('\'') ? "\\&" + line : line;
}

std::string see_also(const Span& span) {
  if (!span.target.ends_with(".md")) return "";
  return fmt::format(" (pivotrace\\-{}(7))",
                     escaped(span.target.substr(0, span.target.size() - 3)));
}

std::string words_of(const Inline& text) {
  std::string all;
  for (const Span& span : text) {
    const std::string words = escaped(span.text);
    const char* font = span.strong || span.code ? "\\fB" : span.emphasis ? "\\fI" : "";
    all += *font == '\0' ? words : font + words + "\\fR";
    all += see_also(span);
  }
  return guarded(all);
}

class Man {
 public:
  std::string write(const std::vector<Block>& blocks) {
    for (const Block& block : blocks) add(block);
    return text_;
  }

 private:
  void add(const Block& block) {
    switch (block.kind) {
      case BlockKind::heading:
        text_ += (block.level <= 2 ? ".SH " : ".SS ") + words_of(block.text) + '\n';
        break;
      case BlockKind::paragraph: text_ += ".PP\n" + words_of(block.text) + '\n'; break;
      case BlockKind::code: code(block.code); break;
      case BlockKind::bullets:
      case BlockKind::steps: list(block); break;
      case BlockKind::table: table(block); break;
    }
  }

  void code(const std::string& lines) {
    text_ += ".PP\n.in +4n\n.nf\n";
    std::string_view rest = lines;
    while (!rest.empty()) {
      const std::size_t end = rest.find('\n');
      text_ += guarded(escaped(rest.substr(0, end))) + '\n';
      rest.remove_prefix(end + 1);
    }
    text_ += ".fi\n.in\n";
  }

  void list(const Block& block) {
    int number = 0;
    for (const std::vector<Block>& item : block.items) {
      text_ += block.kind == BlockKind::steps ? fmt::format(".IP {}. 4\n", ++number)
                                              : std::string(".IP \\(bu 2\n");
      bool first = true;
      for (const Block& inner : item) {
        if (first && inner.kind == BlockKind::paragraph) {
          text_ += words_of(inner.text) + '\n';
        } else {
          text_ += ".RS\n";
          add(inner);
          text_ += ".RE\n";
        }
        first = false;
      }
    }
  }

  void table(const Block& block) {
    for (std::size_t row = 1; row < block.rows.size(); ++row) {
      const std::vector<Inline>& cells = block.rows[row];
      text_ += ".TP\n" + words_of(cells.front()) + '\n';
      std::string rest;
      for (std::size_t k = 1; k < cells.size(); ++k) {
        const std::string words = words_of(cells[k]);
        if (words.empty()) continue;
        if (!rest.empty()) rest += "; ";
        rest += words;
      }
      text_ += rest.empty() ? "\\&\n" : rest + '\n';
    }
  }

  std::string text_;
};

}  // namespace

std::string man_page(std::string_view markdown, const ManHead& head) {
  std::vector<Block> blocks = parse_markdown(markdown);
  const std::string title = blocks.empty() ? head.name : plain(blocks.front().text);
  if (!blocks.empty()) blocks.erase(blocks.begin());
  return fmt::format(
      ".TH {} {} \"\" \"pivotrace {}\" \"\"\n.SH NAME\n{} \\- {}\n.SH DESCRIPTION\n{}",
      escaped(head.name), head.section, head.version, escaped(head.name), escaped(title),
      Man().write(blocks));
}

}  // namespace pivotrace::manual
