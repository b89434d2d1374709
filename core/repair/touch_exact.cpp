// How near a hand's skin is to the posed triangles of a body.
#include <algorithm>
#include <cmath>

#include "core/repair/touch_skin.h"

namespace understudy {
namespace {

/// Points of a hand lie apart in a bent one as in the reference pose, but for so much.
constexpr double steepest = 1.3;

}  // namespace

const SkinTree& TouchSkin::skinOf(const BodySolid& solid) const {
  const std::lock_guard lock(skins_->guard);
  const auto at = skins_->of.find(&solid);
  if (at != skins_->of.end()) return at->second;
  return skins_->of.emplace(&solid, SkinTree(model_->surface, meshOf(*model_, solid))).first->second;
}

const Vec3d& TouchSkin::Posed::fineAt(std::size_t f) const {
  if (!finePosed_[f]) {
    finePosed_[f] = 1;
    fine_[f] = hand_.fine.posed(f, turned_);
  }
  return fine_[f];
}

struct TouchSkin::Posed::Search {
  const Posed& posed;
  const Vec3d& shift;
  const double off = gridsOff * posed.size_;
  Nearest best{1e300, {}};

  /// What a fine point's distance is at least. Distances to what lies there never change faster than the way.
  [[nodiscard]] double least(const Solid& s, std::size_t f) const { return s.fine[f].distance - distance(shift, s.fine[f].shift); }

  /// Its distance, or where that is no less than `enough` a lower bound.
  double ask(const Solid& s, std::size_t patch, std::size_t f, double enough) {
    Known& known = s.fine[f];
    if (const double bound = least(s, f); bound >= enough) return bound;
    const Vec3d point = posed.fineAt(f) + shift;
    const double grid = s.solid.distance(point, s.near);
    if (grid - off >= enough) {
      known = {shift, grid - off};
      return known.distance;
    }
    if (!s.skin) s.skin.emplace(posed.skin_.skinOf(s.solid.solid()), posed.turned_);
    // What lies farther than the grid may be off is another surface's. Where the grid says that it is far enough, only what says otherwise
    // is of use.
    const bool far = grid >= enough, outside = far && enough > 0 && grid + enough >= off;
    const PosedSkin::Answer answer = s.skin->nearest(point, outside ? enough : std::abs(grid) + 1.001 * off, far && enough < 0 ? -enough : 0);
    if ((outside && answer.distance >= enough) || (far && answer.distance < -enough)) {
      known = {shift, enough};
      return enough;
    }
    const double own = answer.inside ? -answer.distance : answer.distance;
    const bool sound = std::abs(own - grid) < off;
    const double out = sound ? own : grid;
    known = {shift, sound ? own : grid - off};
    if (out < best.distance) {
      best.distance = out;
      if (!sound) best.gradient = s.solid.sample(point, s.near).gradient;
      else best.gradient = answer.distance > 1e-6 ? answer.way / out : answer.normal;
      posed.nearestFine_ = {&s, patch};
    }
    return known.distance;
  }

  void patch(const Solid& s, std::size_t p, double atLeast) {
    const HandPoints::Patch& patch = posed.hand_.patches[p];
    const double reach = steepest * patch.reach;
    double first = std::max(atLeast, least(s, patch.first));
    if (first - reach >= best.distance) return;
    // What was known of it a little way off is good enough to tell of those around it.
    if (least(s, patch.first) < best.distance || distance(shift, s.fine[patch.first].shift) > 0.25 * reach) first = std::max(first, ask(s, p, patch.first, best.distance + reach));
    for (std::uint32_t f = patch.first + 1; f < patch.last; ++f) {
      if (first - reach >= best.distance) return;
      if (least(s, f) < best.distance && first - distance(posed.fineAt(f), posed.fineAt(patch.first)) < best.distance) ask(s, p, f, best.distance);
    }
  }

  /// What the first point of a group is at least away, by the grid: of most groups that tells enough.
  double hubAt(const Solid& s, std::size_t f, double reach) {
    const double known = least(s, f);
    if (known - reach >= best.distance || (known > -1e299 && distance(shift, s.fine[f].shift) < 0.25 * reach)) return known;
    s.fine[f] = {shift, s.solid.distance(posed.fineAt(f) + shift, s.near) - off};
    return s.fine[f].distance;
  }

  void solid(const Solid& s) {
    const HandPoints& hand = posed.hand_;
    const Vec3d middle = posed.middle_ + shift;
    const double enough = best.distance + off + steepest * hand.farthestFine;
    if (s.solid.atLeast(middle) - posed.radius_ >= enough || s.all.at(shift) >= enough || s.solid.atLeastOfBox(middle) - posed.radius_ >= enough) return;
    posed.place(s);
    if (s.fine.empty()) s.fine.resize(hand.fine.points.size());
    for (const HandPoints::PatchGroup& group : hand.patchGroups) {
      if (group.first == group.last) continue;
      const std::uint32_t hub = hand.patches[group.first].first;
      const double reach = steepest * group.reach, there = hubAt(s, hub, reach);
      if (there - reach >= best.distance) continue;
      for (std::size_t p = group.first; p < group.last; ++p) {
        const std::uint32_t first = hand.patches[p].first;
        patch(s, p, p == group.first ? there : there - distance(posed.fineAt(hub), posed.fineAt(first)));
      }
    }
  }
};

TouchSkin::Posed::Nearest TouchSkin::Posed::exact(const Vec3d& shift) const {
  Search search{*this, shift};
  if (finePosed_.empty()) {
    fine_.resize(hand_.fine.points.size());
    finePosed_.resize(fine_.size());
  }
  if (!nearestFine_) {
    const Nearest quick = nearest(shift);
    if (nearest_ >= solids_.size() || hand_.patches.empty()) return quick;
    // Where the grids find the nearest point.
    const Solid& s = solids_[nearest_];
    const std::uint32_t own = hand_.fineStart[hand_.order[s.nearest]];
    std::size_t p = 0;
    while (p + 1 < hand_.patches.size() && hand_.patches[p].first != own) ++p;
    nearestFine_ = {&s, p};
  }
  const auto [likely, p] = *nearestFine_;
  if (likely->fine.empty()) likely->fine.resize(hand_.fine.points.size());
  search.patch(*likely, p, -1e300);
  search.solid(*likely);
  for (const Solid& s : solids_)
    if (&s != likely) search.solid(s);
  return search.best;
}

}  // namespace understudy
