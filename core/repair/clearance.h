// Keeps arms out of the body over time.
#pragma once

#include "core/repair/layer.h"

namespace understudy {

struct BodyModel;

/// The stage that clears arms. `hands`: free: the wrist may move (before touches and grips); stay: only the elbow swivels, hands
/// keep place and rotation (after them), and only where a touch or grip among `repairs` takes the arm's hand. Null where there is
/// nothing to clear; where the character has no skin to clear, `issues` tells.
enum class ClearedHands : unsigned char { free, stay };
[[nodiscard]] RepairLayerPtr makeClearanceLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, ClearedHands hands, Issues& issues);

/// The character's body as grids, built once for the same content.
[[nodiscard]] std::shared_ptr<const BodyModel> bodyModelOf(const RepairContext& context);

/// How deep each arm (left, right) is in the body at every frame of a motion, metres; 0 where it is clear. What was asked of the character's
/// last motions is remembered frame by frame. `threads` as in parallelFor().
using ArmDepths = std::array<std::vector<float>, 2>;
[[nodiscard]] ArmDepths armDepths(const RepairContext& context, const TiledMotion& motion, int threads = 0);
/// The same of some frames; the others are 0.
[[nodiscard]] ArmDepths armDepths(const RepairContext& context, const TiledMotion& motion, FrameSpan frames, int threads = 0);

/// The same of one arm (0 left, 1 right) at one frame.
[[nodiscard]] double armDepth(const RepairContext& context, const TiledMotion& motion, int side, int frame);

/// Which part of an arm (0 left, 1 right) lies deepest in which part of the body at a frame, as words: "left hand", "head". Empty where none does.
struct DeepParts {
  std::string of, in;
};
[[nodiscard]] DeepParts deepParts(const RepairContext& context, const TiledMotion& motion, int side, int frame);

}  // namespace understudy
