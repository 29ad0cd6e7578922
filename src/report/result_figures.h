// What a result looks like: each figure with its claim, what is drawn, and its numbers as a table.
#pragma once

#include <string>
#include <vector>

#include "pivotrace/pivots/judge.h"
#include "pivotrace/pivots/pivot_values.h"
#include "pivotrace/report/result_page.h"
#include "pivotrace/results/result.h"

namespace pivotrace::report {

struct Table {
  std::vector<std::string> head;
  std::vector<std::vector<std::string>> rows;
};

struct Figure {
  std::string claim;     ///< what it shows, as a sentence
  std::string subtitle;  ///< what is drawn
  std::string svg;       ///< the element; empty = no figure
  Table numbers;
};

/// Lengths as a page shows them: long ones in mm or inch, small ones in um or 0.0001 inch.
class PageUnit {
 public:
  explicit PageUnit(LengthUnit unit) : unit_(unit) {}
  LengthUnit unit() const { return unit_; }
  std::string word() const { return unit_ == LengthUnit::inch ? "in" : "mm"; }
  std::string small_word() const { return unit_ == LengthUnit::inch ? "tenths" : "\xC2\xB5m"; }
  double small(double mm) const;
  double from_mm(double mm) const;
  /// The length a lean is quoted over: 300 mm or 12 inch, in mm.
  double lean_length_mm() const;

 private:
  LengthUnit unit_;
};

/// A part of this box, cut at these index positions, with the values of the machine file: how far
/// features of two positions miss each other, worst corner of the box [mm].
struct PartSteps {
  PartEnvelope part;
  std::vector<RotaryAngles> positions;
  bool assumed = false;  ///< nobody stated the part: a box round the axis, at the angles touched
};

Figure values_figure(const FitResult& result, const PageUnit& unit);
Figure limits_figure(const JudgeReport& judged);
Figure orbit_figure(const FitResult& result, std::size_t axis, const PageUnit& unit);
Figure lean_figure(const FitResult& result, std::size_t axis, const PageUnit& unit);
Figure residuals_figure(const FitResult& result, const PageUnit& unit);
Figure budget_figure(const FitResult& result);
Figure steps_figure(const FitResult& result, const PartSteps& steps, const PageUnit& unit);

/// How a value came out over trials, beside Student's t (or the normal) with the stated u and U95.
Figure trials_figure(const FitResult& result, const TrialSpread& spread, const PageUnit& unit);

/// The steps of a part nobody described: a box of 100 mm round the quoted centre of the innermost
/// work-carrying axis, cut at the angles the survey visited.
PartSteps assumed_part(const FitResult& result);

}  // namespace pivotrace::report
