// A stage of repairs made ready to be applied frame by frame.
#pragma once

#include <algorithm>
#include <memory>
#include <string>
#include <vector>

#include "core/motion/tiled_motion.h"
#include "core/repair/repair_context.h"

namespace understudy {

/// How far a repair stays from what it promises at a frame.
struct Miss {
  float metres = 0;
  float radians = 0;
  friend bool operator==(const Miss&, const Miss&) = default;
};

/// Misses of one repair over the frames first … first+values.size()−1 of the untrimmed clip.
struct Residual {
  std::uint64_t repair = 0;
  int first = 0;
  std::vector<Miss> values;

  /// Keeps the larger of two misses at a frame; frames outside are ignored.
  void note(int frame, double metres, double radians = 0) {
    const int k = frame - first;
    if (k < 0 || k >= static_cast<int>(values.size())) return;
    Miss& miss = values[static_cast<std::size_t>(k)];
    miss.metres = std::max(miss.metres, static_cast<float>(metres));
    miss.radians = std::max(miss.radians, static_cast<float>(radians));
  }
  friend bool operator==(const Residual&, const Residual&) = default;
};

/// Repairs of one stage, compiled for one context and one motion length. What it writes at a frame is a pure function of its
/// input, of the repairs and of the frame, whatever range is asked for: the cache and the threads rely on it.
class RepairLayer {
 public:
  /// `repairs` in list order, none of them muted or without weight; the caller keeps them alive.
  RepairLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs);
  virtual ~RepairLayer() = default;
  RepairLayer(const RepairLayer&) = delete;
  RepairLayer& operator=(const RepairLayer&) = delete;

  [[nodiscard]] const RepairContext& context() const { return *context_; }
  [[nodiscard]] const std::vector<const Repair*>& repairs() const { return repairs_; }
  [[nodiscard]] const RepairFrames& framesOf(std::size_t repair) const { return frames_[repair]; }

  /// Frames that a repair may write: its span and eases, wider where the kind says so (a pelvis that follows plants).
  [[nodiscard]] virtual FrameSpan extent(std::size_t repair) const { return frames_[repair].acting(); }
  /// The same for a nudge of a layer that has nudges.
  [[nodiscard]] virtual FrameSpan nudgeExtent(std::size_t) const { return {}; }
  /// Output frames that may differ where the input differs in `changed` (a span inside the clip), beyond `changed` itself.
  /// The default is a layer that reads the frame it writes.
  [[nodiscard]] virtual FrameSpan affected(FrameSpan changed) const { return changed; }
  /// Joints it moves besides turning them, ascending.
  [[nodiscard]] virtual std::vector<int> movedJoints() const { return {}; }
  /// True where locked bones are kept from it afterwards (all kinds but the artist's own offsets and nudges).
  [[nodiscard]] virtual bool automatic() const { return true; }
  /// Writes the frames of `frames`. `out` is writable there and holds the input's bytes at those frames (with tracks for
  /// movedJoints() added); `in` is the whole input. residuals[i] belongs to repairs()[i] and covers its extent; the misses
  /// of `frames` are 0 on entry.
  virtual void apply(const TiledMotion& in, FrameSpan frames, TiledMotion& out, std::vector<Residual>& residuals) const = 0;

 protected:
  std::shared_ptr<const RepairContext> context_;
  std::vector<const Repair*> repairs_;
  std::vector<RepairFrames> frames_;
};

using RepairLayerPtr = std::shared_ptr<const RepairLayer>;

/// "plant 7 'left foot on the step'": how messages name a repair.
[[nodiscard]] std::string describe(const Repair& repair);

}  // namespace understudy
