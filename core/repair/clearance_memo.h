// What has been solved of a character's arms: poses that come again are not solved again.
#pragma once

#include <memory>
#include <mutex>
#include <optional>
#include <unordered_map>

#include "core/base/digest.h"
#include "core/repair/arm_solve.h"
#include "core/repair/clearance_tasks.h"

namespace understudy {

/// Solutions by all that they depend on. Takes are evaluated again and again with few changes; solutions are costly and need nothing but a pose and where
/// to begin. Keeps the latest ones, in two generations. Safe for threads.
class ClearanceMemo {
 public:
  struct Solution {
    ArmChanges x;
    double lack = 0;   ///< of a frame that is looked at again
    bool open = false;
    std::shared_ptr<const ArmGroup::Seen> seen;  ///< where solving changes it
  };
  [[nodiscard]] std::optional<Solution> find(const Digest& of) const;
  void keep(const Digest& of, const Solution& solution) const;

 private:
  static constexpr std::size_t most = 200000;  ///< of a generation
  using Generation = std::unordered_map<Digest, Solution, Digest::Hash>;
  mutable std::mutex guard_;
  mutable Generation young_, old_;
};

inline Digest& operator<<(Digest& digest, const ArmChanges& changes) {
  for (const ArmChange& change : changes) digest.add(std::span<const double>(change.x));
  return digest;
}
[[nodiscard]] Digest digestOf(const ArmGroup::Watches& watches);
[[nodiscard]] Digest digestOf(const ArmGroup::Seen& seen);
[[nodiscard]] Digest digestOf(const ArmClearer::Pose& pose);
/// Of what is the arm's for a whole task.
[[nodiscard]] Digest digestOf(const ClearedArm& arm);

}  // namespace understudy
