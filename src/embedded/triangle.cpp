#include "embedded/triangle.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

namespace {

/// Below this a square is round-off of nothing, and its reciprocal no number.
constexpr real negligible = real(1e-30);

// The reflection I - 2 v v' / v'v with v = (diagonal - new diagonal, column), the new diagonal of the
// opposite sign: v'v = -2 (new diagonal) (diagonal - new diagonal). Built for speed it stands twice, its
// inner loops unrolled.
constexpr int most_rows = block_rows > touch_rows ? block_rows : touch_rows;

PIVOTRACE_ONE_COPY inline void absorb_rows(real* triangle, int rows, int width, real* block,
                                           int rows_of_block) {
  for (int r = 0; r < rows; ++r) {
    real v[most_rows];
    real below = real(0);
    for (int i = 0; i < rows_of_block; ++i) {
      v[i] = block[i];
      below += square(v[i]);
    }
    real* const end = triangle + (width - r);
    if (below > negligible) {
      const real diagonal = triangle[0];
      real norm = contact::square_root(diagonal * diagonal + below);
      if (diagonal > real(0)) norm = -norm;
      const real head = diagonal - norm;
      const real scale = real(-1) / (norm * head);
      real* other = block;
      triangle[0] = norm;
      while (++triangle != end) {
        other += rows_of_block;
        // Loaded once: what is kept might be the block, for all the compiler knows.
        real w[most_rows];
        real t = head * *triangle;
        for (int i = 0; i < rows_of_block; ++i) {
          w[i] = other[i];
          t += v[i] * w[i];
        }
        t *= scale;
        *triangle -= t * head;
        for (int i = 0; i < rows_of_block; ++i) other[i] = w[i] - t * v[i];
      }
    }
    triangle = end;
    block += rows_of_block;
  }
}

PIVOTRACE_ONE_COPY inline void solve_rows_forward(const real* triangle, int rows, int width,
                                                  real* block, int rows_of_block) {
  for (int r = 0; r < rows; ++r) {
    real column[most_rows];
    const real inverse = real(1) / triangle[0];
    for (int i = 0; i < rows_of_block; ++i) block[i] = column[i] = block[i] * inverse;
    const real* const end = triangle + (width - r);
    real* other = block;
    while (++triangle != end) {
      other += rows_of_block;
      for (int i = 0; i < rows_of_block; ++i) other[i] -= *triangle * column[i];
    }
    block += rows_of_block;
  }
}

}  // namespace

void absorb(real* triangle, int rows, int width, real* block) {
  absorb_rows(triangle, rows, width, block, block_rows);
}

void absorb_touches(real* triangle, int rows, int width, real* block) {
  absorb_rows(triangle, rows, width, block, touch_rows);
}

void solve_forward(const real* triangle, int rows, int width, real* block) {
  solve_rows_forward(triangle, rows, width, block, block_rows);
}

void solve_forward_row(const real* triangle, int rows, int width, real* row) {
  solve_rows_forward(triangle, rows, width, row, 1);
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
