// What the stage shows besides the figures, as a value.
#pragma once

#include <cstdint>
#include <vector>

#include "core/repair/nudge.h"

namespace understudy::editor {

/// What the camera goes along with.
enum class Follow { nothing, figures, leftHand, rightHand, leftFoot, rightFoot, prop };

/// As FigureInstance::hiddenMeshes has it.
enum class MeshShow : std::uint8_t { shown, hidden, through };

struct StageOptions {
  bool bones = true;
  bool echoes = false;   ///< the poses before and after
  bool path = false;     ///< where the selected bone, or the chosen point of a prop, goes
  bool before = false;   ///< the character without repairs, as a ghost
  bool gaps = false;     ///< soles and arms coloured by how near they are to ground and body
  Follow follow = Follow::figures;
  NudgeSpace axes = NudgeSpace::bone;  ///< of the handles
  std::vector<std::uint8_t> meshes;    ///< a MeshShow each of the character's meshes; empty: all shown
  friend bool operator==(const StageOptions&, const StageOptions&) = default;
};

}  // namespace understudy::editor
