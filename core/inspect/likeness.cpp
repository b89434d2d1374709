#include "core/inspect/likeness.h"

#include <algorithm>
#include <cmath>

#include "core/inspect/causes.h"
#include "core/repair/poser.h"

namespace understudy {
namespace {

struct Directions {
  Vec3d upper, lower;
};

Directions directionsOf(const Poser& poser, const LimbRig& limb) {
  return {normalised(poser.position(limb.mid) - poser.position(limb.root)), normalised(poser.position(limb.end) - poser.position(limb.mid))};
}

double between(const Directions& a, const Directions& b) {
  return std::max(angleBetween(a.upper, b.upper), angleBetween(a.lower, b.lower));
}

}  // namespace

std::vector<Departure> departures(const Take& take, const Evaluated& evaluated, const LikenessSettings& settings) {
  std::vector<Departure> out;
  const RepairContext& context = *evaluated.context;
  const std::array<std::pair<const LimbRig*, BodyLimb>, 4> limbs{{{&context.arms[0], BodyLimb::leftArm}, {&context.arms[1], BodyLimb::rightArm},
                                                                 {&context.legs[0], BodyLimb::leftLeg}, {&context.legs[1], BodyLimb::rightLeg}}};
  const int join = static_cast<int>(std::lround(settings.join * context.rate.hertz()));
  const TiledMotion& plain = evaluated.stageInputs.front();
  const Causes causes(take, evaluated);
  Poser now(context), before(context);
  std::array<int, 4> open{-1, -1, -1, -1};
  for (int k = 0; k < evaluated.frames; ++k) {
    const int f = evaluated.trimFirst + k;
    now.load(evaluated.untrimmed, f);
    before.load(plain, f);
    for (std::size_t i = 0; i < limbs.size(); ++i) {
      if (!limbs[i].first->complete()) continue;
      const double angle = between(directionsOf(now, *limbs[i].first), directionsOf(before, *limbs[i].first));
      if (angle <= settings.limit) continue;
      if (open[i] < 0 || f - out[static_cast<std::size_t>(open[i])].span.last > join) {
        open[i] = static_cast<int>(out.size());
        Departure departure;
        departure.limb = limbs[i].second;
        departure.span = {f, f};
        out.push_back(departure);
      }
      Departure& departure = out[static_cast<std::size_t>(open[i])];
      departure.span.last = f;
      ++departure.frames;
      if (angle > departure.radians) {
        departure.radians = angle;
        departure.worst = f;
      }
    }
  }
  for (Departure& departure : out) {
    const auto limb = std::find_if(limbs.begin(), limbs.end(), [&](const auto& l) { return l.second == departure.limb; });
    before.load(plain, departure.worst);
    const Directions was = directionsOf(before, *limb->first);
    double last = 0, most = 0;
    RepairStage maker = RepairStage::late;
    for (int s = 0; s < stageCount; ++s) {
      now.load(s + 1 < stageCount ? evaluated.stageInputs[static_cast<std::size_t>(s) + 1] : evaluated.untrimmed, departure.worst);
      const double angle = between(directionsOf(now, *limb->first), was);
      if (angle - last > most) {
        most = angle - last;
        maker = static_cast<RepairStage>(s);
      }
      last = angle;
    }
    const Repair* repair = causes.repairAt(maker, boneName(context, limb->first->root), departure.worst);
    departure.repair = repair ? repair->id : 0;
    departure.demands = repair ? describe(*repair) : "a nudge";
  }
  std::stable_sort(out.begin(), out.end(), [](const Departure& a, const Departure& b) { return a.span.first < b.span.first; });
  return out;
}

}  // namespace understudy
