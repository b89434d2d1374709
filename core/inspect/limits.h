// From what size on a flaw is one: the defaults of every kind, to be overridden for a character.
#pragma once

#include "core/inspect/depth.h"
#include "core/inspect/events.h"
#include "core/inspect/feet.h"
#include "core/inspect/jumps.h"
#include "core/inspect/touches.h"
#include "core/inspect/twist.h"

namespace understudy {

struct GripLimits {
  double place = 0.0005;     ///< metres of a character 1.7 m tall
  double turn = 0.0087266;   ///< radians
  double takingHold = 0.15;  ///< seconds at both ends of a hold that do not count: hands come together and part
};

struct FindingLimits {
  FeetLimits feet;
  JumpLimits jumps;
  TwistLimits twist;
  TouchLimits touches;
  GripLimits grips;
  DepthSettings depth;
  EventSettings events;
};

}  // namespace understudy
