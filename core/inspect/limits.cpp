#include "core/inspect/limits.h"

#include <algorithm>
#include <cmath>
#include <iterator>

namespace understudy {
namespace {

constexpr double millimetre = 0.001, degree = 0.017453292519943295;

const LimitField fields[] = {
    {"slide", "mm", "a planted foot may wander", millimetre, [](FindingLimits& l) -> double& { return l.feet.slide; }},
    {"ground", "mm", "a planted foot may stand above or below the ground", millimetre, [](FindingLimits& l) -> double& { return l.feet.height; }},
    {"body", "mm", "trunk, thighs and shanks may lie in the ground", millimetre, [](FindingLimits& l) -> double& { return l.body.least; }},
    {"head", "mm", "the head may lie in the ground", millimetre, [](FindingLimits& l) -> double& { return l.head.least; }},
    {"jump", "°", "a bone may turn in one frame more than around it", 1, [](FindingLimits& l) -> double& { return l.jumps.least; }},
    {"jumpRatio", "×", "a jump against the median step around it", 1, [](FindingLimits& l) -> double& { return l.jumps.ratio; }},
    {"flip", "°", "a jump that comes back is a flip from here on", 1, [](FindingLimits& l) -> double& { return l.jumps.flip; }},
    {"forearmTwist", "°", "a forearm may turn against elbow and hand", 1, [](FindingLimits& l) -> double& { return l.twist.arm; }},
    {"shankTwist", "°", "a shank may turn against knee and foot", 1, [](FindingLimits& l) -> double& { return l.twist.leg; }},
    {"touchGap", "mm", "skins that should meet may stay apart", millimetre, [](FindingLimits& l) -> double& { return l.touches.gap; }},
    {"touchDepth", "mm", "skins that should meet may overlap", millimetre, [](FindingLimits& l) -> double& { return l.touches.depth; }},
    {"touchPlace", "mm", "a point that should be touched may be missed", millimetre, [](FindingLimits& l) -> double& { return l.touches.place; }},
    {"gripPlace", "mm", "the support hand may leave its grip", millimetre, [](FindingLimits& l) -> double& { return l.grips.place; }},
    {"gripTurn", "°", "the support hand may turn on its grip", degree, [](FindingLimits& l) -> double& { return l.grips.turn; }},
    {"depth", "mm", "an arm may lie in body or floor", millimetre, [](FindingLimits& l) -> double& { return l.depth.least; }},
};

}  // namespace

std::span<const LimitField> limitFields() { return fields; }

Status setLimits(const std::map<std::string, double>& values, FindingLimits& limits) {
  FindingLimits next = limits;
  for (const auto& [name, value] : values) {
    const auto* field = std::find_if(std::begin(fields), std::end(fields), [&](const LimitField& f) { return f.name == name; });
    if (field == std::end(fields)) {
      std::string known;
      for (const LimitField& f : fields) known += (known.empty() ? "" : ", ") + std::string(f.name);
      return makeError(Fault::usage, "There is no threshold '" + name + "'", {}, "There are " + known);
    }
    if (!std::isfinite(value) || value <= 0) return makeError(Fault::usage, "The threshold '" + name + "' must be a number above 0", {}, "It is counted in " + std::string(field->unit));
    field->of(next) = value * field->perUnit;
  }
  limits = next;
  return Done{};
}

}  // namespace understudy
