#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/cautions.h"
#include "base/iso_time.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/pivots/patch.h"
#include "pivotrace/pivots/pivot_values.h"
#include "pivots/amount_text.h"
#include "pivots/find_number.h"
#include "pivots/text_view.h"

namespace pivotrace {

namespace {

void append(Problems& problems, const Problems& more) {
  problems.insert(problems.end(), more.begin(), more.end());
}

Expected<Edit> edit_for(const std::vector<PivotValue>& values, const JointCovariance& joint,
                        const MappingEntry& entry, const TextView& view, const TargetFile& target) {
  const Expected<MappedValue> mapped = mapped_value(values, entry, joint);
  if (!mapped) return tl::make_unexpected(mapped.error());
  const Expected<NumberInFile> old = read_number(view, entry, target.path);
  if (!old) return tl::make_unexpected(old.error());

  Edit edit;
  edit.line = old->where.line;
  edit.column = old->column;
  edit.old_text = old->text;
  const Expected<double> old_physical = physical_value(values, entry, old->number);
  const Expected<double> new_physical = physical_value(values, entry, mapped->written);
  if (!old_physical) return tl::make_unexpected(old_physical.error());
  if (!new_physical) return tl::make_unexpected(new_physical.error());
  edit.new_text = spelled(mapped->written, entry.format);
  edit.new_bytes = encoded(edit.new_text, view.encoding);
  edit.offset = view.byte_at[old->where.begin];
  edit.length = view.byte_at[old->where.end] - edit.offset;
  const Expected<PivotValue> value = find_pivot_value(values, entry.value);
  edit.value = value->name;
  edit.quantity = value->quantity;
  edit.change = *new_physical - *old_physical;
  edit.U95 = mapped->U95_physical;
  return edit;
}

/// Two entries that take one and the same number.
void check_overlaps(const std::vector<Edit>& edits, const TargetFile& target, Problems& problems) {
  std::vector<const Edit*> sorted;
  sorted.reserve(edits.size());
  for (const Edit& edit : edits) sorted.push_back(&edit);
  std::sort(sorted.begin(), sorted.end(),
            [](const Edit* left, const Edit* right) { return left->offset < right->offset; });
  for (std::size_t i = 1; i < sorted.size(); ++i) {
    if (sorted[i]->offset >= sorted[i - 1]->offset + sorted[i - 1]->length) continue;
    problems.push_back({ProblemNumber::target_not_found,
                        fmt::format("{} and {} would both be written to the same number",
                                    text_of(sorted[i - 1]->value), text_of(sorted[i]->value)),
                        {target.path, sorted[i]->line, sorted[i]->column},
                        "give each value its own place in the mapping"});
  }
}

std::string with_edits(const std::string& bytes, const std::vector<Edit>& edits) {
  std::vector<const Edit*> sorted;
  sorted.reserve(edits.size());
  for (const Edit& edit : edits) sorted.push_back(&edit);
  std::sort(sorted.begin(), sorted.end(),
            [](const Edit* left, const Edit* right) { return left->offset < right->offset; });
  std::string result;
  std::size_t done = 0;
  for (const Edit* edit : sorted) {
    result.append(bytes, done, edit->offset - done);
    result += edit->new_bytes;
    done = edit->offset + edit->length;
  }
  return result.append(bytes, done);
}

double limit_of(const Edit& edit, const MappingEntry& entry) {
  if (entry.largest_change) {
    return edit.quantity == QuantityKind::angle ? rad_from_deg(*entry.largest_change)
                                                : *entry.largest_change;
  }
  switch (edit.quantity) {
    case QuantityKind::length: return largest_change_mm;
    case QuantityKind::angle: return largest_change_rad;
    case QuantityKind::slope: return mm_per_300_from_rad(largest_change_rad);
  }
  return 0.0;
}

void object_to_machine(PatchPlan& plan, const Mapping& mapping, const PatchPermissions& may) {
  if (may.other_machine) return;
  const auto object = [&](const std::string& whose, const std::string& machine) {
    plan.objections.push_back(
        {ProblemNumber::other_machine,
         fmt::format("the result is for the machine \"{}\", but {} \"{}\"", plan.machine, whose,
                     machine),
         {plan.target.path, 0, 0},
         "take the result of this machine; --allow-other-machine writes it all the same"});
  };
  if (!mapping.machine.empty() && mapping.machine != plan.machine) {
    object("the mapping is for", mapping.machine);
  } else if (plan.target.last_patch && plan.target.last_patch->machine != plan.machine) {
    object("this file was last patched for", plan.target.last_patch->machine);
  }
}

/// The result is older when it was measured earlier, or fitted earlier from the same measurement.
bool is_older(const std::string& measured, const std::string& fitted, const LastPatch& last) {
  const auto measured_now = seconds_from_iso(measured);
  const auto measured_then = seconds_from_iso(last.measured);
  if (measured_now && measured_then && *measured_now != *measured_then) {
    return *measured_now < *measured_then;
  }
  const auto fitted_now = seconds_from_iso(fitted);
  const auto fitted_then = seconds_from_iso(last.fitted);
  return fitted_now && fitted_then && *fitted_now < *fitted_then;
}

void object_to_age(PatchPlan& plan, const PatchPermissions& may) {
  if (may.older_result || !plan.target.last_patch) return;
  const LastPatch& last = *plan.target.last_patch;
  if (!is_older(plan.measured, plan.fitted, last)) return;
  plan.objections.push_back(
      {ProblemNumber::outdated_result,
       fmt::format("this result (measured {}, fitted {}) is older than the one this file was last "
                   "patched with (measured {}, fitted {})",
                   plan.measured.empty() ? "at an unknown time" : plan.measured, plan.fitted,
                   last.measured.empty() ? "at an unknown time" : last.measured, last.fitted),
       {plan.target.path, 0, 0},
       "take the newest result; --allow-older-result writes it all the same"});
}

void object_to_changes(PatchPlan& plan, const Mapping& mapping, const PatchPermissions& may) {
  bool all_within = true;
  for (std::size_t i = 0; i < plan.edits.size(); ++i) {
    const Edit& edit = plan.edits[i];
    const double limit = limit_of(edit, mapping.entries[i]);
    if (std::abs(edit.change) > limit && !may.large_change) {
      plan.objections.push_back(
          {ProblemNumber::change_too_large,
           fmt::format("{} would change by {}, more than the limit of {}", text_of(edit.value),
                       change_text(edit.quantity, edit.change, plan.unit),
                       amount_text(edit.quantity, limit, plan.unit)),
           {plan.target.path, edit.line, edit.column},
           "check sign, unit, scale and reference of the mapping, and whether the unit was moved; "
           "--allow-large-change writes it all the same"});
    }
    all_within = all_within && edit.within_U95();
  }
  if (all_within && !may.small_change) {
    plan.objections.push_back(
        {ProblemNumber::change_too_small,
         "nothing to gain: every change is smaller than its U95, the old values are as good as the "
         "new ones",
         {plan.target.path, 0, 0},
         "leave the file as it is; --allow-small-change writes it all the same"});
  }
}

void add_notes(PatchPlan& plan) {
  const bool some_beyond = std::any_of(plan.edits.begin(), plan.edits.end(),
                                       [](const Edit& edit) { return !edit.within_U95(); });
  for (const Edit& edit : plan.edits) {
    if (some_beyond && edit.within_U95()) {
      plan.notes.push_back(fmt::format(
          "{}: the change is smaller than its U95; it goes in with the others, as one set",
          text_of(edit.value)));
    }
  }
  if (plan.target.edited_since_last_patch) {
    plan.notes.push_back("the file was edited by other means since its last patch");
  }
  if (plan.target.leads_elsewhere) {
    plan.notes.push_back("this name leads to the file " + plan.target.real_path);
  }
}

}  // namespace

bool Edit::within_U95() const { return !(std::abs(change) > U95); }

Expected<PatchPlan> plan_patch(const FitResult& result, const Mapping& mapping,
                               const TargetFile& target, const PatchPermissions& permissions) {
  const Expected<std::vector<PivotValue>> values = pivot_values(result);
  if (!values) return tl::make_unexpected(values.error());
  Problems problems = mapping.validate();
  if (!problems.empty()) return tl::make_unexpected(std::move(problems));
  const Expected<TextView> view = text_view(target.bytes, target.path);
  if (!view) return tl::make_unexpected(view.error());

  PatchPlan plan;
  plan.target = target;
  plan.machine = result.machine_name;
  plan.unit = unit_of(result);
  if (result.simulated) plan.notes.emplace_back(simulated_notice);
  plan.measured = result.started;
  plan.fitted = result.made;
  for (const MappingEntry& entry : mapping.entries) {
    const Expected<Edit> edit = edit_for(*values, result.covariance, entry, *view, target);
    if (edit) {
      plan.edits.push_back(*edit);
    } else {
      append(problems, edit.error());
    }
  }
  check_overlaps(plan.edits, target, problems);
  if (!problems.empty()) return tl::make_unexpected(std::move(problems));
  plan.new_bytes = with_edits(target.bytes, plan.edits);
  object_to_machine(plan, mapping, permissions);
  object_to_age(plan, permissions);
  object_to_changes(plan, mapping, permissions);
  add_notes(plan);
  return plan;
}

}  // namespace pivotrace
