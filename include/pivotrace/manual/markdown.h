// The Markdown that the manual is written in, as blocks: the part of CommonMark (version 0.31.2) that our
// pages use, and tables with bars.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace pivotrace::manual {

/// Text of one look. Looks may be combined.
struct Span {
  std::string text;
  bool strong = false;
  bool emphasis = false;
  bool code = false;
  std::string target;  ///< where a link leads; empty: no link
};

using Inline = std::vector<Span>;

enum class BlockKind { heading, paragraph, code, bullets, steps, table };

struct Block {
  BlockKind kind = BlockKind::paragraph;
  int level = 0;                          ///< of a heading, from 1
  Inline text;                            ///< heading, paragraph
  std::string code;                       ///< lines, each with its end
  std::vector<std::vector<Block>> items;  ///< bullets, steps
  std::vector<std::vector<Inline>> rows;  ///< table; the first is its head
};

/// Never fails: what is no mark is text.
std::vector<Block> parse_markdown(std::string_view markdown);

/// The text without its looks.
std::string plain(const Inline& text);

}  // namespace pivotrace::manual
