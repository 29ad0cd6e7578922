// One calibration run: touches in time order, grouped into stations.
#pragma once

#include <Eigen/Core>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "pivotrace/machine/machine.h"

namespace pivotrace {

enum class TouchKind {
  touch,      ///< one trigger of the stylus on a surface
  centre,     ///< a ball centre already worked out, by hand or by the control
  indicator,  ///< one reading of an indicator in the spindle that points along `approach`
};

/// One row of a touch record.
struct Touch {
  std::string label;  ///< the `touch` column, or the row's running number
  int station = 0;    ///< index into Survey::stations
  int artefact = 0;   ///< index into Machine::artefacts
  TouchKind kind = TouchKind::touch;
  Eigen::Vector3d shown_mm = Eigen::Vector3d::
      Zero();  ///< machine coordinates of the stylus-ball centre (length datum already applied) as the control shows them; of an indicator: with what it read taken back along `approach`
  std::optional<Eigen::Vector3d> approach;  ///< unit, machine frame, towards the surface
  std::optional<double> time_s;             ///< since the start of the survey
  std::optional<double> temperature_degC;
  bool flip = false;  ///< spindle turned by 180 deg
  int setting = 0;    ///< indicator: readings of one setting share one unknown zero; from 0
  int stylus = 0;     ///< which of several styluses, in the order of their first touch
  int line = 0;       ///< line of the touch record, for messages; 0 = none
};

/// One stay at one set of rotary angles. Its touches follow one another in Survey::touches.
struct Station {
  std::string label;
  RotaryAngles angles_rad{};
  int first_touch = 0;  ///< index into Survey::touches
  int touch_count = 0;
};

struct Survey {
  std::string machine_name;
  std::string started;     ///< ISO 8601, as written in the record; may be empty
  std::string file;        ///< where it came from, for messages
  bool simulated = false;  ///< made by a rehearsal, not on a machine
  /// The order of the angles tells from which side each was reached. False: every angle is taken to
  /// be reached from one side, as the probing cycle does.
  bool turns_told_apart = false;
  std::vector<Touch> touches;
  std::vector<Station> stations;
  std::vector<std::string> settings;  ///< names behind Touch::setting
  std::vector<std::string> styluses;  ///< names behind Touch::stylus; empty: one only
  /// Columns this program does not use, kept: name -> one text per touch.
  std::map<std::string, std::vector<std::string>> extra_columns;
};

}  // namespace pivotrace
