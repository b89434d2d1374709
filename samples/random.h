// One named random generator, so that a seed gives the same bytes everywhere.
#pragma once

#include <cstdint>

namespace understudy::samples {

/// PCG32 (XSH-RR, O'Neill 2014): small, fast, and the same on every machine.
class Pcg32 {
 public:
  explicit Pcg32(std::uint64_t seed, std::uint64_t stream = 1) : increment_(stream * 2 + 1) {
    next();
    state_ += seed;
    next();
  }

  std::uint32_t next() {
    const std::uint64_t old = state_;
    state_ = old * 6364136223846793005ULL + increment_;
    const auto mixed = static_cast<std::uint32_t>(((old >> 18) ^ old) >> 27);
    const auto turn = static_cast<std::uint32_t>(old >> 59);
    return (mixed >> turn) | (mixed << ((32 - turn) & 31));
  }
  /// Evenly distributed in [low, high).
  double between(double low, double high) { return low + (high - low) * (next() / 4294967296.0); }
  /// A whole number in [low, high].
  int whole(int low, int high) { return low + static_cast<int>(next() % static_cast<std::uint32_t>(high - low + 1)); }
  /// Roughly normal with mean 0 and deviation 1 (sum of twelve even ones; no logarithm, so no libm differences).
  double normal() {
    double sum = -6;
    for (int i = 0; i < 12; ++i) sum += between(0, 1);
    return sum;
  }

 private:
  std::uint64_t state_ = 0;
  std::uint64_t increment_;
};

}  // namespace understudy::samples
