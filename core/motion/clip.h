// Clips as files hold them: sampled, or keyed curves that are sampled when needed.
#pragma once

#include <memory>
#include <string>
#include <vector>

#include "core/motion/motion.h"

namespace understudy {

enum class CurveTarget { translation, rotation, scale, morphWeights };
enum class Interpolation { step, linear, cubic };

/// One animated property of one joint. Times in seconds, ascending. Values are packed: 3 floats a key for translation
/// and scale, 4 (w, x, y, z) for rotation, `morphCount` for morph weights; cubic keys hold in-tangent, value,
/// out-tangent as in glTF 2.0.
struct KeyedCurve {
  int joint = 0;
  CurveTarget target = CurveTarget::rotation;
  Interpolation interpolation = Interpolation::linear;
  int morphCount = 0;
  std::vector<float> times;
  std::vector<float> values;
};

/// A named animation of a file.
struct Clip {
  std::string name;      ///< as in the file; may be empty
  FrameRate rate;        ///< the file's own rate, or the rate its keys are evenly spaced at
  bool rateStated = true;  ///< false: the file states no rate and its keys gave none; 30 is assumed
  bool still = false;    ///< true: the file holds no frames, and the clip's only one is the rest pose
  double start = 0;      ///< seconds; time of the first key
  double end = 0;        ///< seconds; time of the last key
  std::vector<KeyedCurve> curves;           ///< empty for a sampled clip
  std::shared_ptr<const Motion> sampled;    ///< set for a sampled clip (BVH)
  /// What the program that handed the clip over left beside it (a JSON object); null where there is nothing, or where the curves are
  /// not those it was left beside any more.
  std::shared_ptr<const std::string> history;

  /// Number of frames at the clip's own rate.
  [[nodiscard]] int frames() const;
};

/// The clip as a motion at its own rate, starting at the clip's first key; the last key's time always has a frame.
[[nodiscard]] Result<Motion> sample(const Clip& clip, const Skeleton& skeleton, const RunControl& control = {});

/// Value of a curve at a time, clamped to its first and last key; `out` receives 3, 4 or morphCount floats.
void evaluate(const KeyedCurve& curve, double time, float* out);

}  // namespace understudy
