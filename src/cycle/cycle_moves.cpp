#include "cycle/cycle_moves.h"

namespace pivotrace {

void CycleMoves::up_to_safe_height() const {
  steps_.add(MoveStep{MoveKind::rapid, {std::nullopt, std::nullopt, safe_height_}, {}});
}

void CycleMoves::back_up() const {
  steps_.add(MoveStep{MoveKind::feed, {std::nullopt, std::nullopt, safe_height_}, feed_});
  up_to_safe_height();
}

void CycleMoves::rapid_over(const Vec& shown) const {
  steps_.add(MoveStep{MoveKind::rapid, {shown[0], shown[1], std::nullopt}, {}});
}

void CycleMoves::down_to(const Vec& shown) const {
  rapid_over(shown);
  steps_.add(MoveStep{MoveKind::guarded, {std::nullopt, std::nullopt, shown[2]}, feed_});
}

void CycleMoves::guarded(const Vec& to, Retreat retreat) const {
  steps_.add(MoveStep{MoveKind::guarded, {to[0], to[1], to[2]}, feed_, retreat});
}

void CycleMoves::back_to(const Vec& to) const {
  steps_.add(MoveStep{MoveKind::feed, {to[0], to[1], to[2]}, feed_});
}

void CycleMoves::read_trip_point() const {
  for (int i = 0; i < 3; ++i) {
    steps_.set(trip_[i], machine_value(MachineValue::trip_point, linear_letters[i]));
  }
}

void CycleMoves::demand(const Value& left, Comparison comparison, const Value& right,
                        const std::string& alarm, Retreat retreat) const {
  steps_.add(DemandStep{{left, comparison, right}, alarm, retreat});
}

}  // namespace pivotrace
