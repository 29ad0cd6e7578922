#include "embedded/triangle.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

/// Below this a square is round-off of nothing, and its reciprocal no number.
constexpr real negligible = real(1e-30);

// The reflection I - 2 v v' / v'v with v = (diagonal - new diagonal, column), the new diagonal of the
// opposite sign: v'v = -2 (new diagonal) (diagonal - new diagonal).
void absorb(real* triangle, int rows, int width, real* block) {
  for (int r = 0; r < rows; ++r) {
    const real* column = block;
    const real below = product(column, column);
    if (below > negligible) {
      const real diagonal = triangle[0];
      real norm = contact::square_root(diagonal * diagonal + below);
      if (diagonal > real(0)) norm = -norm;
      const real head = diagonal - norm;
      const real scale = real(-1) / (norm * head);
      real v[block_rows];
      for (int i = 0; i < block_rows; ++i) v[i] = column[i];
      real* other = block;
      triangle[0] = norm;
      for (real* kept = triangle + 1; kept != triangle + (width - r); ++kept) {
        other += block_rows;
        const real t = scale * (head * *kept + product(v, other));
        *kept -= t * head;
        subtract(t, v, other);
      }
    }
    triangle += width - r;
    block += block_rows;
  }
}

void solve_forward(const real* triangle, int rows, int width, real* block) {
  for (int r = 0; r < rows; ++r) {
    real* column = block + block_rows * r;
    const real inverse = real(1) / triangle[0];
    for (int i = 0; i < block_rows; ++i) column[i] *= inverse;
    for (int c = 1; c < width - 1 - r; ++c) {
      subtract(triangle[c], column, block + block_rows * (r + c));
    }
    triangle += width - r;
  }
}

void solve_back(const real* triangle, int from, int rows, int width, real* x) {
  for (int r = rows - 1; r >= from; --r) {
    const real* row = triangle + row_begin(r, width);
    real sum = x[r];
    for (int c = r + 1; c < rows; ++c) sum -= row[c - r] * x[c];
    x[r] = sum / row[0];
  }
}

}  // namespace pivotrace::PIVOTRACE_EMBEDDED
