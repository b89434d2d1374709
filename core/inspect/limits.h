// From what size on a flaw is one: the defaults of every kind, to be overridden for a character.
#pragma once

#include <map>
#include <span>
#include <string>

#include "core/inspect/balance.h"
#include "core/inspect/body_sinks.h"
#include "core/inspect/cloth.h"
#include "core/inspect/depth.h"
#include "core/inspect/events.h"
#include "core/inspect/feet.h"
#include "core/inspect/head_sinks.h"
#include "core/inspect/jumps.h"
#include "core/inspect/range.h"
#include "core/inspect/restless.h"
#include "core/inspect/touches.h"
#include "core/inspect/twist.h"

namespace understudy {

struct GripLimits {
  double place = 0.0005;     ///< metres of a character 1.7 m tall
  double turn = 0.0087266;   ///< radians
  double ground = 0.002;     ///< metres of a character 1.7 m tall that a prop may lie below the ground
  double takingHold = 0.15;  ///< seconds at both ends of a hold that do not count: hands come together and part
};

struct FindingLimits {
  FeetLimits feet;
  HeadSinkLimits head;
  BodySinkLimits body;
  JumpLimits jumps;
  RestlessLimits restless;
  TwistLimits twist;
  TouchLimits touches;
  GripLimits grips;
  DepthSettings depth;
  RangeLimits range;
  ClothLimits cloth;
  BalanceLimits balance;
  EventSettings events;
};

/// A limit that can be set by name.
struct LimitField {
  const char* name;   ///< "slide"
  const char* unit;   ///< "mm" (of a character 1.7 m tall), "°", "×"
  const char* help;   ///< what it is, for people
  double perUnit;     ///< of the struct's own unit: 0.001 for millimetres
  double& (*of)(FindingLimits& limits);
};
[[nodiscard]] std::span<const LimitField> limitFields();

/// Sets limits by name, in the units of limitFields(). Errors (usage), with nothing set: no such name (which there are), a value that is
/// not finite or not above 0.
[[nodiscard]] Status setLimits(const std::map<std::string, double>& values, FindingLimits& limits);

}  // namespace understudy
