// What a machine may do that cannot be seen in the scatter of a survey: how large each effect may be.
//
// Half-widths. The machine file states them or leaves them out; what it leaves out is assumed by the
// class of machine, and the result says so. Figures of the classes: common practice, no source.
#pragma once

#include <optional>
#include <string>
#include <vector>

namespace pivotrace {

struct Machine;

/// How good a machine is taken to be where its file is silent.
enum class MachineClass {
  precise,  ///< kept at even temperature, slides compensated and checked within the year
  usual,    ///< a sound production machine in a workshop
  light,    ///< bench and home-made machines, converted machines, slides never checked
};
/// "precise", "usual", "light", as in the machine file.
const char* class_word(MachineClass word);

/// As stated; absent = assumed by the class, 0 is a statement.
struct StatedBounds {
  std::optional<double> lobing_mm;         ///< amplitude of a three-lobed trigger
  std::optional<double> drift_per_run_mm;  ///< creep of the tool against the work over one survey
  std::optional<double> squareness_rad;    ///< of each pair of linear axes
  std::optional<double> scale;             ///< of each linear axis, mm/mm
  /// Bow of each linear axis: it leaves the straight and even line by b ((x - m) / 150 mm)^2, m the
  /// middle of the positions, |b| no more than this, in any direction.
  std::optional<double> place_mm;
  std::optional<double> index_wave_rad;      ///< amplitude, once and twice per turn together
  std::optional<double> between_surveys_mm;  ///< temperature and clamping anew, per coordinate
};

/// The distance from the middle at which `place_mm` is reached.
inline constexpr double bow_reach_mm = 150.0;

enum class BoundKind { lobing, drift, squareness, scale, place, index_wave, between_surveys };
/// "lobing", "drift", "index wave", ...
const char* text_of(BoundKind kind);
enum class BoundSource { stated, assumed, found };

/// One effect with the half-width in force. A stated standard uncertainty of scale or squareness
/// takes the place of the bound of that direction, which is then not listed.
struct Bound {
  BoundKind kind = BoundKind::lobing;
  int axis = -1;            ///< index_wave: index into Machine::rotary
  double half_width = 0.0;  ///< mm, rad or mm/mm
  BoundSource source = BoundSource::assumed;
};

/// Every bound in force that is above 0, in the order of BoundKind.
std::vector<Bound> bounds_in_force(const Machine& machine);

/// What a class assumes: every field is set but index_wave_rad, which is `wave_per_sigma` times the
/// sigma of the axis: a wave of that amplitude scatters as much as the sigma says.
StatedBounds assumed_bounds(MachineClass machine_class);
inline constexpr double wave_per_sigma = 1.4;

/// Standard uncertainty of the stylus centre assumed where `offset_u` does not state one [mm].
double assumed_offset_u_mm(MachineClass machine_class);

/// All zero: a statement that nothing of this kind disturbs.
StatedBounds no_disturbance();

}  // namespace pivotrace
