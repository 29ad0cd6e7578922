// Real measurements of a mark on a rotary stage and the answer published with them.
// Source: example data and tests of the positioning software of a neutron instrument, open data
// (BSD-3-Clause); figures retyped. Published answer: plane by singular values, then an algebraic
// circle in it, for the angles -180, -108, -36, 36, 108, 180.
#pragma once

#include <Eigen/Core>
#include <vector>

namespace pivotrace::testing {

struct StageReading {
  double angle_deg;
  Eigen::Vector3d mark_mm;
};

/// -180 and 180 are one place measured twice.
inline const std::vector<StageReading> stage = {{-180, {-37.702407, -100.3246853, 0.060174943}},
                                                {-144, {-63.59933, -79.61707356, 0.044660563}},
                                                {-108, {-72.4308, -47.72367282, 0.02528772}},
                                                {-72, {-60.73531, -16.69978145, 0.0155}},
                                                {-36, {-33.11670555, 1.571, -0.002}},
                                                {0, {-6.28E-05, 0.038, -0.004452394}},
                                                {36, {25.89742938, -20.58587784, -0.0142}},
                                                {72, {34.68493231, -52.54434, 0.00973}},
                                                {108, {23.05826241, -83.51255368, 0.032545921}},
                                                {144, {-4.57047943, -101.7958937, 0.04723}},
                                                {180, {-37.6133, -100.3567116, 0.048915878}}};

inline const Eigen::Vector3d published_centre_mm(-18.87041, -50.11549, 0.01938);
inline const Eigen::Vector3d published_direction(-2.27729e-4, -6.01415e-4, -1.0);

}  // namespace pivotrace::testing
