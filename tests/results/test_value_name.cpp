#include <doctest/doctest.h>
#include <rapidcheck.h>

#include <set>

#include "pivotrace/results/budget.h"
#include "pivotrace/results/value_name.h"

using namespace pivotrace;

namespace {

LinearAxis some_direction() { return static_cast<LinearAxis>(*rc::gen::inRange(0, 3)); }

char some_letter() { return *rc::gen::inRange('A', static_cast<char>('Z' + 1)); }

/// Names of artefacts come from machine files: dots, blanks and letters of axes are all allowed.
std::string some_artefact() {
  return *rc::gen::element<std::string>("ball", "ball 1", "ring.upper", "A", "A-C",
                                        "pin.position.X");
}

bool has_direction(ValueKind kind) {
  switch (kind) {
    case ValueKind::centre:
    case ValueKind::quoted_at:
    case ValueKind::orientation:
    case ValueKind::slope:
    case ValueKind::foot_on_first:
    case ValueKind::foot_on_second:
    case ValueKind::offset:
    case ValueKind::position: return true;
    default: return false;
  }
}

ValueName some_name() {
  const auto kind =
      static_cast<ValueKind>(*rc::gen::inRange(0, static_cast<int>(ValueKind::height_over) + 1));
  std::optional<LinearAxis> direction;
  if (has_direction(kind)) direction = some_direction();
  if (kind == ValueKind::height_over) return height_value(some_artefact(), some_letter());
  if (kind >= ValueKind::position) return artefact_value(some_artefact(), kind, direction);
  if (kind < ValueKind::distance) return axis_value(some_letter(), kind, direction);
  const char first = some_letter();
  const char second = first == 'Z' ? 'A' : static_cast<char>(first + 1);
  return pair_value(first, second, kind, direction);
}

}  // namespace

TEST_CASE("every name reads back from both its spellings") {
  CHECK(rc::check([] {
    const ValueName name = some_name();
    RC_ASSERT(value_named(text_of(name)) == name);
    RC_ASSERT(value_named(former_text_of(name)) == name);
  }));
}

TEST_CASE("values are spelled as mapping and limit files spell them") {
  CHECK(text_of(axis_value('A', ValueKind::centre, LinearAxis::Y)) == "A.centre.Y");
  CHECK(text_of(axis_value('A', ValueKind::orientation, LinearAxis::Y)) == "A.orientation.B");
  CHECK(text_of(height_value("table", 'A')) == "table.height_over_A");
  CHECK(value_named("table.height_over_A") == height_value("table", 'A'));
  CHECK(value_named("a.b.height_over_C") == height_value("a.b", 'C'));
  CHECK_FALSE(value_named("table.height_over_").has_value());
  CHECK(text_of(pair_value('A', 'C', ValueKind::offset, LinearAxis::Y)) == "A-C.offset.Y");
  CHECK(text_of(axis_value('C', ValueKind::zero)) == "C.zero");
  CHECK(text_of(axis_value('B', ValueKind::pivot_to_stylus)) == "B.pivot_to_stylus");
  CHECK(text_of(pair_value('A', 'C', ValueKind::distance)) == "A-C.distance");
  CHECK(text_of(pair_value('A', 'C', ValueKind::foot_on_second, LinearAxis::X)) ==
        "A-C.foot_on_C.X");
  CHECK(text_of(artefact_value("ball", ValueKind::position, LinearAxis::Z)) == "ball.position.Z");
  CHECK(former_text_of(axis_value('A', ValueKind::centre, LinearAxis::Y)) == "A.location.Y");
  CHECK(former_text_of(pair_value('A', 'C', ValueKind::crossing)) == "AC.crossing");
}

TEST_CASE("what is no name is none") {
  for (const char* text :
       {"", "A", ".", "A.", ".centre.Y", "A.centre", "A.centre.Q", "A.centre.y", "A.center.Y",
        "a.centre.Y", "AB.centre.Y", "A.orientation.X", "A.lean.B", "A-A.distance", "A.distance",
        "A-C.foot_on_B.X", "A..Y", "A.centre.Y.Z"}) {
    CAPTURE(text);
    CHECK_FALSE(value_named(text).has_value());
  }
}

// ISO 230-1 (symbols): E, the error motion direction, 0 for a location or
// orientation error, the axis it belongs to.
TEST_CASE("symbols of ISO 230-1") {
  CHECK(iso_symbol(axis_value('A', ValueKind::centre, LinearAxis::Y)) == "E_Y0A");
  CHECK(iso_symbol(axis_value('C', ValueKind::orientation, LinearAxis::X)) == "E_A0C");
  CHECK(iso_symbol(axis_value('C', ValueKind::zero)) == "E_C0C");
  CHECK(iso_symbol(axis_value('B', ValueKind::pivot_to_stylus)).empty());
  CHECK(iso_symbol(pair_value('A', 'C', ValueKind::distance)).empty());
}

TEST_CASE("effects and budget sources read back, and no two share a text") {
  std::set<std::string> texts;
  for (const EffectName& effect : every_effect()) {
    CHECK(effect_named(text_of(effect)) == effect);
    CHECK(texts.insert(text_of(effect)).second);
    const BudgetSource source{SourceKind::effect, '\0', effect};
    CHECK(budget_source_named(text_of(source)) == source);
  }
  for (const SourceKind kind : {SourceKind::touch_noise, SourceKind::ball_form, SourceKind::station,
                                SourceKind::diameters}) {
    const BudgetSource source{kind, '\0', {}};
    CHECK(budget_source_named(text_of(source)) == source);
  }
  const BudgetSource index{SourceKind::index, 'C', {}};
  CHECK(budget_source_named(text_of(index)) == index);
  CHECK_FALSE(budget_source_named("defaults").has_value());
  CHECK_FALSE(effect_named("drift.W").has_value());
}
