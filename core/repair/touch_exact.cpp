// How near a hand's skin is to the posed triangles of a body.
#include <algorithm>
#include <cmath>

#include "core/body/triangle_tree.h"
#include "core/repair/touch_skin.h"

namespace understudy {
namespace {

/// Metres (at a height of 1.7) the hand may move before what is near it is looked for anew.
constexpr double stays = 0.004;
/// Points of a hand lie apart in a bent one as in the reference pose, but for so much.
constexpr double steepest = 1.3;
/// Distances in a bent body change faster than the way, seldom by more than that.
constexpr double fast = 2;

}  // namespace

const PartMesh& TouchSkin::skinOf(const BodySolid& solid) const {
  const std::lock_guard lock(skins_->guard);
  const auto [at, fresh] = skins_->of.try_emplace(&solid);
  if (!fresh) return at->second;
  at->second = meshOf(*model_, solid);
  return at->second;
}

void TouchSkin::Posed::findClose(const Vec3d& shift) const {
  close_.clear();
  closeAt_ = shift;
  const double least = nearest(shift).distance, far = least + (gridsOff + stays) * size_, farthest = far + steepest * hand_.farthestFine;
  // What is known from that tells of most points that they are too far off.
  for (const Solid& s : solids_) {
    const Vec3d middle = middle_ + shift;
    if (s.solid.atLeast(middle) - radius_ > farthest || s.all.at(shift) > farthest || s.solid.atLeastOfBox(middle) - radius_ > farthest) continue;
    place(s);
    Close close;
    close.solid = &s;
    Vec3d low{1e300, 1e300, 1e300}, high = -low;
    double deepest = 0;
    for (std::size_t g = 0; g < s.groups.size(); ++g) {
      const double reach = steepest * hand_.groupReach[g];
      if (s.groups[g].at(shift) > far + reach) continue;
      const std::size_t hub = hand_.groupStart[g];
      const auto ask = [&](std::size_t k) {
        const Known& known = s.points[k];
        if (known.shift == shift && known.distance > -1e299) return known.distance;
        s.points[k] = {shift, s.solid.distance(points_[k] + shift, s.near)};
        return s.points[k].distance;
      };
      const double hubDistance = ask(hub);
      for (std::size_t k = hub; k < hand_.groupStart[g + 1]; ++k) {
        const std::size_t i = hand_.order[k];
        const double room = far + steepest * hand_.fineReach[i];
        if (std::max(s.points[k].at(shift), hubDistance - fast * fromHub_[k]) > room || ask(k) > room) continue;
        for (std::size_t f = hand_.fineStart[i]; f < hand_.fineStart[i + 1]; ++f) {
          const Vec3d at = hand_.fine.posed(f, turned_), moved = at + shift;
          const double d = s.solid.distance(moved, s.near);
          if (d > far) continue;
          close.points.push_back({at, d, {}});
          deepest = std::max(deepest, -d);
          for (int c = 0; c < 3; ++c) {
            low[c] = std::min(low[c], moved[c]);
            high[c] = std::max(high[c], moved[c]);
          }
        }
      }
    }
    if (close.points.empty()) continue;
    std::stable_sort(close.points.begin(), close.points.end(), [](const Close::Point& a, const Close::Point& b) { return a.grid < b.grid; });
    const PartMesh& skin = skin_.skinOf(s.solid.solid());
    std::vector<Vec3d> posed(skin.vertices.size());
    pointsOf(skin_.model_->surface, turned_, skin.vertices, posed);
    posed = skin.withRims(std::move(posed));
    const double room = std::max({deepest, far, 0.0});
    for (std::size_t t = 0; t < skin.indices.size(); t += 3) {
      Close::Triangle face{{posed[skin.indices[t]], posed[skin.indices[t + 1]], posed[skin.indices[t + 2]]}, {}, {}, 0, false};
      face.fills = std::max({skin.indices[t], skin.indices[t + 1], skin.indices[t + 2]}) >= skin.vertices.size();
      const auto& [a, b, c] = face.corners;
      bool outside = false;
      for (int axis = 0; axis < 3 && !outside; ++axis)
        outside = std::min({a[axis], b[axis], c[axis]}) > high[axis] + room || std::max({a[axis], b[axis], c[axis]}) < low[axis] - room;
      if (outside) continue;
      face.middle = (a + b + c) / 3.0;
      face.radius = std::max({distance(a, face.middle), distance(b, face.middle), distance(c, face.middle)});
      face.normal = normalised(cross(b - a, c - a));
      close.triangles.push_back(face);
    }
    close_.push_back(std::move(close));
  }
}

TouchSkin::Posed::Nearest TouchSkin::Posed::exact(const Close& close, const Vec3d& point) const {
  // The side is told by all faces, those that fill holes as well; the distance by the skin alone.
  struct Best {
    double square = 1e300, least = 1e300, facing = 0;
    Vec3d way, normal;
    void take(const Vec3d& to, const Vec3d& face) {
      const double d = dot(to, to);
      if (d > square + 1e-12) return;
      // At edges and corners the face that looks at the point most tells the side.
      const double looks = std::abs(dot(face, normalised(to, face)));
      if (d > square - 1e-12 && looks <= facing) return;
      square = std::min(square, d);
      least = std::min(least, std::sqrt(square));
      facing = looks;
      way = to;
      normal = face;
    }
  } all, skin;
  // What lies farther than the grid may be off is another surface's.
  const double grid = close.solid->solid.distance(point, close.solid->near);
  all.least = skin.least = std::abs(grid) + 1.001 * gridsOff * size_;
  for (const Close::Triangle& t : close.triangles) {
    const Vec3d off = point - t.middle;
    if (const double far = t.radius + (t.fills ? all.least : skin.least) + 1e-9; dot(off, off) > far * far) continue;
    const Vec3d to = point - closestOnTriangle(point, t.corners[0], t.corners[1], t.corners[2]);
    all.take(to, t.normal);
    if (!t.fills) skin.take(to, t.normal);
  }
  Nearest out;
  out.distance = dot(all.way, all.normal) < 0 ? -skin.least : skin.least;
  if (!(std::abs(out.distance - grid) < gridsOff * size_)) return {grid, close.solid->solid.sample(point, close.solid->near).gradient};
  out.gradient = skin.least > 1e-6 ? skin.way / out.distance : skin.normal;
  return out;
}

TouchSkin::Posed::Nearest TouchSkin::Posed::exact(const Vec3d& shift) const {
  if (!closeAt_ || distance(*closeAt_, shift) > stays * size_) findClose(shift);
  Nearest best;
  best.distance = 1e300;
  const double moved = steepest * distance(*closeAt_, shift);
  for (const Close& close : close_)
    for (const Close::Point& point : close.points) {
      // The others are farther still.
      if (point.grid - moved - gridsOff * size_ >= best.distance) break;
      if (point.known.at(shift) >= best.distance) continue;
      const Nearest n = exact(close, point.at + shift);
      point.known = {shift, n.distance};
      if (n.distance < best.distance) best = n;
    }
  // Nothing is near enough for more than the grids say.
  return best.distance < 1e299 ? best : nearest(shift);
}

}  // namespace understudy
