#include "pivotrace/results/value_name.h"

#include <array>

namespace pivotrace {

namespace {

enum class Owner { axis, pair, artefact };
enum class Directions { none, linear, about };

/// How one kind is spelled behind its owner. A foot is followed by the letter of the axis it is on, a
/// height by that of the axis it is counted from.
struct Spelling {
  ValueKind kind;
  Owner owner;
  const char* word;
  Directions directions;
};

constexpr std::array spellings = {
    Spelling{ValueKind::centre, Owner::axis, "centre", Directions::linear},
    Spelling{ValueKind::quoted_at, Owner::axis, "quoted_at", Directions::linear},
    Spelling{ValueKind::orientation, Owner::axis, "orientation", Directions::about},
    Spelling{ValueKind::slope, Owner::axis, "slope", Directions::about},
    Spelling{ValueKind::lean, Owner::axis, "lean", Directions::none},
    Spelling{ValueKind::zero, Owner::axis, "zero", Directions::none},
    Spelling{ValueKind::pivot_to_stylus, Owner::axis, "pivot_to_stylus", Directions::none},
    Spelling{ValueKind::pivot_to_gauge, Owner::axis, "pivot_to_gauge", Directions::none},
    Spelling{ValueKind::radial_range, Owner::axis, "F_R", Directions::none},
    Spelling{ValueKind::tangential_range, Owner::axis, "F_T", Directions::none},
    Spelling{ValueKind::axial_range, Owner::axis, "F_A", Directions::none},
    Spelling{ValueKind::distance, Owner::pair, "distance", Directions::none},
    Spelling{ValueKind::crossing, Owner::pair, "crossing", Directions::none},
    Spelling{ValueKind::foot_on_first, Owner::pair, "foot_on_", Directions::linear},
    Spelling{ValueKind::foot_on_second, Owner::pair, "foot_on_", Directions::linear},
    Spelling{ValueKind::offset, Owner::pair, "offset", Directions::linear},
    Spelling{ValueKind::position, Owner::artefact, "position", Directions::linear},
    Spelling{ValueKind::diameter, Owner::artefact, "diameter", Directions::none},
    Spelling{ValueKind::effective_diameter, Owner::artefact, "effective_diameter",
             Directions::none},
    Spelling{ValueKind::height_over, Owner::artefact, "height_over_", Directions::none},
};

constexpr std::string_view linear_letters = "XYZ";
constexpr std::string_view about_letters = "ABC";

const Spelling& spelling_of(ValueKind kind) { return spellings[static_cast<std::size_t>(kind)]; }

constexpr const char* former_centre_word = "location";

std::string word_of(const Spelling& spelling, char first, char second) {
  std::string word = spelling.word;
  if (spelling.kind == ValueKind::foot_on_first || spelling.kind == ValueKind::height_over) {
    word += first;
  }
  if (spelling.kind == ValueKind::foot_on_second) word += second;
  return word;
}

std::string owner_text(const ValueName& name, const char* between) {
  switch (spelling_of(name.kind).owner) {
    case Owner::axis: return std::string(1, name.axis);
    case Owner::pair: return std::string(1, name.axis) + between + name.other;
    case Owner::artefact: return name.artefact;
  }
  return "";
}

std::string spelled(const ValueName& name, const std::string& owner, const std::string& word) {
  const std::string text = owner + "." + word;
  return name.direction ? text + "." + direction_text(name) : text;
}

/// The parts of a text "owner.word" or "owner.word.D"; the owner may hold dots of its own.
struct Parts {
  std::string owner;
  std::string word;
  std::string direction;
};

std::optional<Parts> parts_of(std::string_view text, bool with_direction) {
  Parts parts;
  if (with_direction) {
    const std::size_t dot = text.rfind('.');
    if (dot == std::string_view::npos) return std::nullopt;
    parts.direction = text.substr(dot + 1);
    text = text.substr(0, dot);
  }
  const std::size_t dot = text.rfind('.');
  if (dot == std::string_view::npos || dot == 0) return std::nullopt;
  parts.owner = text.substr(0, dot);
  parts.word = text.substr(dot + 1);
  return parts;
}

bool is_letter(char c) { return c >= 'A' && c <= 'Z'; }

/// Fills in whose value it is; false when the owner does not suit the kind.
bool take_owner(const std::string& text, Owner owner, ValueName& name) {
  switch (owner) {
    case Owner::axis:
      if (text.size() != 1 || !is_letter(text[0])) return false;
      name.axis = text[0];
      return true;
    case Owner::pair: {
      const bool spelled = text.size() == 3 && text[1] == '-';
      if (!spelled && text.size() != 2) return false;
      name.axis = text.front();
      name.other = text.back();
      return is_letter(name.axis) && is_letter(name.other) && name.axis != name.other;
    }
    case Owner::artefact: name.artefact = text; return !text.empty();
  }
  return false;
}

/// The letter a height is counted from stands at the end of its word.
bool take_letter_behind(const std::string& word, ValueName& name) {
  if (word.empty() || !is_letter(word.back())) return false;
  name.axis = word.back();
  return true;
}

bool take_direction(const std::string& text, Directions directions, ValueName& name) {
  if (directions == Directions::none) return true;
  const std::string_view letters =
      directions == Directions::linear ? linear_letters : about_letters;
  const std::size_t index = text.size() == 1 ? letters.find(text[0]) : std::string_view::npos;
  if (index == std::string_view::npos) return false;
  name.direction = static_cast<LinearAxis>(index);
  return true;
}

std::optional<ValueName> read_as(std::string_view text, const Spelling& spelling) {
  const auto parts = parts_of(text, spelling.directions != Directions::none);
  if (!parts) return std::nullopt;
  ValueName name;
  name.kind = spelling.kind;
  if (!take_owner(parts->owner, spelling.owner, name)) return std::nullopt;
  if (name.kind == ValueKind::height_over && !take_letter_behind(parts->word, name)) {
    return std::nullopt;
  }
  const bool old_word = spelling.kind == ValueKind::centre && parts->word == former_centre_word;
  if (parts->word != word_of(spelling, name.axis, name.other) && !old_word) return std::nullopt;
  if (!take_direction(parts->direction, spelling.directions, name)) return std::nullopt;
  return name;
}

}  // namespace

ValueName axis_value(char axis, ValueKind kind, std::optional<LinearAxis> direction) {
  return {axis, '\0', "", kind, direction};
}

ValueName pair_value(char first, char second, ValueKind kind, std::optional<LinearAxis> direction) {
  return {first, second, "", kind, direction};
}

ValueName artefact_value(const std::string& artefact, ValueKind kind,
                         std::optional<LinearAxis> direction) {
  return {'\0', '\0', artefact, kind, direction};
}

ValueName height_value(const std::string& flat, char axis) {
  return {axis, '\0', flat, ValueKind::height_over, std::nullopt};
}

QuantityKind quantity_kind(ValueKind kind) {
  switch (kind) {
    case ValueKind::slope: return QuantityKind::slope;
    case ValueKind::orientation:
    case ValueKind::lean:
    case ValueKind::zero:
    case ValueKind::crossing: return QuantityKind::angle;
    default: return QuantityKind::length;
  }
}

std::string direction_text(const ValueName& name) {
  if (!name.direction) return "";
  const bool about = spelling_of(name.kind).directions == Directions::about;
  return std::string(1, (about ? about_letters : linear_letters)[component(name)]);
}

std::string text_of(const ValueName& name) {
  const Spelling& spelling = spelling_of(name.kind);
  return spelled(name, owner_text(name, "-"), word_of(spelling, name.axis, name.other));
}

std::string former_text_of(const ValueName& name) {
  const Spelling& spelling = spelling_of(name.kind);
  const bool centre = name.kind == ValueKind::centre;
  return spelled(name, owner_text(name, ""),
                 centre ? former_centre_word : word_of(spelling, name.axis, name.other));
}

std::string iso_symbol(const ValueName& name) {
  const bool stated = name.kind == ValueKind::centre || name.kind == ValueKind::orientation ||
                      name.kind == ValueKind::slope;
  if (stated) return "E_" + direction_text(name) + "0" + name.axis;
  if (name.kind == ValueKind::zero) return std::string("E_") + name.axis + "0" + name.axis;
  return "";
}

std::optional<ValueName> value_named(std::string_view text) {
  for (const Spelling& spelling : spellings) {
    if (auto name = read_as(text, spelling)) return name;
  }
  return std::nullopt;
}

}  // namespace pivotrace
