// The words of a control sheet, ready to be looked up.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "pivotrace/control/control_sheet.h"

namespace pivotrace::control {

/// A letter and its number in tenths: G38.2 is {'G', 382}.
using CodeKey = std::pair<char, int>;

/// A form made of words only: "G10 L2 P{system} {axes}".
struct WordForm {
  std::vector<CodeKey> fixed;          ///< G10, L2
  std::map<std::string, char> blanks;  ///< system -> P
};

class Vocabulary {
 public:
  Vocabulary(const ControlSheet& sheet, const std::vector<std::string>& auxiliary_words);

  /// What a letter and number mean; nothing when the control has no such word.
  struct Code {
    std::optional<Meaning> meaning;  ///< nothing: a word of the machine builder
    std::string auxiliary;
  };
  std::optional<Code> code(char letter, double number) const;
  /// Words that are not a letter and a number, longest first.
  const std::vector<std::pair<std::string, Meaning>>& plain_words() const { return plain_words_; }
  /// G, M and any other letter whose number chooses what it means.
  bool is_code_letter(char letter) const;
  bool is_known_letter(char letter) const;
  bool is_axis_letter(char letter) const;
  const std::optional<WordForm>& offset_form() const { return offset_form_; }
  const std::optional<WordForm>& orient_form() const { return orient_form_; }

 private:
  void add(const std::string& spelling, const Code& code);

  std::map<CodeKey, Code> codes_;
  std::vector<std::pair<std::string, Meaning>> plain_words_;
  std::string code_letters_;
  std::string axis_letters_;
  std::string other_letters_;
  std::optional<WordForm> offset_form_;
  std::optional<WordForm> orient_form_;
};

/// A word spelled letter and number, or nothing.
std::optional<CodeKey> code_key(const std::string& spelling);

inline constexpr char feed_letter = 'F';

}  // namespace pivotrace::control
