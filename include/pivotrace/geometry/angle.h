// The one place where degrees, radians and seconds of arc meet.
#pragma once

#include <compare>
#include <numbers>

namespace pivotrace {

/// An angle that cannot be mistaken for a bare number. Internally radians.
class Angle {
 public:
  constexpr Angle() = default;
  static constexpr Angle from_radians(double radians) { return Angle(radians); }
  static constexpr Angle from_degrees(double degrees) {
    return Angle(degrees * (std::numbers::pi / 180.0));
  }
  static constexpr Angle from_arcsec(double arcsec) { return from_degrees(arcsec / 3600.0); }

  constexpr double radians() const { return radians_; }
  constexpr double degrees() const { return radians_ * (180.0 / std::numbers::pi); }
  constexpr double arcsec() const { return degrees() * 3600.0; }

  constexpr auto operator<=>(const Angle&) const = default;
  constexpr Angle operator-() const { return Angle(-radians_); }
  constexpr Angle operator+(Angle other) const { return Angle(radians_ + other.radians_); }
  constexpr Angle operator-(Angle other) const { return Angle(radians_ - other.radians_); }

 private:
  constexpr explicit Angle(double radians) : radians_(radians) {}
  double radians_ = 0.0;
};

constexpr double rad_from_deg(double degrees) { return Angle::from_degrees(degrees).radians(); }
constexpr double deg_from_rad(double radians) { return Angle::from_radians(radians).degrees(); }
constexpr double rad_from_arcsec(double arcsec) { return Angle::from_arcsec(arcsec).radians(); }
constexpr double arcsec_from_rad(double radians) { return Angle::from_radians(radians).arcsec(); }

/// Lean over a length, as the trade quotes it: mm over 300 mm = 300 tan(angle).
double mm_per_300_from_rad(double radians);

}  // namespace pivotrace
