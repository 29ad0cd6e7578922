#include "manual/page.h"

#include <fmt/format.h>

#include <sstream>
#include <string_view>

namespace pivotrace::manual {

namespace {

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  std::istringstream stream(text);
  for (std::string line; std::getline(stream, line);) lines.push_back(line);
  return lines;
}

std::vector<std::string> words_of(const std::string& text) {
  std::vector<std::string> words;
  std::istringstream stream(text);
  for (std::string word; stream >> word;) words.push_back(word);
  return words;
}

std::size_t indent_of(std::string_view line) {
  const std::size_t at = line.find_first_not_of(' ');
  return at == std::string_view::npos ? 0 : at;
}

bool is_fence(std::string_view line) { return line.substr(indent_of(line)).starts_with("```"); }

/// Lines `from` to before `to` are the inside of a block.
struct Block {
  std::size_t from = 0;
  std::size_t to = 0;
  std::size_t indent = 0;
  std::vector<std::string> info;

  std::string word_after(const std::string& word) const {
    for (std::size_t k = 0; k + 1 < info.size(); ++k) {
      if (info[k] == word) return info[k + 1];
    }
    return "";
  }
};

class Reader {
 public:
  explicit Reader(const std::string& text) { page_.lines = lines_of(text); }

  tl::expected<Page, std::string> read() {
    for (std::size_t at = 0; at < page_.lines.size(); ++at) {
      if (!is_fence(page_.lines[at])) continue;
      Block block{at + 1, at + 1, indent_of(page_.lines[at]), {}};
      block.info = words_of(page_.lines[at].substr(block.indent + 3));
      while (block.to < page_.lines.size() && !is_fence(page_.lines[block.to])) ++block.to;
      if (block.to == page_.lines.size()) return problem(at, "this block has no end");
      if (const std::string wrong = take(block); !wrong.empty()) {
        return tl::make_unexpected(wrong);
      }
      at = block.to;
    }
    return page_;
  }

 private:
  static tl::unexpected<std::string> problem(std::size_t line, const std::string& what) {
    return tl::make_unexpected(fmt::format("line {}: {}", line + 1, what));
  }

  std::string inside(std::size_t at, const Block& block) const {
    const std::string& line = page_.lines[at];
    return line.substr(std::min(block.indent, indent_of(line)));
  }

  std::string take(const Block& block) {
    const std::string file = block.word_after("file");
    if (!file.empty()) {
      PageStep step{file, "", {}};
      for (std::size_t at = block.from; at < block.to; ++at)
        step.content += inside(at, block) + '\n';
      page_.steps.push_back(std::move(step));
      return "";
    }
    return take_session(block);
  }

  std::string take_session(const Block& block) {
    bool any = false;
    for (std::size_t at = block.from; at < block.to;) {
      const std::string line = inside(at, block);
      if (line.starts_with("$ ")) {
        at = take_command(at, block);
        any = true;
      } else if (any) {
        page_.steps.back().command.shown.push_back(line);
        ++at;
      } else if (line.starts_with("pivotrace ")) {
        return fmt::format("line {}: this command is not run; begin it with '$ '", at + 1);
      } else {
        ++at;
      }
    }
    if (const std::string code = block.word_after("exit"); any && !code.empty()) {
      page_.steps.back().command.exit_code = std::stoi(code);
    }
    return "";
  }

  std::size_t take_command(std::size_t at, const Block& block) {
    PageStep step;
    step.command.text = inside(at, block).substr(2) + '\n';
    while (step.command.text.ends_with("\\\n") && at + 1 < block.to) {
      step.command.text += inside(++at, block) + '\n';
    }
    step.command.shown_from = ++at;
    step.command.indent = block.indent;
    page_.steps.push_back(std::move(step));
    return at;
  }

  Page page_;
};

}  // namespace

tl::expected<Page, std::string> read_page(const std::string& text) { return Reader(text).read(); }

std::string with_shown(const Page& page, const std::vector<std::vector<std::string>>& shown) {
  std::string text;
  std::size_t from = 0;
  std::size_t next = 0;
  const auto copy_until = [&](std::size_t to) {
    for (; from < to; ++from) text += page.lines[from] + '\n';
  };
  for (const PageStep& step : page.steps) {
    if (!step.file.empty()) continue;
    copy_until(step.command.shown_from);
    const std::string indent(step.command.indent, ' ');
    for (const std::string& line : shown.at(next)) {
      text += line.empty() ? "\n" : indent + line + '\n';
    }
    from += step.command.shown.size();
    ++next;
  }
  copy_until(page.lines.size());
  return text;
}

}  // namespace pivotrace::manual
