#include "core/base/frame_rate.h"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <cstdio>
#include <numeric>

namespace understudy {
namespace {

FrameRate reduced(std::int64_t num, std::int64_t den) {
  const std::int64_t g = std::gcd(num, den);
  return {num / g, den / g};
}

template <class T>
bool readNumber(std::string_view text, T& value) {
  const char* end = text.data() + text.size();
  const auto [stop, error] = std::from_chars(text.data(), end, value);
  return error == std::errc{} && stop == end;
}

}  // namespace

std::string FrameRate::text() const {
  if (den == 1) return std::to_string(num);
  char buffer[64];
  std::snprintf(buffer, sizeof buffer, "%.4g (%lld/%lld)", hertz(), static_cast<long long>(num), static_cast<long long>(den));
  return buffer;
}

std::string FrameRate::spelling() const {
  return den == 1 ? std::to_string(num) : std::to_string(num) + "/" + std::to_string(den);
}

FrameRate snapFrameRate(double hertz) {
  const double whole = std::round(hertz);
  constexpr double tolerance = 5e-4;
  // 23.976 and 24 are 0.1 % apart, so whichever is nearer wins and both stay reachable.
  const double ntsc = std::round(hertz * 1.001);
  const double wholeError = whole >= 1 ? std::abs(hertz - whole) / hertz : 1;
  const double ntscError = ntsc >= 1 ? std::abs(hertz - ntsc / 1.001) / hertz : 1;
  const bool ntscBase = std::fmod(ntsc, 24) == 0 || std::fmod(ntsc, 30) == 0;
  if (ntscBase && ntscError < wholeError && ntscError < tolerance) return reduced(static_cast<std::int64_t>(ntsc) * 1000, 1001);
  if (whole <= 1000 && wholeError < tolerance) return {static_cast<std::int64_t>(whole), 1};
  // Continued fraction, stopped at a denominator that still reads as a rate.
  std::int64_t p0 = 0, q0 = 1, p1 = 1, q1 = 0;
  double rest = hertz;
  for (int step = 0; step < 24; ++step) {
    const double whole_part = std::floor(rest);
    if (whole_part > 1e9) break;
    const auto a = static_cast<std::int64_t>(whole_part);
    const std::int64_t p2 = a * p1 + p0, q2 = a * q1 + q0;
    if (q2 > 10000) break;
    p0 = p1; q0 = q1; p1 = p2; q1 = q2;
    if (std::abs(static_cast<double>(p1) / static_cast<double>(q1) - hertz) < 1e-6 * hertz) break;
    const double remainder = rest - whole_part;
    if (remainder < 1e-12) break;
    rest = 1 / remainder;
  }
  if (p1 <= 0) return {1, 10000};
  return reduced(p1, q1);
}

Result<FrameRate> parseFrameRate(std::string_view text) {
  const auto bad = [&] {
    return makeError(Fault::usage, "'" + std::string(text) + "' is no frame rate", {},
                     "Give frames per second, such as 24, 29.97 or 30000/1001");
  };
  const std::size_t slash = text.find('/');
  if (slash != std::string_view::npos) {
    std::int64_t num = 0, den = 0;
    if (!readNumber(text.substr(0, slash), num) || !readNumber(text.substr(slash + 1), den) || num <= 0 || den <= 0) return bad();
    const FrameRate rate = reduced(num, den);
    if (rate.hertz() > 10000 || rate.hertz() < 0.001) return bad();
    return rate;
  }
  double hertz = 0;
  if (!readNumber(text, hertz) || !std::isfinite(hertz) || hertz < 0.001 || hertz > 10000) return bad();
  return snapFrameRate(hertz);
}

Result<FrameRange> parseFrameRange(std::string_view text) {
  FrameRange range;
  const std::size_t colon = text.find(':');
  if (colon == std::string_view::npos || !readNumber(text.substr(0, colon), range.first) ||
      !readNumber(text.substr(colon + 1), range.last) || range.first < 1 || range.last < range.first)
    return makeError(Fault::usage, "'" + std::string(text) + "' is no frame range", {},
                     "Give first and last frame, both included and counted from 1, such as 10:48");
  return range;
}

std::vector<FrameSpan> joined(std::vector<FrameSpan> spans) {
  std::erase_if(spans, [](const FrameSpan& s) { return s.empty(); });
  std::sort(spans.begin(), spans.end(), [](const FrameSpan& a, const FrameSpan& b) { return a.first < b.first; });
  std::vector<FrameSpan> out;
  for (const FrameSpan& s : spans) {
    if (!out.empty() && s.first <= out.back().last + 1)
      out.back().last = std::max(out.back().last, s.last);
    else
      out.push_back(s);
  }
  return out;
}

}  // namespace understudy
