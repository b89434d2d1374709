// Small files made by the tests themselves: a walking performer and a rigged stick character.
#pragma once

#include <string>

#include "core/figure/figure.h"

namespace understudy {

/// A folder of its own for a test, removed with everything in it at the end.
class TemporaryFolder {
 public:
  TemporaryFolder();
  ~TemporaryFolder();
  TemporaryFolder(const TemporaryFolder&) = delete;
  TemporaryFolder& operator=(const TemporaryFolder&) = delete;
  [[nodiscard]] const std::string& path() const { return path_; }
  [[nodiscard]] std::string file(const std::string& name) const { return path_ + "/" + name; }

 private:
  std::string path_;
};

struct WalkOptions {
  int frames = 61;
  double frameTime = 1.0 / 60;
  double scale = 100;          ///< file units a metre
  bool moveSpine = false;      ///< six channels on the spine, which slides a little
};
/// BVH text: 22 joints, T-pose, Y up, facing +Z, 1.7 m tall; walks along +Z with swinging arms.
[[nodiscard]] std::string makeWalkBvh(const WalkOptions& options = {});

struct StickOptions {
  double scale = 1;            ///< metres a unit
  double armsDown = 40;        ///< degrees the arms hang below the horizontal (A-pose)
  double legLength = 0.8;      ///< thigh + shank in metres
  bool existingClip = true;    ///< an animation "idle" of the character's own
};
/// .glb bytes: skeleton, one skin, a box a bone, Y up, facing +Z. Its bones have names unlike the walk's.
[[nodiscard]] std::string makeStickCharacterGlb(const StickOptions& options = {});

/// Writes text or bytes.
void writeFile(const std::string& path, const std::string& bytes);
[[nodiscard]] std::string readFile(const std::string& path);

}  // namespace understudy
