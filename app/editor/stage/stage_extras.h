// What the stage can show besides the two figures: paths, distances, the set. No widgets, no drawing.
#pragma once

#include <functional>
#include <vector>

#include "app/editor/document/document.h"
#include "app/editor/stage/stage_options.h"

namespace understudy::editor {

/// Where a joint is at the frames first … last, `placement` taking file coordinates to the stage; empty outside the motion.
[[nodiscard]] std::vector<Vec3d> jointPath(const Skeleton& skeleton, const TiledMotion& motion, int joint, int first, int last, const Affined& placement);
/// Where a point of a prop (metres, its own frame) is at frames of the evaluated take, in the repairs' world.
[[nodiscard]] std::vector<Vec3d> propPointPath(const Document& document, const Evaluated& evaluated, std::uint64_t prop, const Vec3d& point, int first, int last);

/// How near a point of a sole is to the ground, or of an arm's skin to the body, in the repairs' world.
struct GapMark {
  Vec3d at;
  double gap = 0;      ///< metres, negative inside
  bool sole = false;
};
/// Points within 30 mm (of a character 1.7 m tall). Arms are looked at once the body's grids are there: a look at findings makes them.
[[nodiscard]] std::vector<GapMark> gapsAt(const Document& document, const Evaluated& evaluated, int frame);

/// Axes of the handles of a character joint at a frame, in the stage; `view` by the camera.
[[nodiscard]] Quatd handleAxes(NudgeSpace space, const Evaluated& evaluated, int joint, int frame, const Camera& camera);

/// Things of the set as the stage draws them, kept while they stay as they are.
class SetPictures {
 public:
  /// `changed` is called when a mesh has been read in the background.
  SetPictures(Document& document, std::function<void()> changed) : document_(document), changed_(std::move(changed)) {}
  /// Null while it is not read.
  [[nodiscard]] StageFigurePtr figureOf(const SetItem& item);

 private:
  Document& document_;
  std::function<void()> changed_;
  std::vector<std::pair<SetItem, StageFigurePtr>> made_;
};

}  // namespace understudy::editor
