// One task of clearance over a range of frames.
#pragma once

#include <memory>
#include <vector>

#include "core/repair/arm_solve.h"
#include "core/repair/clearance_tasks.h"

namespace understudy {

/// What all tasks of a layer share. `frames`: of the repairs, one each. `stride`: frames from node to node of a solution.
struct ClearanceWork {
  const RepairContext& context;
  std::shared_ptr<const BodyModel> model;
  std::shared_ptr<const std::array<ArmFit, 2>> fits;
  const std::vector<const Repair*>& repairs;
  const std::vector<RepairFrames>& frames;
  ClearedHands hands = ClearedHands::free;
  int stride = 1;
};

/// Leads the arms of a task out of the body: solutions at nodes, of which those are kept that go together in time, smoothed and
/// cleared again in turns, then frame by frame. All arguments must outlive it.
class ClearanceRun {
 public:
  ClearanceRun(const ClearanceWork& work, const ClearanceTask& task, const TiledMotion& in, Poser& poser);
  ~ClearanceRun();
  ClearanceRun(const ClearanceRun&) = delete;
  ClearanceRun& operator=(const ClearanceRun&) = delete;

  void solve(FrameSpan frames);
  /// The changes of a solved frame.
  [[nodiscard]] ArmChanges at(int frame) const;
  /// Turns the arms of a pose by a frame's changes, and notes what is left.
  void write(Poser& poser, int frame, const ArmChanges& changes, std::vector<Residual>& residuals);

  /// Frames from node to node at a rate.
  [[nodiscard]] static int strideAt(FrameRate rate);
  /// Frames before and after a changed one that may come out otherwise.
  [[nodiscard]] static int support(int stride);

 private:
  class Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace understudy
