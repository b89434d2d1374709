// Systems of equations whose matrix has little beside its diagonal.
#pragma once

#include <cstddef>
#include <utility>
#include <vector>

namespace understudy {

/// A symmetric positive definite matrix with two rows beside its diagonal, taken apart into L D Lᵀ without pivots (Golub and Van Loan,
/// "Matrix Computations"; section 4.3 from memory).
struct Band {
  std::vector<double> d, a, b;  // a[i]: (i, i − 1), b[i]: (i, i − 2)
  explicit Band(std::size_t n) : d(n, 0.0), a(n, 0.0), b(n, 0.0) {}
  void add(std::size_t i, std::size_t k, double v) {
    if (i < k) std::swap(i, k);
    (i == k ? d : i == k + 1 ? a : b)[i] += v;
  }
  /// `x` is the right side and becomes the solution; the matrix is used up.
  void solve(std::vector<double>& x) {
    const std::size_t n = d.size();
    for (std::size_t i = 0; i < n; ++i) {
      const double below = b[i];
      if (i >= 2) b[i] /= d[i - 2];
      if (i >= 1) a[i] = (a[i] - (i >= 2 ? below * a[i - 1] : 0)) / d[i - 1];
      d[i] -= (i >= 1 ? a[i] * a[i] * d[i - 1] : 0) + (i >= 2 ? b[i] * b[i] * d[i - 2] : 0);
      x[i] -= (i >= 1 ? a[i] * x[i - 1] : 0) + (i >= 2 ? b[i] * x[i - 2] : 0);
    }
    for (std::size_t i = 0; i < n; ++i) x[i] /= d[i];
    for (std::size_t i = n; i-- > 0;) x[i] -= (i + 1 < n ? a[i + 1] * x[i + 1] : 0) + (i + 2 < n ? b[i + 2] * x[i + 2] : 0);
  }
};

}  // namespace understudy
