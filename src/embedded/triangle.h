// Least squares by orthogonal triangles: rows come in by blocks, an upper triangle stays.
//
// A triangle `width` wide keeps its rows one behind the other, row r as its width - r numbers from
// the diagonal on; the last column is the right-hand side. A block holds four rows of all columns (five
// in a build with pins), column by column, so that the inner loops run over neighbours.
#pragma once

#include "embedded/build.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

constexpr int block_rows = with_pins ? 5 : 4;

inline namespace PIVOTRACE_FORMULAS {

/// Numbers of a column times those of another.
PIVOTRACE_ONE_COPY inline real product(const real* a, const real* b) {
  real sum = a[0] * b[0];
  for (int i = 1; i < block_rows; ++i) sum += a[i] * b[i];
  return sum;
}

}  // namespace PIVOTRACE_FORMULAS

/// Where row r of a triangle begins.
constexpr int row_begin(int r, int width) { return r * width - ((r * (r - 1)) >> 1); }

/// Rows of touches taken into a triangle at once.
constexpr int touch_rows = 5;

/// Turns the block into the first `rows` rows of the triangle (Householder). What is left in the
/// block from column `rows` on belongs to the columns behind.
void absorb(real* triangle, int rows, int width, real* block);

/// The same with `touch_rows` rows in the block.
void absorb_touches(real* triangle, int rows, int width, real* block);

/// Solves R'Y = D for the right sides in the block, column r of it standing for unknown r; from the
/// other columns, the right-hand side among them, what they have in common with R is taken off.
void solve_forward(const real* triangle, int rows, int width, real* block);

/// The same for one row.
void solve_forward_row(const real* triangle, int rows, int width, real* row);

/// Solves R x = x for the rows from `from` on; `x` holds the right side before and the answer after.
void solve_back(const real* triangle, int from, int rows, int width, real* x);

}  // namespace pivotrace::PIVOTRACE_EMBEDDED
