// Two hands that hold something together: proposed as grips, measured on the result.
#pragma once

#include <optional>
#include <vector>

#include "core/contact/body_contacts.h"
#include "core/repair/grip.h"

namespace understudy {

struct GripProposalSettings {
  std::optional<bool> leadLeft;  ///< which hand leads; none: the one that travels clearly more, else the right
  std::uint64_t prop = 0;        ///< the context's prop that is held; 0: none is seen
  bool onFloor = true;           ///< hands hold a prop so far down its handle that its working end stays above the floor (y = 0)
  double share = 0.4;            ///< of grips without a prop
  double ease = 0.3;             ///< seconds before and after
  GripDivision division;
};

/// Grips that keep the hands together where the performer holds something in both (findBodyContacts), with their frames worked out
/// on `motion` (what the stage of grips gets). Without a prop the lead hand comes part of the way, and a long hold becomes
/// several grips where one would bend the arms too far from their own way (divideGrip); with a prop it is one, and the lead hand
/// keeps its pose. `rate` is that of the performer's frames. Holds that cannot be gripped are told in `issues`.
/// `performed`: the motion that says where one hold ends and the next begins, where it is another than the one the hands are placed by.
/// `threads` as in parallelFor().
[[nodiscard]] std::vector<Repair> proposeGrips(const RepairContext& context, const TiledMotion& motion, const std::vector<HandsTogether>& holds,
                                               FrameRate rate, const GripProposalSettings& settings, Issues& issues, const TiledMotion* performed = nullptr, int threads = 0);

/// How far the hands have to hold a prop further towards its working end so that the end does not go through the floor (y = 0) while a
/// grip holds it: metres along the handle, as far as the handle goes; and what size of the prop, against its present one, would do
/// without. Frames in which the prop is nearly level do not count, nor does the deepest twentieth of the others (the deeper half where
/// the grip keeps the prop above the ground by itself). Both are 0 and 1 where nothing is to be done or where the prop's working end is not known.
struct GripShift {
  double along = 0;
  double scale = 1;
  double deepest = 0;  ///< metres the end lies below the floor before that
  double needed = 0;   ///< metres as `along`, wherever the handle ends; negative: the end keeps above the floor, and so far nearer would do
};
[[nodiscard]] GripShift floorShift(const RepairContext& context, const TiledMotion& motion, const Repair& grip);
/// The grip with both hands that far (metres) further towards the prop's working end.
[[nodiscard]] GripRepair shiftedGrip(const RepairContext& context, const GripRepair& grip, double along);

/// How far the support palm is from its place on the lead hand over a grip's span.
struct GripDrift {
  double worstMetres = 0, meanMetres = 0;
  double worstRadians = 0;
  int worstFrame = 0;      ///< counted from 0
};
[[nodiscard]] GripDrift gripDrift(const RepairContext& context, const TiledMotion& motion, const Repair& grip);

}  // namespace understudy
