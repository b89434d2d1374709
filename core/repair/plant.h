// Keeps a character's feet, knees, hands or seat on the ground while they stand there.
#pragma once

#include "core/repair/layer.h"

namespace understudy {

struct PlantSettings {
  double straightest = 0.995;  ///< planted reach at most this part of the leg (thigh + shank), or what it was before
  double pelvisLimit = 0.1;    ///< for the sake of reach the pelvis is lowered by at most this part of the leg
  double followLimit = 0.15;   ///< the pelvis goes with the feet that stand, by at most this part of the leg,
  double raiseLimit = 0.3;     ///< where a leg would have to fold further than it can it is raised by at most this part of the leg,
  double turnLimit = 0.35;     ///< and turns by at most this, radians
  double pelvisTime = 0.08;    ///< seconds over which the pelvis' way is enveloped, and again smoothed
};
[[nodiscard]] const PlantSettings& plantSettings();

/// All plants of a take, and what keeps trunk and legs above the ground, in one layer. A planted foot rolls over its sole without slipping: the lowest point stays where it is
/// until the next one has come down too; its pitch follows the motion, level in flat phases, toes up in heel phases, heel up in
/// the others, where toes stay flat until their own phase; in spin phases it turns about what is down of the ball, or of the heel after a
/// heel phase. From the release on it turns
/// about what it stands on, after its joint's own way, and hardly slips. Legs follow in their own bend plane. The pelvis is raised
/// as the plants' anchors say, goes with the feet that stand, smoothed over time, so that legs keep their shape, and sinks where
/// a leg would be straighter than it was or may be, or its knee would give way at a stroke; what of its way would jerk knees that stand is
/// taken out of it, and out of knees what twists them by jerks. A foot between its plants goes with it
/// near them and is kept off the ground, and far from them with what raises the others; one without plants stays where it was. Before and after a plant the change fades along the foot's own way, value and speed matched. Plants that
/// cannot be kept are told in `issues`. A ground repair raises the pelvis, over its span and eases, by the gentlest way that keeps trunk and thighs
/// out of the ground (y = 0, or lower where feet stand lower), as far as feet that stand let it; feet that do not, and their shanks, come out too.
/// Its residual is what still lies in the ground, metres.
[[nodiscard]] RepairLayerPtr makePlantLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, Issues& issues);

/// The repair with its anchor read off the motion, as evaluated up to the plants: where the part stands with the least change
/// of the leg over the plant's frames, within its reach. Anything but a plant, and what lies outside the motion, comes back as it is.
[[nodiscard]] Repair anchoredPlant(Repair repair, const RepairContext& context, const TiledMotion& motion);

}  // namespace understudy
