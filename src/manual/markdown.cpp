#include "pivotrace/manual/markdown.h"

#include <algorithm>
#include <optional>

#include "base/words.h"

namespace pivotrace::manual {

namespace {

using Lines = std::vector<std::string>;

Lines lines_of(std::string_view text) {
  Lines lines;
  while (!text.empty()) {
    const std::size_t end = text.find('\n');
    lines.emplace_back(text.substr(0, end));
    text.remove_prefix(end == std::string_view::npos ? text.size() : end + 1);
  }
  return lines;
}

std::size_t indent_of(const std::string& line) {
  const std::size_t at = line.find_first_not_of(' ');
  return at == std::string::npos ? line.size() : at;
}

bool is_blank(const std::string& line) { return indent_of(line) == line.size(); }
bool is_fence(const std::string& line) { return line.compare(0, 3, "```") == 0; }
bool is_heading(const std::string& line) { return !line.empty() && line.front() == '#'; }
bool is_row(const std::string& line) { return !line.empty() && line.front() == '|'; }

/// Width of "- " or "12. " at the begin of the line, 0 when there is none.
std::size_t bullet_width(const std::string& line) { return line.compare(0, 2, "- ") == 0 ? 2 : 0; }

std::size_t step_width(const std::string& line) {
  const std::size_t digits = std::min(line.find_first_not_of("0123456789"), line.size());
  return digits > 0 && line.compare(digits, 2, ". ") == 0 ? digits + 2 : 0;
}

bool is_punctuation(char c) {
  return std::string_view("!\"#$%&'()*+,-./:;<=>?@[\\]^_`{|}~").find(c) != std::string_view::npos;
}

/// Goes through the text of a paragraph once.
class InlineReader {
 public:
  explicit InlineReader(std::string_view text) : text_(text) {}

  Inline read() {
    while (at_ < text_.size()) step();
    flush();
    return spans_;
  }

 private:
  bool here(std::string_view mark) const { return text_.substr(at_).starts_with(mark); }

  void step() {
    if (text_[at_] == '\\' && at_ + 1 < text_.size() && is_punctuation(text_[at_ + 1])) {
      now_.text += text_[at_ + 1];
      at_ += 2;
    } else if (text_[at_] == '`') {
      code();
    } else if (here("**")) {
      flush();
      now_.strong = !now_.strong;
      at_ += 2;
    } else if (here("*") && (now_.emphasis || !here("* "))) {
      flush();
      now_.emphasis = !now_.emphasis;
      ++at_;
    } else if (!link()) {
      now_.text += text_[at_++];
    }
  }

  void code() {
    const std::size_t end = text_.find('`', at_ + 1);
    if (end == std::string_view::npos) {
      now_.text += text_[at_++];
      return;
    }
    flush();
    Span span = now_;
    span.code = true;
    span.text = text_.substr(at_ + 1, end - at_ - 1);
    spans_.push_back(std::move(span));
    at_ = end + 1;
  }

  bool link() {
    const bool image = here("![");
    if (!image && !here("[")) return false;
    const std::size_t open = at_ + (image ? 2 : 1);
    const std::size_t middle = text_.find("](", open);
    if (middle == std::string_view::npos) return false;
    const std::size_t end = text_.find(')', middle);
    if (end == std::string_view::npos) return false;
    flush();
    for (Span span : InlineReader(text_.substr(open, middle - open)).read()) {
      span.target = text_.substr(middle + 2, end - middle - 2);
      span.strong = span.strong || now_.strong;
      spans_.push_back(std::move(span));
    }
    at_ = end + 1;
    return true;
  }

  void flush() {
    if (!now_.text.empty()) spans_.push_back(now_);
    now_.text.clear();
  }

  std::string_view text_;
  std::size_t at_ = 0;
  Span now_;
  Inline spans_;
};

Inline inline_of(std::string_view text) { return InlineReader(text).read(); }

/// The cells of "| a | b |"; a bar in code or after a backslash is text.
std::vector<std::string> cells_of(const std::string& line) {
  std::vector<std::string> cells;
  std::string cell;
  bool code = false;
  for (std::size_t at = 1; at < line.size(); ++at) {
    const char c = line[at];
    if (c == '`') code = !code;
    if (c == '|' && !code && line[at - 1] != '\\') {
      cells.emplace_back(trimmed(cell));
      cell.clear();
    } else {
      cell += c;
    }
  }
  return cells;
}

class BlockReader {
 public:
  explicit BlockReader(Lines lines) : lines_(std::move(lines)) {}

  std::vector<Block> read() {
    while (at_ < lines_.size()) {
      if (is_blank(line())) {
        ++at_;
      } else {
        blocks_.push_back(next());
      }
    }
    return blocks_;
  }

 private:
  const std::string& line() const { return lines_[at_]; }

  Block next() {
    if (is_fence(line())) return code();
    if (is_heading(line())) return heading();
    if (is_row(line())) return table();
    if (bullet_width(line()) > 0) return list(BlockKind::bullets, bullet_width);
    if (step_width(line()) > 0) return list(BlockKind::steps, step_width);
    return paragraph();
  }

  Block code() {
    Block block{BlockKind::code, 0, {}, "", {}, {}};
    for (++at_; at_ < lines_.size() && !is_fence(line()); ++at_) block.code += line() + '\n';
    ++at_;
    return block;
  }

  Block heading() {
    const std::size_t level = line().find_first_not_of('#');
    Block block{BlockKind::heading, static_cast<int>(level), {}, "", {}, {}};
    block.text = inline_of(trimmed(std::string_view(line()).substr(level)));
    ++at_;
    return block;
  }

  Block table() {
    Block block{BlockKind::table, 0, {}, "", {}, {}};
    for (; at_ < lines_.size() && is_row(line()); ++at_) {
      if (line().find_first_not_of("|-: ") == std::string::npos && block.rows.size() == 1) continue;
      std::vector<Inline> row;
      for (const std::string& cell : cells_of(line())) row.push_back(inline_of(cell));
      block.rows.push_back(std::move(row));
    }
    return block;
  }

  /// An item goes on as long as its lines are indented by the width of its mark.
  Block list(BlockKind kind, std::size_t (*width_of)(const std::string&)) {
    Block block{kind, 0, {}, "", {}, {}};
    while (at_ < lines_.size() && width_of(line()) > 0) {
      const std::size_t width = width_of(line());
      Lines inside{line().substr(width)};
      for (++at_; at_ < lines_.size() && (is_blank(line()) || indent_of(line()) >= width); ++at_) {
        inside.push_back(is_blank(line()) ? "" : line().substr(width));
      }
      block.items.push_back(BlockReader(std::move(inside)).read());
    }
    return block;
  }

  bool begins_another_block() const {
    return is_blank(line()) || is_fence(line()) || is_heading(line()) || is_row(line()) ||
           bullet_width(line()) > 0 || step_width(line()) > 0;
  }

  Block paragraph() {
    std::string text;
    do {
      if (!text.empty()) text += ' ';
      text += trimmed(line());
      ++at_;
    } while (at_ < lines_.size() && !begins_another_block());
    return {BlockKind::paragraph, 0, inline_of(text), "", {}, {}};
  }

  Lines lines_;
  std::size_t at_ = 0;
  std::vector<Block> blocks_;
};

}  // namespace

std::vector<Block> parse_markdown(std::string_view markdown) {
  return BlockReader(lines_of(markdown)).read();
}

std::string plain(const Inline& text) {
  std::string all;
  for (const Span& span : text) all += span.text;
  return all;
}

}  // namespace pivotrace::manual
