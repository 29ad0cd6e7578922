#include "pivotrace/report/shim_text.h"

#include <fmt/format.h>

#include <cmath>

#include "base/cautions.h"
#include "base/number_text.h"
#include "base/wrapped_text.h"
#include "formats/json_writer.h"
#include "pivotrace/geometry/angle.h"

namespace pivotrace {

namespace {

/// Gaps below this are no gaps: a tenth of a micrometre.
constexpr double least_gap_mm = 1e-4;

/// Lengths as the machine file has them.
class Lengths {
 public:
  explicit Lengths(LengthUnit unit) : unit_(unit) {}

  const char* unit() const { return unit_ == LengthUnit::inch ? "inch" : "mm"; }
  /// A thousandth of a millimetre or its like in inches: what shims come in.
  std::string coarse(double mm) const { return fixed_text(shown(mm), decimals() - 1); }
  std::string fine(double mm) const { return fixed_text(shown(mm), decimals()); }
  std::string signed_fine(double mm) const { return signed_text(shown(mm), decimals()); }
  /// Over the length the trade quotes a slope at.
  double slope(double rad) const {
    return shown_value(QuantityKind::slope, mm_per_300_from_rad(rad), unit_);
  }
  std::string slope_text(double rad) const { return fixed_text(slope(rad), decimals()); }
  std::string slope_U95_text(double rad) const { return uncertainty_text(slope(rad), decimals()); }
  const char* slope_unit() const {
    return unit_ == LengthUnit::inch ? "inch over 12 inch" : "mm over 300 mm";
  }

 private:
  double shown(double mm) const { return shown_value(QuantityKind::length, mm, unit_); }
  int decimals() const { return unit_ == LengthUnit::inch ? 5 : 4; }

  LengthUnit unit_;
};

/// "+Y", or the components when it is not along a machine axis.
std::string direction_text(const Eigen::Vector3d& direction) {
  for (int k = 0; k < 3; ++k) {
    if (std::abs(std::abs(direction[k]) - 1.0) < 1e-3) {
      return fmt::format("{}{}", direction[k] < 0 ? '-' : '+', "XYZ"[k]);
    }
  }
  return fmt::format("({:.2f}, {:.2f}, {:.2f})", direction.x(), direction.y(), direction.z());
}

std::string pieces_text(const std::vector<double>& pieces_mm, const Lengths& lengths) {
  std::string text;
  for (const double piece : pieces_mm) {
    text += (text.empty() ? "" : " + ") + lengths.coarse(piece);
  }
  return text.empty() ? "nothing" : text;
}

std::string verdict_text(const ShimAdvice& advice, const Lengths& lengths) {
  if (advice.nothing_to_gain) {
    return "The lean is within its U95: there is nothing to gain by shimming. Measure with more "
           "stations if you must know more.";
  }
  const std::string left = lengths.fine(advice.left_by_offset_mm) + " " + lengths.unit();
  if (advice.offset_is_enough) {
    return fmt::format(
        "A work offset is enough: what it leaves in the part, {} between "
        "features half a turn apart, can be borne.",
        left);
  }
  return fmt::format(
      "A work offset cannot replace alignment here: it shifts but does not lean, "
      "and would leave {} between features half a turn apart. Align the unit.",
      left);
}

std::string note_text(const ShimNote& note, const Lengths& lengths) {
  switch (note.kind) {
    case ShimNote::Kind::lean_stays:
      return "the feet, as fixed as they are, cannot take the whole lean out";
    case ShimNote::Kind::foot_too_high:
      return fmt::format(
          "foot \"{}\" would have to come down by {} {}, which no shim does: let another foot "
          "be the fixed one",
          note.foot, lengths.coarse(note.amount_mm), lengths.unit());
    case ShimNote::Kind::held_by_keys:
      return fmt::format(
          "{} keys hold the unit and do not let it turn that far: take all but one out, or fit "
          "narrower ones",
          note.keys);
    case ShimNote::Kind::carried_by_axis:
      return fmt::format("axis {} carries this one: shims under the unit move both", note.axis);
    case ShimNote::Kind::carries_axis:
      return fmt::format("axis {} rides on this one and moves with it", note.axis);
  }
  return "";
}

std::string shift_text(const Eigen::Vector3d& shift_mm, const Lengths& lengths) {
  return fmt::format("X {} Y {} Z {} {}", lengths.signed_fine(shift_mm.x()),
                     lengths.signed_fine(shift_mm.y()), lengths.signed_fine(shift_mm.z()),
                     lengths.unit());
}

std::string numbered(int step, const std::string& text) {
  return wrapped(text, fmt::format("{}. ", step), 3);
}

std::string steps_text(const ShimAdvice& advice, const Lengths& lengths) {
  int step = 1;
  std::string text = numbered(step++, "Slacken the bolts one at a time and lay shims:");
  for (const FootAdvice& foot : advice.feet) {
    text += fmt::format("     foot \"{}\": {} {} ({}); exact {} {}\n", foot.name,
                        lengths.coarse(foot.shim_mm), lengths.unit(),
                        pieces_text(foot.pieces_mm, lengths), lengths.fine(foot.exact_mm),
                        lengths.unit());
  }
  if (advice.rock_mm > least_gap_mm) {
    text += wrapped(fmt::format("the steps of the shims leave a gap of up to {} {} under a foot: "
                                "close it with foil, do not pull it down with the bolt",
                                lengths.fine(advice.rock_mm), lengths.unit()),
                    "     ", 5);
  }
  if (advice.tap) {
    text += numbered(
        step++, fmt::format("Turn the unit about {}: set an indicator at foot "
                            "\"{}\" and tap there towards {} until it has moved {} {}.",
                            advice.tap->about, advice.tap->at, direction_text(advice.tap->towards),
                            lengths.fine(advice.tap->amount_mm), lengths.unit()));
  }
  text += numbered(step++, "Tighten in turns, crosswise, and see that the indicator stays.");
  if (advice.tailstock_shift_mm) {
    text += numbered(step++, fmt::format("Then move the tailstock centre by {}.",
                                         shift_text(*advice.tailstock_shift_mm, lengths)));
  }
  text += numbered(step, fmt::format("Measure again. The centre moves by about {}: old offsets are "
                                     "wrong then; write new ones from the new result.",
                                     shift_text(advice.centre_shift_mm, lengths)));
  return text;
}

void add_foot(formats::JsonWriter& json, const FootAdvice& foot) {
  json.begin_object({}, formats::JsonLayout::one_line);
  json.add("name", foot.name);
  json.add("shim_mm", foot.shim_mm);
  json.add("pieces_mm", foot.pieces_mm);
  json.add("exact_mm", foot.exact_mm);
  json.end();
}

void add_tap(formats::JsonWriter& json, const TapAdvice& tap) {
  json.begin_object("tap", formats::JsonLayout::one_line);
  json.add("about", tap.about);
  json.add("at", tap.at);
  json.add("amount_mm", tap.amount_mm);
  json.add("towards", tap.towards);
  json.end();
}

}  // namespace

std::string shim_text(const FitResult& result, const ShimAdvice& advice, LengthUnit unit) {
  const Lengths lengths(unit);
  std::string text = fmt::format("Machine \"{}\", axis {}\n", result.machine_name, advice.letter);
  if (result.simulated) text += std::string(simulated_notice) + "\n";
  text += fmt::format("lean {} {}, U95 {}\n", lengths.slope_text(advice.lean_rad),
                      lengths.slope_unit(), lengths.slope_U95_text(advice.lean_U95_rad));
  text += wrapped(verdict_text(advice, lengths), "", 0);
  if (!advice.nothing_to_gain) {
    text += "\n" + steps_text(advice, lengths);
    text += fmt::format("Lean to be expected afterwards: {} {}\n",
                        lengths.slope_text(advice.lean_expected_rad), lengths.slope_unit());
  }
  for (const ShimNote& note : advice.notes) text += wrapped(note_text(note, lengths), "note: ", 6);
  return text + wrapped(caution(hands_in_machine_caution), "", 0);
}

std::string shim_json(const FitResult& result, const ShimAdvice& advice) {
  formats::JsonWriter json;
  json.begin_object();
  json.add("format", "pivotrace-shim-1");
  json.add("machine", result.machine_name);
  json.add("simulated", result.simulated);
  json.add("axis", std::string(1, advice.letter));
  json.add("caution", hands_in_machine_caution);
  json.add("lean_mm_per_300", mm_per_300_from_rad(advice.lean_rad));
  json.add("lean_U95_mm_per_300", mm_per_300_from_rad(advice.lean_U95_rad));
  json.add("nothing_to_gain", advice.nothing_to_gain);
  json.add("offset_is_enough", advice.offset_is_enough);
  json.add("left_by_offset_mm", advice.left_by_offset_mm);
  json.begin_array("feet");
  for (const FootAdvice& foot : advice.feet) add_foot(json, foot);
  json.end();
  if (advice.tap) add_tap(json, *advice.tap);
  json.add("rock_mm", advice.rock_mm);
  json.add("lean_expected_mm_per_300", mm_per_300_from_rad(advice.lean_expected_rad));
  json.add("centre_shift_mm", advice.centre_shift_mm);
  if (advice.tailstock_shift_mm) json.add("tailstock_shift_mm", *advice.tailstock_shift_mm);
  std::vector<std::string> notes;
  for (const ShimNote& note : advice.notes)
    notes.push_back(note_text(note, Lengths(LengthUnit::mm)));
  json.add("notes", notes);
  json.end();
  return json.take();
}

}  // namespace pivotrace
