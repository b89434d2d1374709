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
  double share = 0.4;            ///< of grips without a prop
  double ease = 0.3;             ///< seconds before and after
  GripDivision division;
};

/// Grips that keep the hands together where the performer holds something in both (findBodyContacts), with their frames worked out
/// on `motion` (what the stage of grips gets). Without a prop the lead hand comes part of the way, and a long hold becomes
/// several grips where one would bend the arms too far from their own way (divideGrip); with a prop it is one, and the lead hand
/// keeps its pose. `rate` is that of the performer's frames. Holds that cannot be gripped are told in `issues`.
[[nodiscard]] std::vector<Repair> proposeGrips(const RepairContext& context, const TiledMotion& motion, const std::vector<HandsTogether>& holds,
                                               FrameRate rate, const GripProposalSettings& settings, Issues& issues);

/// How far the support palm is from its place on the lead hand over a grip's span.
struct GripDrift {
  double worstMetres = 0, meanMetres = 0;
  double worstRadians = 0;
  int worstFrame = 0;      ///< counted from 0
};
[[nodiscard]] GripDrift gripDrift(const RepairContext& context, const TiledMotion& motion, const Repair& grip);

}  // namespace understudy
