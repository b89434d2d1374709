// Bakes an evaluated take into plain per-bone curves and measures what a written file really holds.
#pragma once

#include <memory>
#include <string>

#include "core/evaluate/evaluate.h"
#include "core/io/write.h"

namespace understudy {

/// A baked take; owns the motion that `clip` points to, so it is moved, not copied.
struct Baked {
  std::unique_ptr<const Motion> motion;
  BakedClip clip;
  std::vector<std::unique_ptr<const Figure>> props;  ///< what `clip.props` points to
  Issues notes;
};

/// Tracks for the joints the retargeting animates and those nudged; at the hand-over rate where it is another one. Props that a grip
/// or a holder holds go along; those whose file cannot be read are told in the notes and left out. Error: nothing evaluated.
[[nodiscard]] Result<Baked> bake(const Take& take, const Figure& character, const Evaluated& evaluated);

/// Reads a written .glb, .gltf or .bvh back and compares it with `baked` on every frame: the farthest any of the points
/// 3 cm from a joint along the three axes lies from where it should be, in world millimetres. Joints the format leaves out
/// are not measured. Errors: the file cannot be read, or lacks the animation; CSV holds no curves (usage).
[[nodiscard]] Result<Fidelity> measureFidelity(const std::string& path, const Figure& character, const BakedClip& baked,
                                               const RunControl& control = {});

}  // namespace understudy
