#include "cycle/cycle_tables.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "pivotrace/geometry/angle.h"

namespace pivotrace {

namespace {

constexpr std::array<const char*, touch_columns> column_names = {
    "out X", "out Y", "out Z", "share X", "share Y", "share Z", "beside"};

double column_of(const CycleTouch& touch, int column) {
  if (column == touch_columns - 1) return touch.beside ? 1.0 : 0.0;
  return tidy(column < 3 ? touch.direction[column] : touch.share[column - 3]);
}

/// Coordinates need no more than four decimals of their gains: 0.0001 of 3 mm is nothing.
double gain_written(double gain) { return std::round(gain * 1e4) / 1e4 + 0.0; }

/// Two decimals: short tables, and no less than what was foreseen.
double rounded_up(double share) { return std::ceil(share * 100.0 - 1e-6) / 100.0; }

bool all_equal(const std::vector<Value>& numbers) {
  return std::all_of(numbers.begin(), numbers.end(), [&](const Value& number) {
    return *number.number() == *numbers.front().number();
  });
}

/// Different touches of one visit over all stays; stays that touch alike share rows.
struct TouchRows {
  std::vector<CycleTouch> rows;
  std::vector<Value> starts;  ///< per stay: its first row

  explicit TouchRows(const std::vector<const CycleVisit*>& visits) {
    const auto same = [](const CycleTouch& a, const CycleTouch& b) {
      return (a.direction - b.direction).norm() < 1e-9 && (a.share - b.share).norm() < 1e-9 &&
             a.beside == b.beside;
    };
    for (const CycleVisit* visit : visits) {
      const std::vector<CycleTouch>& touches = visit->touches;
      const auto found =
          std::search(rows.begin(), rows.end(), touches.begin(), touches.end(), same);
      starts.push_back(count(static_cast<int>(found - rows.begin())));
      if (found == rows.end()) rows.insert(rows.end(), touches.begin(), touches.end());
    }
  }

  bool is_uniform(int column) const {
    const double first = column_of(rows.front(), column);
    return std::all_of(rows.begin(), rows.end(),
                       [&](const CycleTouch& row) { return column_of(row, column) == first; });
  }
};

/// Writes the tables of one part, or none when the part is written out.
class PartWriter {
 public:
  PartWriter(StepRecorder& steps, const CycleJob& job, const Segment& segment, int number)
      : steps_(steps),
        job_(job),
        segment_(segment),
        number_(number),
        looped_(job.is_looped(segment)) {}

  Part write() {
    if (looped_) steps_.heading(fmt::format("TABLES OF PART {}", number_));
    std::vector<StayColumn> angles = angle_columns();
    StayColumn proof = proof_column();
    std::vector<StayColumn> empty = empty_columns();
    std::vector<VisitTable> visits;
    for (std::size_t i = 0; i < segment_.stays.front().visits.size(); ++i) {
      visits.push_back(visit_table(i));
    }
    return {segment_,         number_,          looped_,          std::move(angles),
            std::move(proof), std::move(empty), std::move(visits)};
  }

 private:
  std::string table_name(const std::string& name) const {
    return fmt::format("{}, part {}", name, number_);
  }

  template <class Number>
  std::vector<Value> numbers_of(Number number) const {
    std::vector<Value> numbers;
    for (const CycleStay& stay : segment_.stays) numbers.push_back(number(stay));
    return numbers;
  }

  /// Entries the program never reads are left out.
  StayColumn column(const std::string& name, std::vector<Value> numbers,
                    std::optional<TurnProof> read_for = std::nullopt) {
    if (!looped_ || all_equal(numbers)) return StayColumn(std::move(numbers));
    Table table = steps_.table(table_name(name), static_cast<int>(numbers.size()));
    for (std::size_t i = 0; i < numbers.size(); ++i) {
      const CycleStay& stay = segment_.stays[i];
      if (read_for && stay.proof != *read_for) continue;
      steps_.set_element(table, count(static_cast<int>(i)), numbers[i],
                         fmt::format("{} at station {}", name, stay.number));
    }
    return {std::move(numbers), std::move(table)};
  }

  std::vector<StayColumn> angle_columns() {
    std::vector<StayColumn> columns;
    for (std::size_t i = 0; i < job_.machine.rotary.size(); ++i) {
      columns.push_back(column(fmt::format("angle of {}", job_.machine.rotary[i].letter),
                               numbers_of([&](const CycleStay& stay) {
                                 return angle(deg_from_rad(stay.angles_rad[i]));
                               })));
    }
    return columns;
  }

  StayColumn proof_column() {
    if (looped_ && !std::all_of(segment_.stays.begin(), segment_.stays.end(),
                                [](const CycleStay& s) { return s.proof == TurnProof::none; })) {
      steps_.remark(
          "proof of turn, where a wrong turn could not be felt on the way in: 1 = feel first "
          "that the place is empty, 2 = the operator looks");
    }
    return column("proof of turn", numbers_of([](const CycleStay& stay) {
                    return count(static_cast<int>(stay.proof));
                  }));
  }

  std::vector<StayColumn> empty_columns() {
    std::vector<StayColumn> columns;
    if (!uses_proof(segment_, TurnProof::feel)) return columns;
    for (int i = 0; i < 3; ++i) {
      columns.push_back(
          column(fmt::format("empty {}", linear_letters[i]),
                 numbers_of([i](const CycleStay& stay) { return length(stay.empty_shown_mm[i]); }),
                 TurnProof::feel));
    }
    return columns;
  }

  /// The target; a later visit to the same one has numbers of its own.
  std::string visit_name(std::size_t visit) const {
    const std::vector<CycleVisit>& visits = segment_.stays.front().visits;
    const std::string& target = job_.target_of(visits[visit]).name;
    const auto end = visits.begin() + static_cast<std::ptrdiff_t>(visit);
    const auto before = std::count_if(
        visits.begin(), end, [&](const CycleVisit& v) { return v.target == visits[visit].target; });
    return before == 0 ? target : fmt::format("{}, visit {}", target, before + 1);
  }

  VisitTable visit_table(std::size_t visit) {
    const std::string target = visit_name(visit);
    StayColumn counts = column("touches of " + target, numbers_of([&](const CycleStay& stay) {
                                 return count(static_cast<int>(stay.visits[visit].touches.size()));
                               }));
    StayColumn passes = column("passes on " + target, numbers_of([&](const CycleStay& stay) {
                                 return count(stay.visits[visit].finding_passes + 1);
                               }));
    StayColumn met_off =
        shares_of_rough("finding limit of " + target, visit, &CycleVisit::met_off_mm);
    StayColumn felt_off =
        job_.options.watched
            ? StayColumn(numbers_of([](const CycleStay&) { return Value(1.0); }))
            : shares_of_rough("feeling limit of " + target, visit, &CycleVisit::felt_off_mm);
    std::vector<std::array<StayColumn, 3>> gain = gain_columns(visit, target);
    return {touch_table(visit, target), std::move(counts),   std::move(passes),
            std::move(met_off),         std::move(felt_off), std::move(gain)};
  }

  /// A visit that is not found first does not read it.
  StayColumn shares_of_rough(const std::string& name, std::size_t visit,
                             double CycleVisit::*off_mm) {
    const ProbingDistances& d = job_.plan.distances;
    const double rough = std::max(d.rough, 1e-3);
    // With `limit` added, never beyond where a touch gives up.
    const double most = std::max(0.0, (d.rough + d.search - missed_mm - d.limit) / rough);
    return column(name, numbers_of([&](const CycleStay& stay) {
                    return Value(rounded_up(std::min(stay.visits[visit].*off_mm / rough, most)));
                  }));
  }

  std::string coordinate_name(const LearnedCoordinate& c) const {
    const char letter = linear_letters[c.along];
    return c.axis >= 0 ? fmt::format("centre of {} {}", job_.machine.rotary[c.axis].letter, letter)
                       : fmt::format("{} {}", job_.layout.targets[c.target].name, letter);
  }

  std::vector<std::array<StayColumn, 3>> gain_columns(std::size_t visit,
                                                      const std::string& target) {
    std::vector<std::array<StayColumn, 3>> columns;
    if (!segment_.learns) return columns;
    if (looped_) {
      steps_.remark("gain of a coordinate: its part of how far " + target +
                    " is from its prediction along X, Y, Z");
    }
    for (std::size_t j = 0; j < job_.layout.coordinates.size(); ++j) {
      const auto entry = [&](int along) {
        return column(
            fmt::format("gain of {} from {} {}", coordinate_name(job_.layout.coordinates[j]),
                        target, linear_letters[along]),
            numbers_of([&](const CycleStay& stay) {
              return Value(gain_written(stay.visits[visit].gain(static_cast<int>(j), along)));
            }));
      };
      columns.push_back({entry(0), entry(1), entry(2)});
    }
    return columns;
  }

  TouchTable touch_table(std::size_t visit, const std::string& target) {
    std::vector<const CycleVisit*> visits;
    for (const CycleStay& stay : segment_.stays) visits.push_back(&stay.visits[visit]);
    TouchRows touches(visits);
    StayColumn starts = column("first touch of " + target, std::move(touches.starts));
    std::array<std::optional<Table>, touch_columns> tables;
    if (looped_) tables = write_rows(touches, target);
    return {std::move(visits), std::move(touches.rows), std::move(starts), std::move(tables)};
  }

  /// Touch by touch, so that a reader finds all of one touch together.
  std::array<std::optional<Table>, touch_columns> write_rows(const TouchRows& touches,
                                                             const std::string& target) {
    const auto size = static_cast<int>(touches.rows.size());
    std::array<std::optional<Table>, touch_columns> tables;
    std::string names;
    for (int i = 0; i < touch_columns; ++i) {
      if (touches.is_uniform(i)) continue;
      tables[i] = steps_.table(table_name(fmt::format("{}, {}", column_names[i], target)), size);
      names += std::string(names.empty() ? "" : ", ") + column_names[i];
    }
    steps_.remark(
        "touches of " + target + ": " + names +
        ". Out: from the centre to the stylus. Share: of its excess, in the centre. Beside: 1 = "
        "round the artefact from the touch before, 0 = back along the spindle and across");
    for (int row = 0; row < size; ++row) {
      steps_.remark(fmt::format("touch {}", row + 1));
      for (int i = 0; i < touch_columns; ++i) {
        if (!tables[i]) continue;
        steps_.set_element(*tables[i], count(row), Value(column_of(touches.rows[row], i)));
      }
    }
    return tables;
  }

  StepRecorder& steps_;
  const CycleJob& job_;
  const Segment& segment_;
  int number_;
  bool looped_;
};

}  // namespace

Value StayColumn::at(const LoopIndex& stay) const {
  if (stay.known) return numbers_[*stay.known];
  return table_ ? element(*table_, stay.value) : numbers_.front();
}

bool StayColumn::is_uniform() const { return all_equal(numbers_); }

Value TouchTable::entry(int column, const LoopIndex& stay, const LoopIndex& touch) const {
  if (stay.known) return Value(column_of(visits_[*stay.known]->touches[*touch.known], column));
  const std::optional<Table>& table = tables_[column];
  return table ? element(*table, starts_.at(stay) + touch.value)
               : Value(column_of(rows_.front(), column));
}

Value3 TouchTable::direction(const LoopIndex& stay, const LoopIndex& touch) const {
  return {entry(0, stay, touch), entry(1, stay, touch), entry(2, stay, touch)};
}

Value3 TouchTable::share(const LoopIndex& stay, const LoopIndex& touch) const {
  return {entry(3, stay, touch), entry(4, stay, touch), entry(5, stay, touch)};
}

Value TouchTable::beside(const LoopIndex& stay, const LoopIndex& touch) const {
  return entry(6, stay, touch);
}

bool uses_proof(const Segment& segment, TurnProof proof) {
  return std::any_of(segment.stays.begin(), segment.stays.end(),
                     [proof](const CycleStay& stay) { return stay.proof == proof; });
}

std::vector<Part> write_tables(StepRecorder& steps, const CycleJob& job) {
  std::vector<Part> parts;
  for (const Segment& segment : job.layout.segments) {
    parts.push_back(PartWriter(steps, job, segment, static_cast<int>(parts.size()) + 1).write());
  }
  return parts;
}

}  // namespace pivotrace
