#include <doctest/doctest.h>

#include "pivotrace/machine/ball_grade.h"

using namespace pivotrace;

TEST_CASE("ball grades carry the form deviations of ISO 3290-1") {
  // Retyped from the project's list of published figures (ISO 3290-1: G3 0.08 ... G100 2.5 um).
  CHECK(form_deviation_um("G3") == 0.08);
  CHECK(form_deviation_um("G5") == 0.13);
  CHECK(form_deviation_um("G10") == 0.25);
  CHECK(form_deviation_um("G16") == 0.4);
  CHECK(form_deviation_um("G28") == 0.7);
  CHECK(form_deviation_um("G40") == 1.0);
  CHECK(form_deviation_um("G100") == 2.5);
}

TEST_CASE("what is no grade has no form deviation") {
  CHECK_FALSE(form_deviation_um("G11").has_value());
  CHECK_FALSE(form_deviation_um("").has_value());
  CHECK_FALSE(form_deviation_um("g10").has_value());
}
