// A short name for many numbers.
#pragma once

#include <cstddef>
#include <cstdint>
#include <cstring>
#include <span>

namespace understudy {

/// 128 bits that tell inputs apart by their bytes: what is put in is the same where two digests are, as far as chance goes. For what is kept while
/// the program runs; no protection against inputs made to collide.
class Digest {
 public:
  Digest& add(std::uint64_t word) {
    // Products whose halves are folded spread every bit over the whole word; two lanes of other constants.
    low_ = fold(low_ ^ word, 0x9e3779b97f4a7c15u) + 0x632be59bd9b4e019u;
    high_ = fold(high_ + word, 0xd6e8feb86659fd93u) ^ 0xa0761d6478bd642fu;
    return *this;
  }
  Digest& add(double value) {
    std::uint64_t word = 0;
    std::memcpy(&word, &value, sizeof word);
    return add(word);
  }
  Digest& add(std::span<const double> values) {
    for (const double v : values) add(v);
    return *this;
  }
  /// As many words of memory, four side by side: quicker where there are many, and not the same as one after the other.
  Digest& addWords(const void* from, std::size_t words) {
    const auto word = [&](std::size_t k) {
      std::uint64_t out = 0;
      std::memcpy(&out, static_cast<const unsigned char*>(from) + k * sizeof out, sizeof out);
      return out;
    };
    Digest lanes[3];
    std::size_t k = 0;
    for (; k + 4 <= words; k += 4) {
      add(word(k));
      for (std::size_t n = 0; n < 3; ++n) lanes[n].add(word(k + 1 + n));
    }
    for (; k < words; ++k) add(word(k));
    for (const Digest& lane : lanes) add(lane);
    return add(std::uint64_t{words});
  }
  Digest& add(const Digest& other) { return add(other.low_).add(other.high_); }
  friend bool operator==(const Digest&, const Digest&) = default;
  struct Hash {
    std::size_t operator()(const Digest& d) const { return static_cast<std::size_t>(d.low_); }
  };

 private:
  static std::uint64_t fold(std::uint64_t a, std::uint64_t b) {
#ifdef __SIZEOF_INT128__
    __extension__ using Wide = unsigned __int128;
    const Wide product = static_cast<Wide>(a) * b;
    return static_cast<std::uint64_t>(product) ^ static_cast<std::uint64_t>(product >> 64);
#else
    const std::uint64_t al = a & 0xffffffffu, ah = a >> 32, bl = b & 0xffffffffu, bh = b >> 32;
    const std::uint64_t ll = al * bl, lh = al * bh, hl = ah * bl, hh = ah * bh;
    const std::uint64_t middle = (ll >> 32) + (lh & 0xffffffffu) + (hl & 0xffffffffu);
    const std::uint64_t high = hh + (lh >> 32) + (hl >> 32) + (middle >> 32);
    return (middle << 32 | (ll & 0xffffffffu)) ^ high;
#endif
  }
  std::uint64_t low_ = 0x243f6a8885a308d3u, high_ = 0x13198a2e03707344u;
};

}  // namespace understudy
