// What has been worked out before, by a digest of all that it depends on.
#pragma once

#include <mutex>
#include <optional>
#include <unordered_map>
#include <utility>

#include "core/base/digest.h"

namespace understudy {

/// Keeps the latest results, in two generations of `most` each. Safe for threads.
template <class Value>
class Memo {
 public:
  explicit Memo(std::size_t most = 200000) : most_(most) {}
  [[nodiscard]] std::optional<Value> find(const Digest& of) const {
    const std::scoped_lock lock(guard_);
    if (const auto at = young_.find(of); at != young_.end()) return at->second;
    const auto at = old_.find(of);
    if (at == old_.end()) return std::nullopt;
    Value found = std::move(at->second);
    old_.erase(at);
    young_.emplace(of, found);
    return found;
  }
  void keep(const Digest& of, const Value& value) const {
    const std::scoped_lock lock(guard_);
    if (young_.size() >= most_) {
      old_ = std::move(young_);
      young_ = {};
    }
    young_.emplace(of, value);
  }

 private:
  using Generation = std::unordered_map<Digest, Value, Digest::Hash>;
  std::size_t most_;
  mutable std::mutex guard_;
  mutable Generation young_, old_;
};

}  // namespace understudy
