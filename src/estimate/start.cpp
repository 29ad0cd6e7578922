#include "estimate/start.h"

namespace pivotrace {

Eigen::VectorXd starting_unknowns(const Model& model) {
  return model.unknowns_from(nominal_state(model.machine()));
}

}  // namespace pivotrace
