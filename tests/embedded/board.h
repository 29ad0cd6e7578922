// The builds of the embedded core behind one face, so that one test program can compare them.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <string>
#include <vector>

namespace pivotrace::testing {

struct BoardAxis {
  bool tool_side = false;
  int turn = 1;
  std::array<std::int32_t, 3> direction{0, 0, 1};
  std::array<std::int32_t, 3> centre{};  ///< 10 nm
  std::int32_t index_sigma_mas = 5000;
  std::int32_t motion_sigma_nm = 0;
};

struct BoardArtefact {
  bool pin = false;
  int carried_by = 0;
  std::array<std::int32_t, 3> at{};
  std::array<std::int32_t, 3> direction{0, 0, 1};
  std::int32_t diameter = 3140000;
  std::int32_t diameter_u_nm = 600;
  int diameter_as = -1;
};

struct BoardErrors {
  std::int32_t touch_sigma_nm = 500;
  std::int32_t station_sigma_nm = 2000;
  std::int32_t dof = 8;
  std::array<std::int32_t, 3> probe_offset_u_nm{};
  std::array<std::int32_t, 3> scale_u_nm_per_m{};
  std::array<std::int32_t, 3> squareness_u_nm_per_m{};
  std::array<std::int32_t, 3> linear_origin{};
  std::int32_t location_limit_nm = 500000;
  std::int32_t orientation_limit_mas = 1800000;
};

struct BoardStation {
  std::array<std::int32_t, 2> angle{};
  std::array<std::int32_t, 2> side{};
  int artefact = 0;
  std::vector<std::array<std::int32_t, 3>> touches;
};

struct BoardJob {
  std::vector<BoardAxis> axes;
  std::vector<BoardArtefact> artefacts;
  BoardErrors errors;
  std::vector<BoardStation> stations;

  std::size_t touches() const {
    std::size_t sum = 0;
    for (const BoardStation& stay : stations) sum += stay.touches.size();
    return sum;
  }
};

struct BoardValue {
  double value = 0.0;
  double u = 0.0;
  double U95 = 0.0;
  double u_absolute = 0.0;
  double U95_absolute = 0.0;
};

struct BoardAxisResult {
  std::array<std::int32_t, 3> centre{};
  std::array<BoardValue, 3> location;
  std::array<BoardValue, 3> orientation;
  std::array<double, 3> direction{};
  BoardValue arm;
};

struct BoardResult {
  std::int32_t status = -1;
  int exact = 0;
  int undetermined = 0;
  int findings = 0;
  int passes = 0;
  int dof = 0;
  int touch_redundancy = 0;
  int station_redundancy = 0;
  double touch_chi2 = 0.0;
  double station_chi2 = 0.0;
  double touch_sigma_mm = 0.0;
  int worst_touch = -1;
  double worst_touch_t = 0.0;
  double worst_touch_limit = 0.0;
  int worst_station = -1;
  double worst_station_F = 0.0;
  double worst_station_limit = 0.0;
  std::vector<BoardAxisResult> axes;
  std::vector<double> repeatable;  ///< lower triangle by rows
  std::vector<double> absolute;
  BoardValue distance;  ///< of two axes on one side
  BoardValue crossing;
  std::int32_t between_status = -1;
  std::size_t work_size = 0;
};

struct BoardSense {
  std::int32_t status = -1;
  std::int32_t other_way = 0;
};

/// One build. All calls are free of state: everything happens in memory made for the call.
struct Build {
  std::string name;
  int axes = 1;
  bool is_double = false;
  std::size_t result_size = 0;
  std::function<BoardResult(const BoardJob&)> fit;
  /// The state after every touch, in order.
  std::function<std::vector<BoardResult>(const BoardJob&)> update_each_touch;
  /// Fit of two runs put together by the core.
  std::function<BoardResult(const BoardJob& first, const BoardJob& second, bool artefact_moved)>
      fit_merged;
  std::function<BoardSense(const BoardJob&)> sense;
  /// What pivotrace_begin_survey and the calls behind it say, and which fault.
  std::function<std::array<std::int32_t, 2>(const BoardJob&)> take_in;
  /// Work memory by the function and by the macro.
  std::function<std::array<std::size_t, 2>(const BoardJob&)> work_sizes;
  std::function<double(std::int32_t)> sine;
  std::function<double(std::int32_t)> cosine;
  std::function<double(double)> arc_tangent;
  std::function<double(std::int32_t)> student_975;
  std::function<double(double, double, double)> fisher_f;
  std::function<double(std::int32_t)> deviate_of_any;
  /// Feeds bytes as set-up, calls and memory sizes; returns the last status. See hostile.h.
  std::function<std::int32_t(const std::uint8_t* bytes, std::size_t size)> hostile;
};

// Named by PIVOTRACE_BUILD: number and axes, then which parts are in.
const Build& board_f32_1_1111();
const Build& board_f32_2_1111();
const Build& board_f64_1_1111();
const Build& board_f64_2_1111();
const Build& board_f32_1_0000();
const Build& board_f32_2_0000();

inline const Build& board_f32_1() { return board_f32_1_1111(); }
inline const Build& board_f32_2() { return board_f32_2_1111(); }
inline const Build& board_f64_1() { return board_f64_1_1111(); }
inline const Build& board_f64_2() { return board_f64_2_1111(); }
/// Balls on work-side axes only.
inline const Build& board_f32_1_plain() { return board_f32_1_0000(); }
inline const Build& board_f32_2_plain() { return board_f32_2_0000(); }

}  // namespace pivotrace::testing
