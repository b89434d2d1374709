// Rational frame rates and frame ranges.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "core/base/result.h"

namespace understudy {

/// Frames per second as an exact fraction (30000/1001 for 29.97).
struct FrameRate {
  std::int64_t num = 30;
  std::int64_t den = 1;

  [[nodiscard]] double hertz() const { return static_cast<double>(num) / static_cast<double>(den); }
  /// Time of a frame counted from 0, in seconds.
  [[nodiscard]] double seconds(std::int64_t frame) const {
    return static_cast<double>(frame) * static_cast<double>(den) / static_cast<double>(num);
  }
  /// "30", "29.97 (30000/1001)".
  [[nodiscard]] std::string text() const;
  /// "30" or "30000/1001": what parseFrameRate reads back exactly.
  [[nodiscard]] std::string spelling() const;

  friend bool operator==(const FrameRate&, const FrameRate&) = default;
};

/// The nearest customary rate (whole numbers up to 1000, n·1000/1001) within 0.05 % of `hertz`, else a fraction
/// with denominator at most 10,000. `hertz` must be finite and positive.
[[nodiscard]] FrameRate snapFrameRate(double hertz);

/// Reads "24", "29.97", "30000/1001".
[[nodiscard]] Result<FrameRate> parseFrameRate(std::string_view text);

/// Inclusive range of frames counted from 1, as typed and shown.
struct FrameRange {
  int first = 1;
  int last = 1;
  [[nodiscard]] int count() const { return last - first + 1; }
  friend bool operator==(const FrameRange&, const FrameRange&) = default;
};

/// Frames first … last, counted from 0, both included; empty where last < first.
struct FrameSpan {
  int first = 0;
  int last = -1;
  [[nodiscard]] bool empty() const { return last < first; }
  [[nodiscard]] int count() const { return empty() ? 0 : last - first + 1; }
  [[nodiscard]] bool holds(int frame) const { return frame >= first && frame <= last; }
  friend bool operator==(const FrameSpan&, const FrameSpan&) = default;
};
/// The frames both have.
[[nodiscard]] inline FrameSpan common(FrameSpan a, FrameSpan b) { return {a.first > b.first ? a.first : b.first, a.last < b.last ? a.last : b.last}; }
/// Wider by `before` and `after` frames; an empty span stays empty.
[[nodiscard]] inline FrameSpan widened(FrameSpan s, int before, int after) { return s.empty() ? s : FrameSpan{s.first - before, s.last + after}; }
/// Sorts spans and joins those that overlap or follow each other directly; empty ones vanish.
[[nodiscard]] std::vector<FrameSpan> joined(std::vector<FrameSpan> spans);

/// Seconds from the first frame of the untrimmed clip, both frames included.
struct TimeRange {
  double first = 0;
  double last = 0;
  friend bool operator==(const TimeRange&, const TimeRange&) = default;
};

/// Reads "A:B" (inclusive, counted from 1). Errors: not two numbers, A < 1, B < A.
[[nodiscard]] Result<FrameRange> parseFrameRange(std::string_view text);

}  // namespace understudy
