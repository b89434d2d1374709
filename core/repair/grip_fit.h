// What the files of grips share: checks, how two hands divide a move, and the relation that suits both arms.
#pragma once

#include <optional>
#include <vector>

#include "core/math/two_bone.h"
#include "core/repair/grip.h"
#include "core/repair/poser.h"

namespace understudy {

/// The context's prop of an id; none: null.
[[nodiscard]] const PropItem* propOf(const RepairContext& context, std::uint64_t id);
[[nodiscard]] bool isFinite(const Placement& p);
/// What is wrong with a grip on this character.
[[nodiscard]] std::optional<Issue> gripUnfit(const RepairContext& context, const Repair& repair, const GripRepair& grip);

/// Where the lead palm comes to lie if it takes `share` of what parts the support palm from its place beside it. Of all ways to
/// divide a move e and a turn r between both hands this one turns hands and arms least, squared, to first order: a move of a hand
/// turns both bones of its arm by about its length over the arm's reach, and a turn d of the lead hand about its palm moves the
/// support palm, which is at `arm` from it, by d × arm.
[[nodiscard]] Rigid sharedLead(const Rigid& lead, const Rigid& support, const Rigid& relative, double share, double leadReach, double supportReach);

/// One arm as the motion has it.
struct ArmPose {
  TwoBoneLimb joints;
  Rigid palm;
  double full = 0;
  Vec3d hinge;  ///< world
};
struct BothArms {
  ArmPose lead, support;
};

/// The arms over the frames first, first + step …
[[nodiscard]] std::vector<BothArms> armsOver(const RepairContext& context, const TiledMotion& motion, const GripRepair& grip, const std::array<Hand, 2>& hands,
                                             FrameSpan span, int step);
/// Radians by which upper arm, forearm and hand of both arms turn, the lead's first, when their palms keep `relation`.
[[nodiscard]] std::array<double, 6> boneTurns(const BothArms& arms, const Rigid& relation, const Rigid& leadPalm, const Rigid& supportPalm, double share);

struct GripFit {
  Rigid relation;
  double mean = 0, most = 0;   ///< radians of the six bones: average, and the 95th percentile
  std::vector<double> each;    ///< average of the six a sample
};
/// The relation between both palms that turns the arms' bones least. `most` samples at most count.
[[nodiscard]] GripFit fitGrip(const std::vector<BothArms>& all, const Rigid& leadPalm, const Rigid& supportPalm, double share, std::size_t most, int passes);

}  // namespace understudy
