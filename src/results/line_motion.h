// How the values of axis lines answer to small rigid motions.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "pivotrace/results/result.h"

namespace pivotrace {

/// (n x 6) Derivatives of the values `names` of the axes in `moved` by a shift [mm] and a turn [rad] about
/// `about_mm`; rows of other axes are 0.
///   centre, quoted where n . p = const, u along the line:  dp - u (n . dp) / (n . u),  dp = t + w x (p - o)
///   zero: s u . w, s the sense in which the axis counts
///   orientation about e_k of an axis along e_a: atan2(u . (e_k x e_a), u_a);  du = w x u
Eigen::MatrixXd motion_gains(const FitResult& result, const std::vector<ValueName>& names,
                             const std::vector<char>& moved, const Eigen::Vector3d& about_mm);

}  // namespace pivotrace
