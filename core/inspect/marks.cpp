#include "core/inspect/marks.h"

#include <algorithm>
#include <cmath>

#include "core/repair/grip.h"

namespace understudy {

std::vector<MarkPass> markPasses(const RepairContext& context, const std::vector<Vec3d>& points, const Vec3d& place, const MarkSettings& settings) {
  std::vector<MarkPass> passes;
  const double near = context.scaled(settings.near), fine = context.scaled(0.005);
  const int apart = std::max(1, static_cast<int>(std::lround(settings.apart * context.rate.hertz())));
  const int frames = static_cast<int>(points.size());
  // A point that rests or jitters at the mark is one pass until it has clearly left.
  bool left = true;
  double away = 0;
  for (int f = 0; f < frames; ++f) {
    const double d = distance(points[static_cast<std::size_t>(f)], place);
    if (!passes.empty()) left = left || d > near || d > settings.leave * passes.back().miss + fine;
    if (left && !passes.empty()) away = std::max(away, d);
    if (d > near) continue;
    const bool fresh = passes.empty() || (left && f - passes.back().frame >= apart && d < 0.9 * away);
    if (fresh) {
      passes.push_back({f, d});
      left = false;
      away = 0;
    } else if (d < passes.back().miss) {
      passes.back() = {f, d};
      left = false;
      away = 0;
    }
  }
  return passes;
}

std::vector<Vec3d> propPointWay(const RepairContext& context, const TiledMotion& motion, const PropItem& prop, const Vec3d& point,
                                const std::vector<const Repair*>& repairs) {
  std::vector<Vec3d> way;
  for (const Rigid& place : propPath(context, motion, prop, repairs, {0, motion.frames() - 1})) way.push_back(apply(place, point));
  return way;
}

Repair markTouch(const RepairContext& context, const PropItem& prop, const Vec3d& point, int frame, const Vec3d& place, const Vec3d& normal, bool leadLeft,
                 const MarkSettings& settings) {
  Repair repair;
  repair.name = (prop.name.empty() ? std::string("the prop") : prop.name) + " on its mark";
  const double time = context.rate.seconds(frame);
  repair.span = TimeRange{time, time};
  repair.easeBefore = repair.easeAfter = settings.ease;
  repair.proposed = true;
  TouchRepair touch;
  touch.kind = TouchKind::meet;
  touch.target = TouchTarget::point;
  touch.bone = leadLeft ? "@leftHand" : "@rightHand";
  touch.prop = prop.id;
  touch.point = point;
  touch.place = place;
  touch.normal = normal;
  repair.action = std::move(touch);
  return repair;
}

std::optional<MarkPlace> markOf(const RepairContext& context, const SetItem& item, double most) {
  const Rigid place{normalised(item.place.rotation), item.place.position};
  const double limit = context.scaled(most);
  switch (item.kind) {
    case SetKind::box:
      if (std::max(item.size.x, item.size.z) > limit) return std::nullopt;
      return MarkPlace{apply(place, Vec3d{0, item.size.y, 0}), rotate(place.turn, Vec3d{0, 1, 0})};
    case SetKind::ball:
      if (2 * item.size.x > limit) return std::nullopt;
      return MarkPlace{place.at + Vec3d{0, item.size.x, 0}, Vec3d{0, 1, 0}};
    default: return std::nullopt;
  }
}

}  // namespace understudy
