// What a program tells its operator, in the words and signs of one control.
#pragma once

#include <string>

#include "control/speller.h"
#include "pivotrace/control/control_sheet.h"
#include "pivotrace/control/operator_request.h"

namespace pivotrace::control {

/// Spells operator requests. Sheet and speller must outlive it.
class RequestText {
 public:
  RequestText(const ControlSheet& sheet, const Speller& speller)
      : sheet_(sheet), speller_(speller) {}

  /// For the text of a stop, which shows what variables hold where the control can.
  std::string in_stop(const OperatorRequest& request) const { return text(request, true); }
  /// For remarks, which show no values: variables stand by their names.
  std::string in_remarks(const OperatorRequest& request) const { return text(request, false); }
  /// The values that remarks leave out, for the text of the stop below them.
  std::string values_beside(const OperatorRequest& request) const;

 private:
  std::string text(const OperatorRequest& request, bool shows_values) const;
  std::string task(const OperatorRequest& request) const;
  std::string value_shown(const ShownVariable& variable) const;
  std::string shown(const ShownLength& length) const;
  std::string shown(const ShownOrigin& origin) const;

  const ControlSheet& sheet_;
  const Speller& speller_;
};

}  // namespace pivotrace::control
