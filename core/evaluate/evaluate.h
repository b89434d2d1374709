// From a take to poses: sample → resample → retarget → repairs in their fixed order → trim. Stages are kept and reused where
// their inputs are the same.
#pragma once

#include <array>
#include <memory>

#include "core/motion/tiled_motion.h"
#include "core/repair/stages.h"
#include "core/retarget/retarget.h"
#include "core/take/take.h"

namespace understudy {

/// The files of a take as read. Either may be missing; what can be evaluated without it, is.
struct Sources {
  std::shared_ptr<const Figure> performer;
  std::shared_ptr<const Figure> character;
  FileReference performerFile, characterFile;  ///< what readSources read them from
};

/// Result of a take. Frames count from 0 of the trimmed clip; the number shown is firstFrame + index.
struct Evaluated {
  FrameRate rate;                  ///< the scene's
  int frames = 0;                  ///< after trimming
  int clipFrames = 0;              ///< before trimming, at the scene's rate
  int trimFirst = 0;               ///< index of the first trimmed frame in the untrimmed clip
  int firstFrame = 1;
  TiledMotion performer;           ///< the performance, trimmed
  std::shared_ptr<const Motion> performerNative;  ///< untrimmed, at the performer's own rate
  std::shared_ptr<const std::string> history;     ///< the performer clip's, null where it has none
  TiledMotion base;                ///< the character as retargeted, trimmed; no frames without a character or complete map
  TiledMotion motion;              ///< with all repairs: what is shown and exported
  TiledMotion untrimmed;           ///< the same, all frames of the clip
  std::shared_ptr<const BoneMap> map;            ///< null without both files
  std::shared_ptr<const RetargetReport> report;  ///< null where nothing was retargeted
  std::shared_ptr<const RepairContext> context;  ///< null where nothing was retargeted
  std::vector<Residual> residuals;               ///< frames count in the untrimmed clip
  std::array<TiledMotion, stageCount> stageInputs;  ///< untrimmed, by RepairStage
  std::array<long, stageCount> framesRun{};      ///< frames each stage has evaluated since the cache was made
  Issues issues;                   ///< warnings and notes; an error here says why `motion` is empty
  [[nodiscard]] bool complete() const { return report != nullptr; }
};

/// The stages of earlier evaluations. One cache serves one thread at a time; results stay valid after it is gone.
class EvaluationCache {
 public:
  EvaluationCache();
  ~EvaluationCache();
  EvaluationCache(EvaluationCache&&) noexcept;
  EvaluationCache& operator=(EvaluationCache&&) noexcept;
  struct Stages;
  /// How often each stage ran since the cache was made.
  struct Counts {
    int sampled = 0, mapped = 0, retargeted = 0, repaired = 0;
  };
  [[nodiscard]] Counts counts() const;
  [[nodiscard]] Stages& stages() { return *stages_; }

 private:
  std::unique_ptr<Stages> stages_;
};

/// Reads the files of a take. Errors: none chosen, missing, unreadable. `keep` (may be null) holds figures already read,
/// which are used where path and overrides are the same.
[[nodiscard]] Result<Sources> readSources(const Take& take, const Sources* keep = nullptr, const RunControl& control = {});
[[nodiscard]] Result<std::shared_ptr<const Figure>> readReference(const FileReference& file, const RunControl& control = {});

/// Evaluates a take. With a performer but no character (or an incomplete map) the performer's motion is still there and
/// `issues` says what is missing. Errors: no performer, no such clip, an empty trim, stopped, defects of the input.
[[nodiscard]] Result<Evaluated> evaluate(const Take& take, const Sources& sources, EvaluationCache* cache = nullptr,
                                         const RunControl& control = {});

/// The take with an anchor in every repair that needs one and has none, each read off the input of its own stage. What cannot
/// stand where it should is told in `issues` and stays without.
[[nodiscard]] Result<Take> refitted(const Take& take, const Sources& sources, EvaluationCache* cache = nullptr, Issues* issues = nullptr,
                                    const RunControl& control = {});

/// Joints whose rotations differ anywhere between two motions of one skeleton, ascending.
[[nodiscard]] std::vector<int> turnedJoints(const TiledMotion& a, const TiledMotion& b);

/// A nudge at a frame of the evaluated take (counted from 0), with the default ease.
[[nodiscard]] Nudge nudgeAt(const Evaluated& evaluated, int frame);
/// Frame (counted from 0, may lie outside the trim) of a nudge in the evaluated take.
[[nodiscard]] int frameOf(const Evaluated& evaluated, const Nudge& nudge);

/// Applies nudges to a motion on the character's skeleton, whose frame 0 is the untrimmed clip's. Frames outside each
/// nudge's ease keep their bytes. `report` gives the stage's axes and `map` the hips (either may be null: rest axes).
[[nodiscard]] TiledMotion applyNudges(const Figure& character, const TiledMotion& base, const Nudges& nudges, const BoneMap* map,
                                      const RetargetReport* report, std::vector<int>* nudgedJoints = nullptr, Issues* issues = nullptr);

}  // namespace understudy
