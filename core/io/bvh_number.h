// Reading decimal numbers quickly: eight digits at a time in one machine word, exact to the last bit.
#pragma once

#include <bit>
#include <charconv>
#include <cstdint>
#include <cstring>
#include <limits>

namespace understudy::bvh {

static_assert(std::endian::native == std::endian::little, "digits are read as little-endian words");

inline constexpr double kPowersOfTen[] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,  1e8,  1e9,  1e10, 1e11,
                                          1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};

inline bool isBlank(char c) { return c == ' ' || c == '\t' || c == '\v' || c == '\f'; }
inline bool isLineEnd(char c) { return c == '\n' || c == '\r'; }
inline bool isDigit(char c) { return c >= '0' && c <= '9'; }

/// Up to eight digits starting at `p` (eight bytes must be readable): their number and their value.
inline int leadingDigits(const char* p, std::uint64_t& value) {
  std::uint64_t word = 0;
  std::memcpy(&word, p, 8);
  word ^= 0x3030303030303030u;  // digits become 0 … 9, everything else something larger
  const std::uint64_t other = ((word + 0x7676767676767676u) | word) & 0x8080808080808080u;
  const int count = other ? std::countr_zero(other) >> 3 : 8;
  if (count < 8) word = (word << (8 * (7 - count))) << 8;  // leading zeros in place of what follows the digits
  word = (word * 10 + (word >> 8)) & 0x00FF00FF00FF00FFu;
  word = (word * 100 + (word >> 16)) & 0x0000FFFF0000FFFFu;
  value = (word * 10000 + (word >> 32)) & 0xFFFFFFFFu;
  return count;
}

/// Length of the word at `p`, at most 16: how far the next blank or control character is. 16 bytes must be readable.
inline int wordLength(const char* p) {
  std::uint64_t low = 0, high = 0;
  std::memcpy(&low, p, 8);
  std::memcpy(&high, p + 8, 8);
  // The lowest byte below 0x21 is found exactly; bytes after it may be marked falsely, which does not matter.
  constexpr std::uint64_t first = 0x2121212121212121u, top = 0x8080808080808080u;
  low = (low - first) & ~low & top;
  high = (high - first) & ~high & top;
  const int inLow = std::countr_zero(low) >> 3;  // 8 where there is none
  const int inHigh = 8 + (std::countr_zero(high) >> 3);
  return low ? inLow : inHigh;
}

/// The usual spelling (sign, at most 7 digits, point, at most 15 digits). Returns the end of the number, or null where
/// the general reader must look at it. At least 32 bytes must be readable.
inline const char* readPlainNumber(const char* p, double& value) {
  // The end is found apart from the digits, so that reading the next number need not wait for this one's value.
  const int length = wordLength(p);
  if (length == 16) return nullptr;
  const char* wordEnd = p + length;
  const bool negative = *p == '-';
  p += negative;
  std::uint64_t whole = 0;
  const int wholeDigits = leadingDigits(p, whole);
  if (wholeDigits == 8) return nullptr;
  p += wholeDigits;
  double result = 0;
  int fractionDigits = 0;
  if (*p == '.') {
    ++p;
    std::uint64_t fraction = 0;
    fractionDigits = leadingDigits(p, fraction);
    p += fractionDigits;
    if (fractionDigits == 8) {
      std::uint64_t more = 0;
      const int moreDigits = leadingDigits(p, more);
      if (moreDigits == 8) return nullptr;
      p += moreDigits;
      fractionDigits += moreDigits;
      // Beyond 15 digits the quotient below would no longer be correctly rounded.
      if (wholeDigits + fractionDigits > 15) return nullptr;
      fraction = fraction * static_cast<std::uint64_t>(kPowersOfTen[moreDigits]) + more;
    }
    if (wholeDigits + fractionDigits > 15) return nullptr;
    // Numerator and denominator are both exact, so the quotient is the nearest double.
    result = static_cast<double>(static_cast<std::int64_t>(whole * static_cast<std::uint64_t>(kPowersOfTen[fractionDigits]) + fraction)) /
             kPowersOfTen[fractionDigits];
  } else {
    result = static_cast<double>(static_cast<std::int64_t>(whole));
  }
  if (wholeDigits + fractionDigits == 0) return nullptr;
  if (!isBlank(*p) && !isLineEnd(*p)) return nullptr;
  // No branch: whether a value is negative cannot be guessed.
  value = std::bit_cast<double>(std::bit_cast<std::uint64_t>(result) | static_cast<std::uint64_t>(negative) << 63);
  return wordEnd;
}

/// Any spelling std::from_chars knows, and a leading plus. Returns the end of the number, null where there is none.
inline const char* readAnyNumber(const char* p, const char* end, double& value) {
  if (p < end && *p == '+') ++p;
  const auto [stop, error] = std::from_chars(p, end, value);
  if (error == std::errc::result_out_of_range) {
    // Too small for a double is zero; too large stays an infinity for the caller to report.
    const bool negativeExponent = [&] {
      for (const char* q = p; q < stop; ++q)
        if ((*q == 'e' || *q == 'E') && q + 1 < stop) return q[1] == '-';
      return *p == '0' || *p == '.' || (*p == '-' && (p[1] == '0' || p[1] == '.'));
    }();
    value = negativeExponent ? 0.0 : std::numeric_limits<double>::infinity();
    return stop;
  }
  return error == std::errc{} ? stop : nullptr;
}

}  // namespace understudy::bvh
