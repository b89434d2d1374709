// Systems of equations whose matrix has little beside its diagonal.
#pragma once

#include <algorithm>
#include <cstddef>
#include <utility>
#include <vector>

namespace understudy {

/// A symmetric positive definite matrix with `beside` rows beside its diagonal, taken apart into L D Lᵀ without pivots (Golub and Van Loan,
/// "Matrix Computations"; section 4.3 from memory).
class Band {
 public:
  explicit Band(std::size_t n, std::size_t beside = 2) : n_(n), wide_(beside + 1), rows_(n * wide_, 0.0) {}
  /// Adds to the entries (i, k) and (k, i), which lie at most `beside` off the diagonal.
  void add(std::size_t i, std::size_t k, double v) {
    if (i < k) std::swap(i, k);
    at(i, k) += v;
  }
  /// `x` is the right side and becomes the solution; the matrix is used up.
  void solve(std::vector<double>& x) {
    for (std::size_t i = 0; i < n_; ++i) {
      const std::size_t first = firstIn(i);
      for (std::size_t k = first; k <= i; ++k) {
        // Entries left of the diagonal stay times D until the row's own is known.
        double v = at(i, k);
        for (std::size_t m = std::max(first, firstIn(k)); m < k; ++m) v -= at(i, m) * (k == i ? at(i, m) / at(m, m) : at(k, m));
        at(i, k) = v;
      }
      for (std::size_t k = first; k < i; ++k) {
        at(i, k) /= at(k, k);
        x[i] -= at(i, k) * x[k];
      }
    }
    for (std::size_t i = 0; i < n_; ++i) x[i] /= at(i, i);
    for (std::size_t i = n_; i-- > 0;)
      for (std::size_t k = firstIn(i); k < i; ++k) x[k] -= at(i, k) * x[i];
  }

 private:
  [[nodiscard]] std::size_t firstIn(std::size_t i) const { return i < wide_ ? 0 : i - wide_ + 1; }
  double& at(std::size_t i, std::size_t k) { return rows_[i * wide_ + (i - k)]; }

  std::size_t n_, wide_;
  std::vector<double> rows_;  // of each row, (i, i) first, then (i, i − 1) …
};

}  // namespace understudy
