// Zero-lag low-pass filtering of bones' curves over a span.
#pragma once

#include "core/repair/layer.h"

namespace understudy {

/// Weights h₀ … h_R of a symmetric kernel: y[i] = h₀ x[i] + Σ h_k (x[i−k] + x[i+k]). It is the impulse response of a second-order
/// Butterworth low-pass run forwards and backwards (Winter, "Biomechanics and Motor Control of Human Movement", 2.5.4.4, corrected for
/// two passes: amplitude 0.7071 at the cut-off), cut where what is left outside weighs less than 1e-4 and scaled to sum to 1. R is at
/// most 1.9 · rate / cutoff + 2 up to a fifth of the rate, and grows towards half the rate (27 at 10 Hz of 24). Errors: as butterworthLowPass().
[[nodiscard]] Result<std::vector<double>> smoothingKernel(double cutoff, double rate);

/// `repairs` hold SmoothRepair. Rotations are averaged as rotation vectors from the window's mean rotation (the normalised weighted sum
/// of its quaternions, sign-continuous over the window), positions of moved joints as they are. The support is R frames on both sides;
/// at the clip's ends the curve is continued by turning it about its end (x[−k] = 2·x[0] − x[k], the same for rotations), and beyond
/// the mirrored clip by the outermost value. In the eases the result is blended with the input. A cut-off of half the rate and more
/// damps nothing and is left out with a note.
[[nodiscard]] RepairLayerPtr makeSmoothLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, Issues& issues);

}  // namespace understudy
