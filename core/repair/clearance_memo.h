// What has been solved of a character's arms: poses that come again are not solved again.
#pragma once

#include <memory>

#include "core/base/memo.h"
#include "core/repair/arm_solve.h"
#include "core/repair/clearance_tasks.h"

namespace understudy {

/// A solution, by all that it depends on. Takes are evaluated again and again with few changes; solutions are costly and need nothing but a pose and where
/// to begin.
struct ClearanceSolution {
  ArmChanges x;
  double lack = 0;   ///< of a frame that is looked at again
  bool open = false;
  std::shared_ptr<const ArmGroup::Seen> seen;  ///< where solving changes it
};
class ClearanceMemo : public Memo<ClearanceSolution> {
 public:
  using Solution = ClearanceSolution;
};

/// Where hands have been found to be nearest to the body, by the same.
class HandTouchMemo : public Memo<ArmClearer::Touch> {};

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
