// Handing results over. Nothing half-written is ever left: files are written beside their target and renamed.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/base/run_control.h"
#include "core/figure/figure.h"
#include "core/math/rigid.h"

namespace understudy {

/// A prop that goes along with a clip: where it is at each frame, in world metres of the character's Space (Y up, not turned to
/// face +Z).
struct BakedProp {
  std::string name;
  const Figure* figure = nullptr;  ///< one joint at the origin with rigid meshes, metres; null: `joint` is animated instead
  int joint = -1;                  ///< of the character: a node of its own file that is the prop
  std::vector<Rigid> path;         ///< one a frame of the motion
};

/// Which frames get keys, by joint; joints that are not named get all. Frames ascend and hold the first and the last.
struct KeyPlan {
  bool smooth = false;  ///< cubic curves with the motion's own slope at each key, not straight ones
  std::map<int, std::vector<int>> rotation, translation;
};

/// A baked animation on a figure's own skeleton: which joints get which tracks.
struct BakedClip {
  std::string name = "Understudy";
  const Motion* motion = nullptr;      ///< local, file unit and axes of the figure
  std::vector<int> rotated;            ///< joints with rotation tracks (translations: motion->movedJoints)
  int firstFrame = 1;                  ///< number of the first frame, where the format has numbers
  std::optional<KeyPlan> plan;         ///< glTF only; none: a key a frame
  std::vector<BakedProp> props;        ///< glTF only: animated nodes beside the character
  std::string history;                 ///< glTF only: a JSON object that a reader gets back as Clip::history; empty: none
};

/// Writes bytes to `path` by way of a temporary file in the same folder. Errors: unwritable, disk full.
[[nodiscard]] Status writeBytes(const std::string& path, std::string_view bytes);

/// The character's own glTF file with the animation added; everything else untouched. `path` ends in .glb or .gltf.
[[nodiscard]] Status writeIntoOwnGltf(const Figure& character, const BakedClip& clip, const std::string& path, const RunControl& control = {});
/// A new .glb with nodes, skins, meshes, base-colour materials and the animation (for FBX and Collada characters).
[[nodiscard]] Status writeNewGlb(const Figure& character, const BakedClip& clip, const std::string& path, const RunControl& control = {});
/// Nodes and animation only.
[[nodiscard]] Status writeAnimationGlb(const Figure& character, const BakedClip& clip, const std::string& path, const RunControl& control = {});
[[nodiscard]] Status writeBvh(const Figure& character, const BakedClip& clip, const std::string& path, const RunControl& control = {});
/// One row a frame and joint: frame, time, joint, world position (m) and world quaternion.
[[nodiscard]] Status writeCsv(const Figure& character, const BakedClip& clip, const std::string& path, const RunControl& control = {});
/// Chooses by the extension of `path` and the character's format.
[[nodiscard]] Status handOver(const Figure& character, const BakedClip& clip, const std::string& path, bool animationOnly = false,
                              const RunControl& control = {});

/// A warning where the format of `path` cannot hold the clip's props, which are then left out (BVH and CSV hold a skeleton alone).
[[nodiscard]] std::optional<Issue> propsLeftOut(const BakedClip& clip, const std::string& path);

/// How far written curves are from the evaluated motion, measured at 3 cm from each joint along its axes.
struct Fidelity {
  double worstMillimetres = 0;
  std::string worstJoint;  ///< its key: of the character, or a prop beside it; empty: nothing is off
  int worstFrame = 0;     ///< counted from 0
  std::size_t keys = 0;
  std::size_t bytes = 0;
};

}  // namespace understudy
