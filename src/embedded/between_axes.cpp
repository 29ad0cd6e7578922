// How two axes lie to each other: distance and angle, with U95.
#include "embedded/angles.h"
#include "embedded/outcome.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {
namespace {

/// One of two lines, from the first nominal centre [mm].
struct Found {
  Vector point;
  Vector direction;
  Frame frame;
  real cosine;  ///< of the lean from nominal
};

Found found(const pivotrace_setup& setup, const pivotrace_result& result, int k) {
  const pivotrace_axis_result& axis = result.axis[k];
  Found line;
  set_frame(line.frame, vector_of(setup.axis[k].direction));
  line.point = mm_per_count * difference(setup.axis[k].centre, setup.axis[0].centre) +
               Vector{{axis.location[0].value, axis.location[1].value, axis.location[2].value}};
  line.direction = {{axis.direction[0], axis.direction[1], axis.direction[2]}};
  line.cosine = dot(line.direction, line.frame.along);
  return line;
}

/// Angle between directions of this sine and cosine: the complement to a right angle, whose tangent is
/// halved twice until it is small.
real angle_of(real sine, real cosine) {
  real part = magnitude(cosine) / (real(1) + sine);
  part = part / (real(1) + contact::square_root(real(1) + part * part));
  part = part / (real(1) + contact::square_root(real(1) + part * part));
  const real complement = real(8) * arc_tangent(part);
  return real(1.5707963267948966) + (cosine < real(0) ? complement : -complement);
}

/// Derivatives by the four unknowns of one line.
struct Slopes {
  real distance[numbers_an_axis];
  real crossing[numbers_an_axis];
};

/// `side` = +1 for the second line. A small turn of a line moves its foot of the common normal, which
/// lies `foot` from its point, and with it the distance (derived here).
Slopes slopes(const Found& line, const Found& other, const Vector& normal, real sine, real side) {
  const real cosine = dot(line.direction, other.direction);
  const Vector apart = other.point - line.point;
  const real foot =
      (dot(apart, line.direction) - cosine * dot(apart, other.direction)) / (sine * sine);
  const Vector towards = (real(1) / sine) * contact::square_to(other.direction, line.direction);
  Slopes slope{};
  slope.distance[0] = side * dot(normal, line.frame.across[0]);
  slope.distance[1] = side * dot(normal, line.frame.across[1]);
  slope.distance[2] = foot * line.cosine * slope.distance[0];
  slope.distance[3] = foot * line.cosine * slope.distance[1];
  slope.crossing[2] = -line.cosine * dot(towards, line.frame.across[0]);
  slope.crossing[3] = -line.cosine * dot(towards, line.frame.across[1]);
  return slope;
}

bool two_of_one_side(const pivotrace_survey& survey) {
  return survey.at_fault == 0 && survey.setup->axes == 2 &&
         survey.setup->axis[0].side == survey.setup->axis[most_axes - 1].side;
}

int32_t compare(const pivotrace_setup& setup, const pivotrace_result& result,
                pivotrace_value& distance, pivotrace_value& crossing) {
  const Found first = found(setup, result, 0);
  const Found second = found(setup, result, most_axes - 1);
  const Vector across = cross(first.direction, second.direction);
  const real sine = contact::length(across);
  if (!(sine > real(1e-5))) return PIVOTRACE_UNDETERMINED;
  const Vector normal = (real(1) / sine) * across;
  distance.value = dot(second.point - first.point, normal);
  crossing.value = angle_of(sine, dot(first.direction, second.direction));
  real by_distance[axis_unknowns] = {};
  real by_crossing[axis_unknowns] = {};
  for (int k = 0; k < most_axes; ++k) {
    const Slopes slope = k == 0 ? slopes(first, second, normal, sine, real(-1))
                                : slopes(second, first, normal, sine, real(1));
    for (int i = 0; i < numbers_an_axis; ++i) {
      by_distance[numbers_an_axis * k + i] = slope.distance[i];
      by_crossing[numbers_an_axis * k + i] = slope.crossing[i];
    }
  }
  state_uncertainty(result, by_distance, real(0), distance);
  state_uncertainty(result, by_crossing, real(0), crossing);
  return PIVOTRACE_OK;
}

}  // namespace
}  // namespace pivotrace::PIVOTRACE_EMBEDDED

using namespace pivotrace::PIVOTRACE_EMBEDDED;

extern "C" int32_t pivotrace_between_axes(const pivotrace_survey* survey,
                                          const pivotrace_result* result, pivotrace_value* distance,
                                          pivotrace_value* crossing) {
  if (survey == nullptr || result == nullptr || distance == nullptr || crossing == nullptr) {
    return PIVOTRACE_NO_POINTER;
  }
  if (!two_of_one_side(*survey)) return PIVOTRACE_BAD_SETUP;
  return compare(*survey->setup, *result, *distance, *crossing);
}
