// Grips: a prop in a lead hand, and the support hand kept on it.
#pragma once

#include <memory>
#include <optional>
#include <vector>

#include "core/math/rigid.h"
#include "core/repair/hands.h"
#include "core/repair/layer.h"

namespace understudy {

[[nodiscard]] inline Rigid rigidOf(const Placement& p) { return {p.rotation, p.position}; }
[[nodiscard]] inline Placement placementOf(const Rigid& r) { return {r.at, r.turn}; }

/// The stage of grips. With w the span's weight, L the lead palm and R = leadGrip⁻¹ · supportGrip, the support palm is brought to
/// L · (from its own place beside L to R, by w). A share of the way is taken by the lead hand, which keeps its direction. Where the
/// support hand does not reach, its collarbone gives way, then the lead hand comes nearer if it shares, then the chest a little (both
/// arms are then solved again with the prop where it was), then the hand slides along the prop if it may; what is left is the
/// residual. Arms are spared long before they are straight, where elbows would move far for little. Hands that share are evened out over
/// time, on the chest. The pelvis and the head's direction never change.
/// Grips that are not anchored, lack a hand or an arm, or name a prop the take does not have are told in `issues` and left out.
[[nodiscard]] RepairLayerPtr makeGripLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, Issues& issues);

/// Works out a grip's frames from the motion its stage gets (untrimmed): the palms from the skin; how both hands lie to each other
/// from their mean over the span, far enough apart for hands of their size where the motion keeps them apart, and within reach of
/// both arms as far as that goes; and the prop laid through both palms, lead and support where the prop's own grips have them.
/// The prop is the context's with the grip's id. Errors: a hand or arm is not mapped, no such prop, span outside the motion.
[[nodiscard]] Result<GripRepair> anchorGrip(const RepairContext& context, const TiledMotion& motion, const Repair& repair);

struct GripDivision {
  double mean = 14 * 0.017453292519943295;  ///< radians the bones of both arms may turn, on average
  double most = 45 * 0.017453292519943295;  ///< and in 95 of 100 cases
  double shortest = 1.5;  ///< seconds of a grip
  double regrip = 0.3;    ///< seconds between two grips in which the hands find their new places
  double earlier = 1.0;   ///< seconds by which the last grip but one may end earlier than it has to, for the hands to find their new places where they move most
  double edge = 0.5;      ///< seconds that may be taken off each end, where the hands are still on their way
};

/// Cuts the span of a grip that has no prop into as few spans as keep the arms from leaving their own way altogether, each long
/// enough: on a body of quite other proportions one relation of the hands cannot serve a long hold in which the arms go everywhere. Frames at the ends in
/// which the hands are not yet, or no longer, together are left out. Errors: as anchorGrip.
[[nodiscard]] Result<std::vector<FrameSpan>> divideGrip(const RepairContext& context, const TiledMotion& motion, const Repair& repair,
                                                        const GripDivision& settings = {});

/// The context's hands, worked out once: anchorGrip stores their palms.
[[nodiscard]] const std::array<Hand, 2>& handsOf(const RepairContext& context);

/// Hands and grips exchanged as in a mirror: the other hand leads, the prop lies in it as the mirror image of how it lay. Twice gives
/// the grip back, to rounding. A character without two hands: unchanged.
[[nodiscard]] GripRepair mirroredGrip(const RepairContext& context, const GripRepair& grip);
/// Lead and support exchanged, the prop staying in both hands where it is.
[[nodiscard]] GripRepair swappedGrip(const GripRepair& grip);
/// `next` as it is meant: where an anchored grip is told that the other hand leads and nothing else about its hold is changed,
/// lead and support are exchanged; any other change stays as it is.
[[nodiscard]] Repair ledAsChosen(const Repair& old, Repair next);

/// The prop with the lead hand as its holder wherever no grip holds it, lying in it as the first of its grips has it (as its own lead
/// grip says where there is none). A prop that has holders already, or a character without that hand, comes back as it is.
[[nodiscard]] PropItem carriedByLead(const RepairContext& context, const PropItem& prop, const std::vector<const Repair*>& repairs, bool leadLeft);

/// Lays a grip's prop into the lead hand as `like` has it; the support hand's place moves onto the prop's handle, across its axis only.
[[nodiscard]] GripRepair withLeadGripOf(const RepairContext& context, const GripRepair& grip, const GripRepair& like);

/// A holder of a prop that the character has, from a frame on.
struct HolderFrom {
  int first = 0;
  int joint = -1;  ///< −1: the stage
  const PropHolder* holder = nullptr;
};
/// A prop's holders in order, each from the frame nearest to its time on; of several from one frame on the last in the list counts. Those
/// whose bone the character lacks, or whose numbers are not finite, are left out. The prop must outlive them.
[[nodiscard]] std::vector<HolderFrom> holdersOf(const RepairContext& context, const PropItem& prop);
/// The one at a frame; null before the first.
[[nodiscard]] const HolderFrom* holderAt(const std::vector<HolderFrom>& holders, int frame);

/// Where a prop is over the frames `frames` of a motion that has its grips applied: with the lead hand during grips (blended over
/// their eases), else with its holder, else where the grip before left it or the one after takes it up, in the stage.
/// `repairs` are all of the take's in list order; muted and other ones are skipped. A prop nobody ever holds stays at the origin.
[[nodiscard]] std::vector<Rigid> propPath(const RepairContext& context, const TiledMotion& motion, const PropItem& prop,
                                          const std::vector<const Repair*>& repairs, FrameSpan frames);

}  // namespace understudy
