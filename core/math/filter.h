// Low-pass filtering of evenly sampled values without delay.
#pragma once

#include <span>
#include <vector>

#include "core/base/result.h"

namespace understudy {

/// y[i] = a0·x[i] + a1·x[i−1] + a2·x[i−2] + b1·y[i−1] + b2·y[i−2]
struct LowPass {
  double a0 = 1, a1 = 0, a2 = 0, b1 = 0, b2 = 0;

  /// Amplitude ratio of one pass for a sine of `hertz`, sampled at `rate`.
  [[nodiscard]] double gain(double hertz, double rate) const;
};

/// (2^(1/passes) − 1)^¼: every pass damps the cut-off by 3 dB, so it is moved up by 1/C for `passes` of them to reach
/// 3 dB together. 1 for one pass, 0.8022 for two. (Winter, "Biomechanics and Motor Control of Human Movement", 2.5.4.4.)
[[nodiscard]] double passCorrection(int passes);

/// Coefficients of a second-order Butterworth low-pass, as in Winter, 2.5.4.4. `cutoff` and `rate` in hertz,
/// `correction` is C above. Error: cutoff not between 0 and half the rate (both excluded), or not finite.
[[nodiscard]] Result<LowPass> butterworthLowPass(double cutoff, double rate, double correction);

struct SmoothSettings {
  double cutoff = 6;  ///< hertz; amplitude 0.7071 there after both passes
  double rate = 30;   ///< samples a second
};

/// Samples added before the first and after the last: as many as the filter's start takes to fade to a thousandth, but
/// at most `count` − 1.
[[nodiscard]] int paddingOf(const LowPass& filter, int count);

/// A pass forwards and one backwards (zero lag, fourth order in all). Both ends are continued by turning the curve
/// about its end point (x[−k] = 2·x[0] − x[k]), which keeps value and slope there, over paddingOf samples; before those
/// the filter has always seen the outermost value. Constants come back as they were (to rounding); nothing gives nothing.
/// Errors: as butterworthLowPass; a value that is not finite (the message counts from 1).
[[nodiscard]] Result<std::vector<double>> smoothed(std::span<const double> values, const SmoothSettings& settings);

}  // namespace understudy
