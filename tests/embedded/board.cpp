// Compiled once for each build (see CMakeLists.txt): the neutral job into the C interface and back.
#include "board.h"

#include <algorithm>
#include <cstring>
#include <memory>

#include "embedded/angles.h"
#include "embedded/quantiles.h"
#include "pivotrace/embedded/core.h"

namespace core = pivotrace::PIVOTRACE_EMBEDDED;

namespace pivotrace::testing {

namespace {

using Three = std::array<std::int32_t, 3>;

void copy(const Three& from, std::int32_t* to) { std::copy(from.begin(), from.end(), to); }

/// Survey of one job with all the memory it needs.
struct Bench {
  pivotrace_setup setup{};
  std::vector<pivotrace_station> stations;
  std::vector<pivotrace_touch> touches;
  pivotrace_survey survey{};
  std::vector<pivotrace_real> work;
  std::int32_t status = 0;

  explicit Bench(const BoardJob& job, std::size_t more_stations = 0, std::size_t more_touches = 0)
      : stations(job.stations.size() + more_stations + 1),
        touches(job.touches() + more_touches + 1) {
    set_up(job);
    status = pivotrace_begin_survey(&survey, &setup, stations.data(),
                                    static_cast<std::int32_t>(stations.size()), touches.data(),
                                    static_cast<std::int32_t>(touches.size()));
  }

  void set_up(const BoardJob& job) {
    setup.axes = static_cast<std::int32_t>(job.axes.size());
    setup.artefacts = static_cast<std::int32_t>(job.artefacts.size());
    for (std::size_t k = 0; k < std::min<std::size_t>(job.axes.size(), PIVOTRACE_AXES); ++k) {
      const BoardAxis& axis = job.axes[k];
      pivotrace_axis& to = setup.axis[k];
      to.side = axis.tool_side ? PIVOTRACE_TOOL_SIDE : PIVOTRACE_WORK_SIDE;
      to.turn = axis.turn;
      copy(axis.direction, to.direction);
      copy(axis.centre, to.centre);
      to.index_sigma_mas = axis.index_sigma_mas;
      to.motion_sigma_nm = axis.motion_sigma_nm;
    }
    for (std::size_t a = 0; a < std::min<std::size_t>(job.artefacts.size(), PIVOTRACE_ARTEFACTS);
         ++a) {
      const BoardArtefact& artefact = job.artefacts[a];
      pivotrace_artefact& to = setup.artefact[a];
      to.kind = artefact.pin ? PIVOTRACE_PIN : PIVOTRACE_BALL;
      to.carried_by = artefact.carried_by;
      copy(artefact.at, to.at);
      copy(artefact.direction, to.direction);
      to.diameter = artefact.diameter;
      to.diameter_u_nm = artefact.diameter_u_nm;
      to.diameter_as = artefact.diameter_as;
    }
    pivotrace_errors& errors = setup.errors;
    errors.touch_sigma_nm = job.errors.touch_sigma_nm;
    errors.station_sigma_nm = job.errors.station_sigma_nm;
    errors.dof = job.errors.dof;
    copy(job.errors.probe_offset_u_nm, errors.probe_offset_u_nm);
    copy(job.errors.scale_u_nm_per_m, errors.scale_u_nm_per_m);
    copy(job.errors.squareness_u_nm_per_m, errors.squareness_u_nm_per_m);
    copy(job.errors.linear_origin, errors.linear_origin);
    errors.location_limit_nm = job.errors.location_limit_nm;
    errors.orientation_limit_mas = job.errors.orientation_limit_mas;
  }

  std::int32_t open(const BoardStation& stay) {
    status = pivotrace_open_station(&survey, stay.angle.data(), stay.side.data(), stay.artefact);
    return status;
  }

  void take_in(const BoardJob& job) {
    for (const BoardStation& stay : job.stations) {
      if (status == PIVOTRACE_OK) open(stay);
      for (const Three& at : stay.touches) {
        if (status == PIVOTRACE_OK) status = pivotrace_add_touch(&survey, at.data());
      }
    }
  }

  /// Fresh memory of exactly the size needed, full of rubbish.
  void make_work() {
    const std::size_t size = pivotrace_work_size(&survey);
    work.assign(size / sizeof(pivotrace_real), pivotrace_real(-1.25e7));
  }

  std::size_t work_bytes() const { return work.size() * sizeof(pivotrace_real); }
};

BoardValue value_of(const pivotrace_value& value) {
  return {double{value.value}, double{value.u}, double{value.U95}, double{value.u_absolute},
          double{value.U95_absolute}};
}

BoardAxisResult axis_of(const pivotrace_axis_result& axis) {
  BoardAxisResult result;
  for (std::size_t c = 0; c < 3; ++c) {
    result.centre[c] = axis.centre[c];
    result.location[c] = value_of(axis.location[c]);
    result.orientation[c] = value_of(axis.orientation[c]);
    result.direction[c] = double{axis.direction[c]};
  }
  result.arm = value_of(axis.arm);
  return result;
}

BoardResult result_of(std::int32_t status, const Bench& bench, const pivotrace_result& found) {
  BoardResult result;
  result.status = status;
  result.exact = found.exact;
  result.undetermined = found.undetermined;
  result.findings = found.findings;
  result.passes = found.passes;
  result.dof = found.dof;
  result.touch_redundancy = found.touch_redundancy;
  result.station_redundancy = found.station_redundancy;
  result.touch_chi2 = double{found.touch_chi2};
  result.station_chi2 = double{found.station_chi2};
  result.touch_sigma_mm = double{found.touch_sigma};
  result.worst_touch = found.worst_touch;
  result.worst_touch_t = double{found.worst_touch_t};
  result.worst_touch_limit = double{found.worst_touch_limit};
  result.worst_station = found.worst_station;
  result.worst_station_F = double{found.worst_station_F};
  result.worst_station_limit = double{found.worst_station_limit};
  for (int k = 0; k < bench.setup.axes && k < PIVOTRACE_AXES; ++k) {
    result.axes.push_back(axis_of(found.axis[k]));
  }
  result.repeatable.assign(std::begin(found.repeatable), std::end(found.repeatable));
  result.absolute.assign(std::begin(found.absolute), std::end(found.absolute));
  pivotrace_value distance{};
  pivotrace_value crossing{};
  result.between_status = pivotrace_between_axes(&bench.survey, &found, &distance, &crossing);
  result.distance = value_of(distance);
  result.crossing = value_of(crossing);
  result.work_size = bench.work_bytes();
  return result;
}

BoardResult fit_bench(Bench& bench) {
  pivotrace_result found;
  std::memset(&found, 0xa5, sizeof(found));
  bench.make_work();
  const std::int32_t status =
      bench.status != PIVOTRACE_OK
          ? bench.status
          : pivotrace_fit(&bench.survey, bench.work.data(), bench.work_bytes(), &found);
  if (bench.status != PIVOTRACE_OK) std::memset(&found, 0, sizeof(found));
  return result_of(status, bench, found);
}

BoardResult fit(const BoardJob& job) {
  Bench bench(job);
  bench.take_in(job);
  return fit_bench(bench);
}

std::vector<BoardResult> update_each_touch(const BoardJob& job) {
  Bench bench(job);
  // Room for every index position there may be: the memory stays where it is from touch to touch.
  Bench whole(job);
  whole.take_in(job);
  whole.make_work();
  bench.work = whole.work;
  std::vector<BoardResult> states;
  for (const BoardStation& stay : job.stations) {
    bench.open(stay);
    for (const Three& at : stay.touches) {
      if (bench.status == PIVOTRACE_OK)
        bench.status = pivotrace_add_touch(&bench.survey, at.data());
      pivotrace_result found;
      const std::int32_t status =
          pivotrace_update(&bench.survey, bench.work.data(), bench.work_bytes(), &found);
      states.push_back(result_of(status, bench, found));
    }
  }
  return states;
}

BoardResult fit_merged(const BoardJob& first, const BoardJob& second, bool artefact_moved) {
  Bench bench(first, second.stations.size(), second.touches());
  bench.take_in(first);
  Bench other(second);
  other.take_in(second);
  bench.status = pivotrace_merge(&bench.survey, &other.survey, artefact_moved ? 1 : 0);
  return fit_bench(bench);
}

BoardSense sense(const BoardJob& job) {
  Bench bench(job);
  bench.take_in(job);
  bench.make_work();
  BoardSense result;
  result.status =
      pivotrace_turn_sense(&bench.survey, bench.work.data(), bench.work_bytes(), &result.other_way);
  return result;
}

std::array<std::int32_t, 2> take_in(const BoardJob& job) {
  Bench bench(job);
  bench.take_in(job);
  return {bench.status, bench.survey.at_fault};
}

std::array<std::size_t, 2> work_sizes(const BoardJob& job) {
  Bench bench(job);
  bench.take_in(job);
  const auto count = [&](bool pin) {
    return static_cast<int>(std::count_if(job.artefacts.begin(), job.artefacts.end(),
                                          [&](const BoardArtefact& a) { return a.pin == pin; }));
  };
  const int diameters =
      static_cast<int>(std::count_if(job.artefacts.begin(), job.artefacts.end(),
                                     [](const BoardArtefact& a) { return a.diameter_as < 0; }));
  const bool motion = std::any_of(job.axes.begin(), job.axes.end(),
                                  [](const BoardAxis& a) { return a.motion_sigma_nm > 0; });
  const int second = job.axes.size() > 1 ? bench.survey.positions[PIVOTRACE_AXES - 1] : 0;
  return {pivotrace_work_size(&bench.survey),
          PIVOTRACE_WORK_SIZE(PIVOTRACE_UNKNOWNS(static_cast<int>(job.axes.size()), count(false),
                                                 count(true), diameters),
                              bench.survey.positions[0], second, motion ? 4 : 1)};
}

/// Numbers out of a string of bytes; 0 when it ends.
class Bytes {
 public:
  Bytes(const std::uint8_t* bytes, std::size_t size) : next_(bytes), end_(bytes + size) {}

  std::uint8_t byte() { return next_ == end_ ? std::uint8_t{0} : *next_++; }
  std::int32_t word() {
    std::uint32_t value = 0;
    for (int i = 0; i < 4; ++i) value = (value << 8U) | byte();
    return static_cast<std::int32_t>(value);
  }
  /// Mostly a sensible number, sometimes the limits of the type or anything at all.
  std::int32_t number(std::int32_t low, std::int32_t high) {
    const std::uint8_t kind = byte();
    if (kind < 4) return INT32_MAX;
    if (kind < 8) return INT32_MIN;
    if (kind < 12) return 0;
    if (kind < 16) return word();
    const auto range = static_cast<std::uint32_t>(high) - static_cast<std::uint32_t>(low) + 1U;
    const std::uint32_t off = static_cast<std::uint32_t>(word()) % (range == 0U ? 1U : range);
    return static_cast<std::int32_t>(static_cast<std::uint32_t>(low) + off);
  }
  /// `usual` three times out of four, so that some inputs go all the way.
  std::int32_t mostly(std::int32_t usual, std::int32_t low, std::int32_t high) {
    return byte() < 250 ? usual : number(low, high);
  }

 private:
  const std::uint8_t* next_;
  const std::uint8_t* end_;
};

void hostile_setup(Bytes& bytes, pivotrace_setup& setup) {
  setup.axes = bytes.mostly(1 + bytes.byte() % PIVOTRACE_AXES, -1, 3);
  setup.artefacts = bytes.mostly(1 + bytes.byte() % 2, -1, 3);
  for (pivotrace_axis& axis : setup.axis) {
    axis.side = bytes.mostly(bytes.byte() % 4 == 0, -1, 2);
    axis.turn = bytes.mostly(bytes.byte() % 2 == 0 ? 1 : -1, -2, 2);
    for (int k = 0; k < 3; ++k)
      axis.direction[k] = bytes.mostly(bytes.byte() % 3 - 1, -1000000, 1000000);
    for (int k = 0; k < 3; ++k)
      axis.centre[k] = bytes.mostly(bytes.byte() * 10000, -1000000000, 1000000000);
    axis.index_sigma_mas = bytes.mostly(5000, 0, 3600000);
    axis.motion_sigma_nm = bytes.mostly(bytes.byte() % 4 == 0 ? 1000 : 0, 0, 1000000);
  }
  for (int a = 0; a < PIVOTRACE_ARTEFACTS; ++a) {
    pivotrace_artefact& artefact = setup.artefact[a];
    artefact.kind = bytes.mostly(bytes.byte() % 3 == 0, -1, 2);
    artefact.carried_by = bytes.mostly(bytes.byte() % 3 - 1, -2, 2);
    for (int k = 0; k < 3; ++k)
      artefact.at[k] = bytes.mostly(bytes.byte() * 10000, -1000000000, 1000000000);
    for (int k = 0; k < 3; ++k)
      artefact.direction[k] = bytes.mostly(bytes.byte() % 3 - 1, -1000000, 1000000);
    artefact.diameter = bytes.mostly(2000000, 10000, 100000000);
    artefact.diameter_u_nm = bytes.mostly(bytes.byte() % 2 == 0 ? 500 : 0, 0, 10000000);
    artefact.diameter_as = bytes.mostly(a == 1 && bytes.byte() % 2 == 0 ? 0 : -1, -2, 2);
  }
  pivotrace_errors& errors = setup.errors;
  errors.touch_sigma_nm = bytes.mostly(500, 10, 10000000);
  errors.station_sigma_nm = bytes.mostly(2000, 0, 10000000);
  errors.dof = bytes.mostly(bytes.byte() % 2 == 0 ? 8 : 0, 0, 1000);
  for (int k = 0; k < 3; ++k) {
    errors.probe_offset_u_nm[k] = bytes.mostly(1000, 0, 100000000);
    errors.scale_u_nm_per_m[k] = bytes.mostly(8000, 0, 100000000);
    errors.squareness_u_nm_per_m[k] = bytes.mostly(8000, 0, 100000000);
    errors.linear_origin[k] = bytes.mostly(0, -1000000000, 1000000000);
  }
  errors.location_limit_nm = bytes.mostly(500000, 1, 100000000);
  errors.orientation_limit_mas = bytes.mostly(1800000, 1, 100000000);
}

/// A ball at a rough place, its touches somewhere near its surface; or anything.
void hostile_survey(Bytes& bytes, Bench& bench) {
  const int stations = bytes.byte() % 12;
  const std::uint8_t style = bytes.byte();
  std::int32_t angle[PIVOTRACE_AXES] = {};
  for (int s = 0; s < stations; ++s) {
    for (std::int32_t& a : angle) {
      a = style % 4 == 0 ? bytes.number(-2000000000, 2000000000)
                         : (bytes.byte() % 12) * (style % 4 == 1 ? 30000000 : 1000);
    }
    std::int32_t side[PIVOTRACE_AXES] = {};
    for (std::int32_t& from : side) from = bytes.mostly(bytes.byte() % 3 - 1, -2, 2);
    pivotrace_open_station(&bench.survey, angle, bytes.byte() % 2 == 0 ? side : nullptr,
                           bytes.mostly(bytes.byte() % 2, -1, 2));
    const int touches = bytes.byte() % 7;
    for (int t = 0; t < touches; ++t) {
      std::int32_t at[3];
      for (std::int32_t& x : at) {
        x = style % 8 < 6 ? (bytes.byte() - 128) * 20000 : bytes.number(-1000000000, 1000000000);
      }
      pivotrace_add_touch(&bench.survey, at);
    }
    if (bytes.byte() % 16 == 0) pivotrace_take_back_touch(&bench.survey);
  }
}

bool believable(double value, double most) { return value >= -most && value <= most; }

/// No result may be wild: 100 mm from nominal, lean over a quarter, an uncertainty beyond the limit.
bool tame(const pivotrace_result& result, const pivotrace_setup& setup) {
  for (int k = 0; k < setup.axes; ++k) {
    for (int c = 0; c < 3; ++c) {
      const pivotrace_value& location = result.axis[k].location[c];
      const pivotrace_value& orientation = result.axis[k].orientation[c];
      if (!believable(double{location.value}, 100.0)) return false;
      if (!believable(double{orientation.value}, 0.3)) return false;
      if (!believable(double{result.axis[k].direction[c]}, 1.001)) return false;
      if (result.exact == 0) continue;
      if (!believable(double{location.U95_absolute}, setup.errors.location_limit_nm * 1.01e-6)) {
        return false;
      }
      if (!believable(double{orientation.U95_absolute}, 1e9)) return false;
    }
  }
  return believable(double{result.worst_touch_t}, 1e30) &&
         believable(double{result.worst_station_F}, 1e38) &&
         believable(double{result.touch_chi2}, 1e38);
}

/// Memory with a guard behind it.
class Guarded {
 public:
  explicit Guarded(std::size_t reals) : memory_(reals + guard, mark), reals_(reals) {}
  pivotrace_real* data() { return memory_.data(); }
  bool whole() const {
    return std::all_of(memory_.begin() + static_cast<std::ptrdiff_t>(reals_), memory_.end(),
                       [](pivotrace_real x) { return x == mark; });
  }

 private:
  static constexpr std::size_t guard = 32;
  static constexpr pivotrace_real mark = pivotrace_real(12345.0);
  std::vector<pivotrace_real> memory_;
  std::size_t reals_;
};

/// 0, or the number of the first thing that went wrong.
std::int32_t hostile(const std::uint8_t* input, std::size_t input_size) {
  Bytes bytes(input, input_size);
  Bench bench{BoardJob{}, 10, 40};
  hostile_setup(bytes, bench.setup);
  bench.status = pivotrace_begin_survey(&bench.survey, &bench.setup, bench.stations.data(), 11,
                                        bench.touches.data(), 41);
  hostile_survey(bytes, bench);
  const std::size_t needed = pivotrace_work_size(&bench.survey);
  const std::size_t reals = needed / sizeof(pivotrace_real);
  Guarded work(reals);
  pivotrace_result result;
  for (const std::int32_t job : {PIVOTRACE_JOB_UPDATE, PIVOTRACE_JOB_FIT}) {
    const bool fit = job == PIVOTRACE_JOB_FIT;
    const auto run = fit ? pivotrace_fit : pivotrace_update;
    if (needed > 0) {
      const std::int32_t small = run(&bench.survey, work.data(), needed - 1, &result);
      if (bench.status == PIVOTRACE_OK && small != PIVOTRACE_TOO_SMALL) return 1;
    }
    const std::int32_t status = run(&bench.survey, work.data(), needed, &result);
    if (!work.whole()) return 2;
    if (status < 0 || status > PIVOTRACE_NOT_ALIKE || status == PIVOTRACE_BUSY) return 3;
    if (status == PIVOTRACE_OK && bench.status != PIVOTRACE_OK) return 4;
    if (status == PIVOTRACE_OK && !tame(result, bench.setup)) return fit ? 5 : 6;
    if (status == PIVOTRACE_OK && fit && result.undetermined != 0) return 7;
  }
  std::int32_t other_way = 0;
  pivotrace_turn_sense(&bench.survey, work.data(), needed, &other_way);
  if (!work.whole()) return 8;
  if (pivotrace_fit(nullptr, work.data(), needed, &result) != PIVOTRACE_NO_POINTER) return 9;
  return 0;
}

}  // namespace

// Which of the four this file is compiled as.
const Build& PIVOTRACE_BUILD(board)() {
  static const Build build = [] {
    Build made;
    made.axes = PIVOTRACE_AXES;
    made.is_double = PIVOTRACE_DOUBLE != 0;
    made.name = std::string(made.is_double ? "double" : "float") +
                (made.axes == 1 ? ", one axis" : ", two axes");
    made.result_size = sizeof(pivotrace_result);
    made.fit = fit;
    made.update_each_touch = update_each_touch;
    made.fit_merged = fit_merged;
    made.sense = sense;
    made.take_in = take_in;
    made.work_sizes = work_sizes;
    made.sine = [](std::int32_t a) { return double(core::direction_of(a).sine) / core::one; };
    made.cosine = [](std::int32_t a) { return double(core::direction_of(a).cosine) / core::one; };
    made.arc_tangent = [](double t) { return double{core::arc_tangent(pivotrace_real(t))}; };
    made.student_975 = [](std::int32_t dof) { return double{core::student_975(dof)}; };
    made.fisher_f = [](double z, double d, double dof) {
      return double{core::fisher_f(pivotrace_real(z), pivotrace_real(d), pivotrace_real(dof))};
    };
    made.hostile = hostile;
    made.deviate_of_any = [](std::int32_t tests) { return double{core::deviate_of_any(tests)}; };
    return made;
  }();
  return build;
}

}  // namespace pivotrace::testing
