// What a stated value is the value of. Inside the program a name is this type; its one spelling for
// screens and files, and the way back from a file, stand together in value_name.cpp.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "pivotrace/machine/machine.h"

namespace pivotrace {

/// Whose value it is stands before the name of each kind: L is an axis letter, L-M a pair of axes in
/// the order of the machine file, N the name of an artefact.
enum class ValueKind {
  // of one axis
  centre,       ///< L.centre.X, Y, Z: where the axis line pierces the plane it is quoted at [mm]
  quoted_at,    ///< L.quoted_at.X, Y, Z: that plane; chosen, not measured [mm]
  orientation,  ///< L.orientation.A, B, C: lean about X, Y, Z (ISO 230-1) [rad]
  slope,        ///< L.slope.A, B, C: the same lean [mm over 300 mm]
  lean,         ///< L.lean: angle between fitted and nominal direction [rad]
  zero,  ///< L.zero: angle the axis really stands at when it shows 0, counted as it counts [rad]
  pivot_to_stylus,   ///< L.pivot_to_stylus: axis line to stylus-ball centre [mm]
  pivot_to_gauge,    ///< L.pivot_to_gauge: axis line to the gauge line of the spindle [mm]
  radial_range,      ///< L.F_R: spread of the station deviations (ISO 10360-3) [mm]
  tangential_range,  ///< L.F_T
  axial_range,       ///< L.F_A
  // of two axes
  distance,        ///< L-M.distance: signed common normal [mm]
  crossing,        ///< L-M.crossing: angle between the lines [rad]
  foot_on_first,   ///< L-M.foot_on_L.X, Y, Z: end of the common normal [mm]
  foot_on_second,  ///< L-M.foot_on_M.X, Y, Z
  offset,          ///< L-M.offset.X, Y, Z: from line L to line M along the common normal [mm]
  // of an artefact
  position,            ///< N.position.X, Y, Z: carried frame [mm]
  diameter,            ///< N.diameter: of the artefact alone [mm]
  effective_diameter,  ///< N.effective_diameter: with the stylus (bore: less the stylus) [mm]
  height_over,  ///< N.height_over_L: of a face over the line of an axis along it, signed [mm]
};

/// The kind of quantity a value is, and with it the unit it has inside the program.
enum class QuantityKind {
  length,  ///< mm
  angle,   ///< rad
  slope,   ///< mm over a length of 300 mm
};

struct ValueName {
  char axis = '\0';      ///< letter; of a pair the first; '\0' for a value of an artefact alone
  char other = '\0';     ///< second letter of a pair, else '\0'
  std::string artefact;  ///< empty for a value of axes
  ValueKind kind = ValueKind::centre;
  /// Coordinate, or for orientation and slope the machine axis it leans about; absent where the kind
  /// has none.
  std::optional<LinearAxis> direction;

  bool operator==(const ValueName&) const = default;
};

ValueName axis_value(char axis, ValueKind kind, std::optional<LinearAxis> direction = std::nullopt);
ValueName pair_value(char first, char second, ValueKind kind,
                     std::optional<LinearAxis> direction = std::nullopt);
ValueName artefact_value(const std::string& artefact, ValueKind kind,
                         std::optional<LinearAxis> direction = std::nullopt);
ValueName height_value(const std::string& flat, char axis);

QuantityKind quantity_kind(ValueKind kind);
inline bool is_angle(const ValueName& name) {
  return quantity_kind(name.kind) == QuantityKind::angle;
}

/// Index of the direction, 0 to 2; the name must have one.
inline int component(const ValueName& name) { return static_cast<int>(name.direction.value()); }

/// "A.centre.Y", "A.orientation.B", "A-C.distance", "ball.position.X": see ValueKind.
std::string text_of(const ValueName& name);

/// As files written before there was one spelling say it: "A.location.Y" for A.centre.Y, "AC.distance"
/// for A-C.distance; all other values as text_of.
std::string former_text_of(const ValueName& name);

/// ISO 230-1 symbol: "E_Y0A" for A.centre.Y, "E_B0A" for A.orientation.B, "E_A0A" for A.zero; empty
/// where the standard has none.
std::string iso_symbol(const ValueName& name);

/// The last part of the spelling, "Y" of A.centre.Y, "B" of A.orientation.B; empty without direction.
std::string direction_text(const ValueName& name);

/// The way back from a file, in either spelling; absent when the text names no value.
std::optional<ValueName> value_named(std::string_view text);

/// A value a file or a person asks for: what was written, kept for messages, and what it names.
struct AskedValue {
  std::string written;
  std::optional<ValueName> name;  ///< absent: the text names no value

  AskedValue() = default;
  AskedValue(std::string text) : written(std::move(text)), name(value_named(written)) {}
  AskedValue(const char* text) : AskedValue(std::string(text)) {}
  bool operator==(const AskedValue&) const = default;
};

}  // namespace pivotrace
