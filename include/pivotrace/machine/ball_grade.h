// How round a reference ball may be by its grade.
#pragma once

#include <array>
#include <optional>
#include <string_view>

namespace pivotrace {

struct BallGrade {
  const char* name;
  double
      form_deviation_um;  ///< largest deviation from spherical form, peak to valley of the radius
};

/// ISO 3290-1:2014, deviation from spherical form t_Dw (figures as reproduced in three catalogues'
/// excerpts of the table). A grade says nothing about the absolute diameter: that has to be
/// calibrated, or found from the touches.
inline constexpr std::array<BallGrade, 8> ball_grades = {{{"G3", 0.08},
                                                          {"G5", 0.13},
                                                          {"G10", 0.25},
                                                          {"G16", 0.4},
                                                          {"G20", 0.5},
                                                          {"G28", 0.7},
                                                          {"G40", 1.0},
                                                          {"G100", 2.5}}};

/// Form deviation of a grade [um]; empty for a name that is no grade.
constexpr std::optional<double> form_deviation_um(std::string_view grade) {
  for (const BallGrade& known : ball_grades) {
    if (grade == known.name) return known.form_deviation_um;
  }
  return std::nullopt;
}

}  // namespace pivotrace
