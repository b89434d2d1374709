#include "core/math/filter.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <string>

namespace understudy {
namespace {

/// One pass in place, as if the first value had been there for ever.
template <class Iterator>
void pass(const LowPass& f, Iterator first, Iterator last) {
  double x1 = *first, x2 = x1, y1 = x1, y2 = x1;
  for (Iterator i = first; i != last; ++i) {
    const double x = *i, y = f.a0 * x + f.a1 * x1 + f.a2 * x2 + f.b1 * y1 + f.b2 * y2;
    x2 = x1, x1 = x, y2 = y1, y1 = y;
    *i = y;
  }
}

}  // namespace

double LowPass::gain(double hertz, double rate) const {
  const std::complex<double> z = std::polar(1.0, -2 * M_PI * hertz / rate);
  return std::abs((a0 + a1 * z + a2 * z * z) / (1.0 - b1 * z - b2 * z * z));
}

double passCorrection(int passes) {
  return std::pow(std::pow(2.0, 1.0 / std::max(passes, 1)) - 1, 0.25);
}

Result<LowPass> butterworthLowPass(double cutoff, double rate, double correction) {
  if (!std::isfinite(rate) || !(cutoff > 0) || !(cutoff < rate / 2) || !(correction > 0)) {
    return makeError(Fault::usage,
                     "a cut-off of " + std::to_string(cutoff) + " Hz cannot be applied at " + std::to_string(rate) + " samples a second",
                     {}, "choose one above 0 and below half the rate");
  }
  const double w = std::tan(M_PI * cutoff / rate) / correction;
  const double k1 = std::sqrt(2.0) * w, k2 = w * w;
  const double a0 = k2 / (1 + k1 + k2);
  const double k3 = 2 * a0 / k2;
  return LowPass{a0, 2 * a0, a0, k3 - 2 * a0, 1 - 2 * a0 - k3};
}

int paddingOf(const LowPass& filter, int count) {
  // The slower of the two poles says how fast the start fades.
  const double half = filter.b1 / 2, inner = half * half + filter.b2;
  const double radius = inner < 0 ? std::sqrt(-filter.b2) : std::abs(half) + std::sqrt(inner);
  if (!(radius > 1e-9)) return std::clamp(count - 1, 0, 2);
  const double need = radius < 1 ? std::ceil(std::log(1e-3) / std::log(radius)) : count;
  return static_cast<int>(std::clamp(need, 0.0, std::max(count - 1.0, 0.0)));
}

Result<std::vector<double>> smoothed(std::span<const double> values, const SmoothSettings& settings) {
  const Result<LowPass> filter = butterworthLowPass(settings.cutoff, settings.rate, passCorrection(2));
  if (!filter.ok()) return filter.error();
  const auto bad = std::find_if(values.begin(), values.end(), [](double x) { return !std::isfinite(x); });
  if (bad != values.end()) {
    return makeError(Fault::input, "a value is not a finite number", "value " + std::to_string(bad - values.begin() + 1),
                     "repair or leave out the frames around it before smoothing");
  }
  if (values.empty()) return std::vector<double>{};

  const auto count = values.size();
  const auto pad = static_cast<std::size_t>(paddingOf(*filter, static_cast<int>(count)));
  std::vector<double> all;
  all.reserve(count + 2 * pad);
  for (std::size_t k = pad; k > 0; --k) all.push_back(2 * values.front() - values[k]);
  all.insert(all.end(), values.begin(), values.end());
  for (std::size_t k = 1; k <= pad; ++k) all.push_back(2 * values.back() - values[count - 1 - k]);
  pass(*filter, all.begin(), all.end());
  pass(*filter, all.rbegin(), all.rend());
  const auto begin = all.begin() + static_cast<std::ptrdiff_t>(pad);
  return std::vector<double>(begin, begin + static_cast<std::ptrdiff_t>(count));
}

}  // namespace understudy
