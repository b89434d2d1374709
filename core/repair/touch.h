// Touches: a point of a hand, foot or prop brought to a place and kept there.
#pragma once

#include <memory>
#include <vector>

#include "core/repair/layer.h"

namespace understudy {

/// How far skins are from each other: by grids of the reference pose that are bent along with the joints, which is off by millimetres where
/// they bend much, or at last by the posed triangles themselves.
enum class SkinMeasure : unsigned char { quick, exact };

/// The stage of touches. Within its span a touch brings its point to the target by the smallest change of its limb, which keeps
/// its bend plane while hand or foot keep their direction: where the limb is too short the collarbone gives way, then the spine a
/// little (if the touch allows; the other arm and the head then stay as they were), never the pelvis. Before and after the span
/// the turns of its joints at the edge fade out, going on at first as fast as they were changing. Where several touches
/// of a limb fade into each other they share it; a touch within its span has it alone.
///
/// A touch of a prop's point moves the hand that leads the prop: by the grip that holds it over most of the span, else by the prop's
/// holder at that time, else by the hand `bone` with the prop's lead grip in its palm. The grip stays as it is; where the arm does not
/// get there, the hand turns so that the prop points to the place.
///
/// Targets: a point or (rest, meet) a place of a plane; the nearest place of a plane, a set object, a body or a hand (glide);
/// `place` on a bone, or on a prop that the other hand, another bone or the stage holds then; a `path` over bones. Two hands that
/// touch each other both come, by `share`, unless the other one is locked or has a touch of its own there. Touches whose bone belongs to no limb, whose target is unknown, or whose numbers are not finite
/// are told in `issues` and left out. The residual is the distance left between point and target.
[[nodiscard]] RepairLayerPtr makeTouchLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, Issues& issues,
                                            SkinMeasure measure = SkinMeasure::exact);

/// Where a touch's point is in a motion.
struct TouchMiss {
  double gap = 0;     ///< metres: of skin touches between the skins, negative inside; of points to the target
  double place = 0;   ///< metres from the place, along the surface
  bool skin = false;
};
/// One a frame of the touch's span; nothing where the touch cannot be applied. `grips` say how a touch's prop lies in the hand (other
/// kinds are passed over).
[[nodiscard]] std::vector<TouchMiss> touchMisses(const RepairContext& context, const TiledMotion& motion, const Repair& touch,
                                                 const std::vector<const Repair*>& grips = {}, SkinMeasure measure = SkinMeasure::exact);

}  // namespace understudy
