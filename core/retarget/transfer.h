// Carries a clip over by a plan, frame by frame. Internal to retargeting.
#pragma once

#include <memory>
#include <vector>

#include "core/retarget/plan.h"

namespace understudy {

/// A plan laid out for the loop over frames. `moved`: joints of `out` with a translation track, ascending.
class Transfer {
 public:
  Transfer(const Plan& plan, const Motion& clip, const std::vector<int>& moved);
  ~Transfer();
  Transfer(const Transfer&) = delete;
  Transfer& operator=(const Transfer&) = delete;

  /// Writes the frames from `first` up to `last`, the latter not included; those before are written already. False where a rotation was
  /// no finite number.
  [[nodiscard]] bool run(Motion& out, int first, int last);

 private:
  struct Work;
  const Plan& plan_;
  const Motion& clip_;
  std::unique_ptr<Work> work_;
};

/// Twist of the hand against the forearm, unrolled over time before it is divided along the forearm's twist bones.
void shareTwists(const Plan& plan, Motion& out);

/// A clip of the very skeleton it is carried over to: what moves on its own there (feet below the root, fingers that hang on the forearm)
/// goes the performer's way, not along with its anchor.
void keepOwnPlaces(const Plan& plan, const Motion& clip, const std::vector<int>& moved, Motion& out);

}  // namespace understudy
