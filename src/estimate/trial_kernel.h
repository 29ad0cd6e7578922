// One refit for any scalar. Included once per processor it is compiled for: see trial_refit.h.
#pragma once

#include "estimate/trial_refit.h"
#include "pivotrace/contact/chain.h"
#include "pivotrace/contact/gap.h"
#include "pivotrace/contact/near_line.h"

namespace pivotrace::trial {

template <class S>
class Refit {
 public:
  Refit(const Problem& problem, double* scratch)
      : p_(problem),
        shown_(scratch),
        gap_(shown_ + 3 * problem.touches * S::count),
        step_(gap_ + problem.readings * S::count),
        prior_(step_ + problem.unknowns * S::count),
        unknowns_(nullptr) {}

  void run(const double* draws, double* unknowns) {
    unknowns_ = unknowns;
    set_touches(draws);
    for (int i = 0; i < p_.unknowns; ++i) put(unknowns_, i, S(p_.best[i]));
    S alive = S(1.0);
    for (int iteration = 0; iteration < most_steps; ++iteration) {
      measure_gaps();
      const S biggest = work_out_step();
      for (int i = 0; i < p_.unknowns; ++i) put(unknowns_, i, x(i) + alive * get(step_, i));
      if (!still_going(biggest, alive)) return;
    }
  }

 private:
  using V = contact::Vec3<S>;

  static S get(const double* from, int i) { return S::from(from + i * S::count); }
  static void put(double* to, int i, const S& value) { value.to(to + i * S::count); }
  static V vec(const double (&v)[3]) { return {{S(v[0]), S(v[1]), S(v[2])}}; }
  S x(int i) const { return get(unknowns_, i); }

  /// Lanes that have settled stand still, so that none depends on its neighbours.
  static bool still_going(const S& biggest, S& alive) {
    double step[S::count];
    double on[S::count];
    biggest.to(step);
    alive.to(on);
    bool any = false;
    for (int i = 0; i < S::count; ++i) {
      if (step[i] < settled_step) on[i] = 0.0;
      any = any || on[i] != 0.0;
    }
    alive = S::from(on);
    return any;
  }

  // ---- the touches of the trial ----------------------------------------------------------------

  /// Fresh errors along each outward normal; what is drawn for the priors is put aside.
  void set_touches(const double* draws) {
    const double* const shared = draws + p_.commons * S::count;
    const double* random = shared + p_.shared * S::count;
    const int* shared_of = p_.shared_of;
    const double* by_shared = p_.by_shared;
    int reading = 0;
    int touch = 0;
    for (int s = 0; s < p_.stations; ++s) {
      const int shares = p_.station[s].shared;
      const double* own = random + p_.random_effects * S::count;
      for (int t = 0; t < p_.station[s].touches; ++t, ++touch) {
        V shown = vec(p_.touch[touch].shown_mm);
        for (int r = 0; r < p_.touch[touch].readings; ++r, ++reading) {
          S error = error_of(reading, draws, random) + S(p_.touch_sigma_mm) * get(own, 0);
          own += S::count;
          for (int k = 0; k < shares; ++k) {
            error = error + S(by_shared[k]) * get(shared, shared_of[k]);
          }
          by_shared += shares;
          for (int k = 0; k < 3; ++k) {
            shown[k] = shown[k] + S(p_.outward[3 * reading + k]) * error;
          }
        }
        for (int k = 0; k < 3; ++k) put(shown_, 3 * touch + k, shown[k]);
      }
      random = own;
      shared_of += shares;
    }
    for (int k = 0; k < p_.priors; ++k) put(prior_, k, get(random, k));
  }

  S error_of(int reading, const double* common, const double* random) const {
    S error = S(0.0);
    for (int c = 0; c < p_.commons; ++c) {
      error = error + S(p_.by_common[reading * p_.commons + c]) * get(common, c);
    }
    for (int k = 0; k < p_.random_effects; ++k) {
      error = error + S(p_.by_random[reading * p_.random_effects + k]) * get(random, k);
    }
    return error;
  }

  // ---- gaps ------------------------------------------------------------------------------------

  static contact::NearLine<S> near_line(const ChartedLine& line) {
    return {vec(line.point), vec(line.direction), vec(line.first), vec(line.second)};
  }

  contact::Chain<S> chain_at_zero() const {
    contact::Chain<S> chain;
    for (int k = 0; k < p_.axes; ++k) {
      const AxisRow& row = p_.axis[k];
      const contact::NearLine<S> line = near_line(row.line);
      const int u = row.unknown;
      if (u < 0) {
        chain.add(row.tool_side, line.point, line.direction, S(row.sense));
      } else {
        chain.add(row.tool_side, contact::shifted_point(line, x(u), x(u + 1)),
                  contact::tilted_direction(line, x(u + 2), x(u + 3)).direction, S(row.sense));
      }
    }
    return chain;
  }

  void stand_at(contact::Chain<S>& chain, const StationRow& station) const {
    for (int k = 0; k < p_.axes; ++k) {
      S more = S(0.0);
      bool reversal = false;
      for (int e = 0; e < p_.effects; ++e) {
        if (p_.effect[e].reversal_axis != k) continue;
        reversal = true;
        const int u = p_.effect[e].unknown;
        more = more + (x(u) - S(p_.best[u])) * S(station.reached_from[k]);
      }
      if (reversal) {
        turn_on(chain.axes[k], S(station.cosine[k]), S(station.sine[k]), more);
      } else if (station.sine[k] != 0.0 || station.cosine[k] != 1.0) {
        chain.axes[k].stand_at(S(station.cosine[k]), S(station.sine[k]));
      }
    }
  }

  /// A little further than the angle with this cosine and sine: sums of angles with the series of
  /// the small one, which leave 1e-17 below 0.005 rad.
  static void turn_on(contact::Axis<S>& axis, const S& cosine, const S& sine, const S& more) {
    const S square = more * more;
    const S s = more * (S(1.0) - square / S(6.0) * (S(1.0) - square / S(20.0)));
    const S c =
        S(1.0) - square / S(2.0) * (S(1.0) - square / S(12.0) * (S(1.0) - square / S(30.0)));
    axis.stand_at(cosine * c - sine * s, sine * c + cosine * s);
  }

  contact::Place<S> place(const PlaceRow& row) const {
    const contact::NearLine<S> line = near_line(row.line);
    const int u = row.unknown;
    const S radius = S(row.radius_offset_mm);
    contact::Place<S> place;
    place.radius = row.radius_unknown < 0 ? radius : x(row.radius_unknown) + radius;
    switch (static_cast<ArtefactKind>(row.kind)) {
      case ArtefactKind::ball: place.point = line.point + V{{x(u), x(u + 1), x(u + 2)}}; break;
      case ArtefactKind::pin:
      case ArtefactKind::bore:
        place.point = contact::shifted_point(line, x(u), x(u + 1));
        place.direction = contact::tilted_direction(line, x(u + 2), x(u + 3)).direction;
        break;
      case ArtefactKind::flat:
        place.point = line.point + x(u) * line.direction;
        place.direction = contact::tilted_direction(line, x(u + 1), x(u + 2)).direction;
        break;
    }
    return place;
  }

  void measure_gaps() {
    const contact::Chain<S> at_zero = chain_at_zero();
    contact::Place<S> where;
    int known = -1;
    int reading = 0;
    int touch = 0;
    for (int s = 0; s < p_.stations; ++s) {
      contact::Chain<S> chain = at_zero;
      stand_at(chain, p_.station[s]);
      for (int t = 0; t < p_.station[s].touches; ++t, ++touch) {
        if (p_.touch[touch].place != known) {
          known = p_.touch[touch].place;
          where = place(p_.place[known]);
        }
        reading += measure_touch(chain, where, touch, reading);
      }
    }
  }

  /// Writes the readings of one touch; returns how many they are.
  int measure_touch(const contact::Chain<S>& chain, const contact::Place<S>& where, int touch,
                    int reading) {
    const TouchRow& row = p_.touch[touch];
    contact::Reading<S> at;
    at.flip = row.flip;
    at.stylus_offset = vec(p_.stylus_offset_mm);
    for (int k = 0; k < 3; ++k) at.shown[k] = get(shown_, 3 * touch + k);
    S more = S(0.0);
    for (int e = 0; e < p_.effects; ++e) {
      const EffectAmount& amount = p_.effect_amount[touch * p_.effects + e];
      const S& how_much = x(p_.effect[e].unknown);
      at.shown = at.shown + how_much * vec(amount.shown);
      at.stylus_offset = at.stylus_offset + how_much * vec(amount.arm);
      more = more + how_much * S(amount.gap);
    }
    const V p = contact::stylus_in_carried(chain, p_.place[row.place].last, at);
    if (row.readings == 3) {
      for (int k = 0; k < 3; ++k) put(gap_, reading + k, p[k] - where.point[k]);
      return 3;
    }
    const auto kind = static_cast<ArtefactKind>(p_.place[row.place].kind);
    put(gap_, reading, contact::gap(kind, where, S(p_.stylus_radius_mm), p) + more);
    return 1;
  }

  // ---- the step --------------------------------------------------------------------------------

  /// -(gain gap + prior gain off), four unknowns at a time; returns the largest.
  S work_out_step() {
    S biggest = S(0.0);
    constexpr int block = 4;
    for (int first = 0; first < p_.unknowns; first += block) {
      const int wide = p_.unknowns - first < block ? p_.unknowns - first : block;
      S sum[block];
      for (int b = 0; b < wide; ++b) sum[b] = prior_step(first + b);
      if (wide == block) {
        add_gaps<block>(first, sum);
      } else {
        for (int b = 0; b < wide; ++b) add_gaps<1>(first + b, sum + b);
      }
      for (int b = 0; b < wide; ++b) {
        put(step_, first + b, -sum[b]);
        biggest = larger_of(biggest, absolute(sum[b]));
      }
    }
    return biggest;
  }

  template <int Rows>
  void add_gaps(int first, S* sum) const {
    const double* gain = p_.gain + first * p_.readings;
    S own[Rows];
    for (int b = 0; b < Rows; ++b) own[b] = sum[b];
    for (int r = 0; r < p_.readings; ++r) {
      const S gap = get(gap_, r);
      for (int b = 0; b < Rows; ++b) own[b] = own[b] + S(gain[b * p_.readings + r]) * gap;
    }
    for (int b = 0; b < Rows; ++b) sum[b] = own[b];
  }

  S prior_step(int unknown) const {
    S sum = S(0.0);
    for (int k = 0; k < p_.priors; ++k) {
      S off = get(prior_, k);
      for (int i = 0; i < p_.unknowns; ++i) {
        const double by = p_.prior_by_unknown[k * p_.unknowns + i];
        if (by != 0.0) off = off + S(by) * (x(i) - S(p_.best[i]));
      }
      sum = sum + S(p_.prior_gain[unknown * p_.priors + k]) * off;
    }
    return sum;
  }

  const Problem& p_;
  double* shown_;  ///< (3 touches)
  double* gap_;    ///< (m)
  double* step_;   ///< (p)
  double* prior_;  ///< (priors)
  double* unknowns_;
};

}  // namespace pivotrace::trial
