// A fingerprint of an animation's curves as they lie in a file: what is said of them holds as long as they are the same.
#pragma once

#include <cstdint>
#include <cstring>
#include <span>
#include <string>
#include <string_view>

namespace understudy {

/// Curves are added in the file's order, with their values as stored (quaternions x, y, z, w).
class CurveCheck {
 public:
  void add(std::string_view path, std::span<const float> times, std::span<const float> values) {
    bytes(path.data(), path.size());
    floats(times);
    floats(values);
  }
  /// 16 hexadecimal digits.
  [[nodiscard]] std::string text() const {
    std::string out(16, '0');
    for (int i = 0; i < 16; ++i) out[static_cast<std::size_t>(i)] = "0123456789abcdef"[state_ >> (60 - 4 * i) & 15];
    return out;
  }

 private:
  void floats(std::span<const float> values) {
    const std::uint64_t count = values.size();
    bytes(&count, sizeof count);
    bytes(values.data(), values.size_bytes());
  }
  // FNV-1a, 64 bits (Fowler, Noll, Vo).
  void bytes(const void* data, std::size_t size) {
    const auto* at = static_cast<const unsigned char*>(data);
    for (std::size_t i = 0; i < size; ++i) state_ = (state_ ^ at[i]) * 0x100000001b3ULL;
  }
  std::uint64_t state_ = 0xcbf29ce484222325ULL;
};

}  // namespace understudy
