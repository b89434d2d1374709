// Immutable shared values: what makes copies of a take cheap and undo a matter of keeping old values.
#pragma once

#include <memory>
#include <utility>

namespace understudy {

/// A value that never changes and is shared by its copies. Two nodes are equal where their values are.
template <class T>
class Node {
 public:
  Node() : value_(empty()) {}
  Node(T value) : value_(std::make_shared<const T>(std::move(value))) {}

  [[nodiscard]] const T& operator*() const { return *value_; }
  [[nodiscard]] const T* operator->() const { return value_.get(); }
  /// True where both share one value in memory (a quick "nothing changed").
  [[nodiscard]] bool same(const Node& other) const { return value_ == other.value_; }
  friend bool operator==(const Node& a, const Node& b) { return a.value_ == b.value_ || *a.value_ == *b.value_; }

 private:
  static const std::shared_ptr<const T>& empty() {
    static const std::shared_ptr<const T> value = std::make_shared<const T>();
    return value;
  }
  std::shared_ptr<const T> value_;
};

}  // namespace understudy
