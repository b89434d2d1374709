#include "core/retarget/transfer.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>

namespace understudy {
namespace {

/// One performer joint to turn.
struct SourceStep {
  int joint, parent;
  Quatf post;
  bool hasPost;
};

/// A joint whose position is needed.
struct PlaceStep {
  int joint, parent;
  Vec3d offset;    ///< world metres, in the parent's frame
  int movedAt;     ///< index among the clip's moved joints, −1: constant
};

/// A character joint whose rotation is needed.
struct TargetStep {
  int joint, parent;
  Driver driver;
  Quatf post;
  bool hasPost;
};

/// Frames are carried over four at a time: lane k of every value belongs to frame f + k. Lanes never mix and each
/// does the scalar arithmetic in the scalar order, so the bytes do not depend on it.
using Lanes = float __attribute__((vector_size(16)));
constexpr int laneCount = 4;
using QuatLanes = Quat<Lanes>;

Lanes loaded(const Quatf& q) {
  Lanes lanes;
  std::memcpy(&lanes, &q, sizeof lanes);
  return lanes;
}

/// Four quaternions (w, x, y, z) → four lanes of each component; the same shuffle turns them back.
void transpose(Lanes& a, Lanes& b, Lanes& c, Lanes& d) {
  const Lanes p = __builtin_shufflevector(a, b, 0, 4, 1, 5), q = __builtin_shufflevector(c, d, 0, 4, 1, 5);
  const Lanes r = __builtin_shufflevector(a, b, 2, 6, 3, 7), s = __builtin_shufflevector(c, d, 2, 6, 3, 7);
  a = __builtin_shufflevector(p, q, 0, 1, 4, 5);
  b = __builtin_shufflevector(p, q, 2, 3, 6, 7);
  c = __builtin_shufflevector(r, s, 0, 1, 4, 5);
  d = __builtin_shufflevector(r, s, 2, 3, 6, 7);
}

QuatLanes gathered(const std::array<const Quatf*, laneCount>& rows, int joint) {
  Lanes a = loaded(rows[0][joint]), b = loaded(rows[1][joint]), c = loaded(rows[2][joint]), d = loaded(rows[3][joint]);
  transpose(a, b, c, d);
  return {a, b, c, d};
}

QuatLanes spread(const Quatf& q) {
  return {Lanes{q.w, q.w, q.w, q.w}, Lanes{q.x, q.x, q.x, q.x}, Lanes{q.y, q.y, q.y, q.y}, Lanes{q.z, q.z, q.z, q.z}};
}

Quatf lane(const QuatLanes& q, int k) { return {q.w[k], q.x[k], q.y[k], q.z[k]}; }

void setLane(QuatLanes& q, int k, const Quatf& value) {
  q.w[k] = value.w;
  q.x[k] = value.x;
  q.y[k] = value.y;
  q.z[k] = value.z;
}

}  // namespace

/// The steps of a frame, with work arrays.
struct Transfer::Work {
  std::vector<SourceStep> sourceTurns;
  std::vector<PlaceStep> sourcePlaces, targetPlaces;
  std::vector<TargetStep> targetTurns;
  std::vector<std::vector<int>> carried;   ///< a mover: joints of targetPlaces that go with it, itself first
  std::vector<std::size_t> track;          ///< a mover: index among the result's moved joints
  std::vector<Mat3d> unstretch;            ///< a mover: world metres in the parent's frame → file unit
  std::vector<QuatLanes> ws, wt;           ///< world rotations of the frames at hand
  std::array<std::vector<Vec3d>, laneCount> ps;  ///< performer positions, a frame each
  std::vector<Vec3d> pt;
};
Transfer::Transfer(const Plan& plan, const Motion& clip, const std::vector<int>& moved) : plan_(plan), clip_(clip), work_(std::make_unique<Work>()) {
  Work& w = *work_;
  const RigidRig &rs = plan.performer.rig, &rt = plan.character.rig;
  w.ws.resize(rs.size());
  for (std::vector<Vec3d>& positions : w.ps) positions.resize(rs.size());
  w.wt.resize(rt.size());
  w.pt.resize(rt.size());
  std::vector<int> placesS{plan.performer.joint(Role::leftUpperLeg), plan.performer.joint(Role::rightUpperLeg)};
  std::vector<int> placesT{plan.character.joint(Role::leftUpperLeg), plan.character.joint(Role::rightUpperLeg)};
  for (const Driver& d : plan.drivers)
    if (d.aimEnd >= 0) placesS.insert(placesS.end(), {d.a, d.aimEnd});
  for (const Mover& m : plan.movers) {
    placesT.push_back(m.joint);
    if (m.anchor >= 0) placesT.push_back(m.anchor);
  }
  for (int j = 0; j < rs.size(); ++j)
    if (plan.performerNeeded[j]) w.sourceTurns.push_back({j, rs.parents[j], Quatf(rs.post[j]), rs.hasPost[j] != 0});
  for (const int j : withAncestors(rs.parents, placesS)) {
    const auto at = std::lower_bound(clip.movedJoints.begin(), clip.movedJoints.end(), j);
    const bool moves = at != clip.movedJoints.end() && *at == j;
    w.sourcePlaces.push_back({j, rs.parents[j], rs.offset(j), moves ? static_cast<int>(at - clip.movedJoints.begin()) : -1});
  }
  for (int j = 0; j < rt.size(); ++j)
    if (plan.characterNeeded[j]) w.targetTurns.push_back({j, rt.parents[j], plan.drivers[j], Quatf(rt.post[j]), rt.hasPost[j] != 0});
  for (const int j : withAncestors(rt.parents, placesT)) w.targetPlaces.push_back({j, rt.parents[j], rt.offset(j), -1});
  for (const Mover& m : plan.movers) {
    std::vector<int>& list = w.carried.emplace_back();
    for (const PlaceStep& step : w.targetPlaces)
      if (step.joint == m.joint || isAncestor(plan.character.figure->skeleton, m.joint, step.joint)) list.push_back(step.joint);
    w.track.push_back(static_cast<std::size_t>(std::lower_bound(moved.begin(), moved.end(), m.joint) - moved.begin()));
    w.unstretch.push_back(inverse(rt.stretch[m.joint]));
  }
}

Transfer::~Transfer() = default;
bool Transfer::run(Motion& out, int first, int last) {
  const Plan& plan = plan_;
  const Motion& clip = clip_;
  Work& w = *work_;
  const RigidRig &rs = plan.performer.rig, &rt = plan.character.rig;
  const QuatLanes baseS = spread(Quatf(rs.base)), baseT = spread(Quatf(rt.base));
  const int hl = plan.performer.joint(Role::leftUpperLeg), hr = plan.performer.joint(Role::rightUpperLeg);
  const int tl = plan.character.joint(Role::leftUpperLeg), tr = plan.character.joint(Role::rightUpperLeg);
  std::vector<QuatLanes>&ws = w.ws, &wt = w.wt;
  Lanes sanity{};  // not a number spreads into sums
  for (int f = first; f < last; f += laneCount) {
    const int lanes = std::min(laneCount, last - f);
    std::array<const Quatf*, laneCount> rows{};
    for (int k = 0; k < laneCount; ++k) rows[k] = clip.rotationsAt(f + std::min(k, lanes - 1)).data();
    for (const SourceStep& step : w.sourceTurns) {
      const QuatLanes q = (step.parent < 0 ? baseS : ws[step.parent]) * gathered(rows, step.joint);
      ws[step.joint] = step.hasPost ? q * spread(step.post) : q;
    }
    for (int k = 0; k < lanes; ++k) {
      const auto translations = clip.translationsAt(f + k);
      for (const PlaceStep& step : w.sourcePlaces) {
        const Vec3d offset = step.movedAt >= 0 ? rs.stretch[step.joint] * Vec3d(translations[step.movedAt]) : step.offset;
        w.ps[k][step.joint] =
            step.parent < 0 ? rotate(rs.base, offset) : w.ps[k][step.parent] + rotate(Quatd(lane(ws[step.parent], k)), offset);
      }
    }
    for (const TargetStep& step : w.targetTurns) {
      const Driver& d = step.driver;
      const int j = step.joint;
      const QuatLanes& above = step.parent < 0 ? baseT : wt[step.parent];
      QuatLanes world = above;
      switch (d.kind) {
        case Driver::Kind::hold:
          world = above * spread(d.local);
          wt[j] = step.hasPost ? world * spread(step.post) : world;
          continue;
        case Driver::Kind::follow:
          world = ws[d.a] * spread(d.ca);
          for (int k = 0; k < lanes && d.aimEnd >= 0; ++k) {
            const Vec3f now(normalised(w.ps[k][d.aimEnd] - w.ps[k][d.a]));
            if (dot(now, now) > 0.5F) setLane(world, k, rotationBetween(rotate(lane(ws[d.a], k), d.aimRest), now) * lane(world, k));
          }
          break;
        case Driver::Kind::blend: {
          const QuatLanes a = ws[d.a] * spread(d.ca), b = ws[d.b] * spread(d.cb);
          for (int k = 0; k < lanes; ++k) setLane(world, k, slerp(lane(a, k), lane(b, k), d.t));
          break;
        }
        case Driver::Kind::twist: world = wt[d.twistFrom] * spread(d.ca); break;
      }
      wt[j] = world;
      QuatLanes local = conjugate(above) * world;
      if (step.hasPost) local = local * conjugate(spread(step.post));
      // Products of unit quaternions drift by rounding only; one Newton step is enough.
      const Lanes scale = 1.5F - 0.5F * dot(local, local);
      sanity += scale;
      // Each frame takes the sign that lies in one hemisphere with the frame before it.
      const QuatLanes stored = spread(f > 0 ? out.rotationsAt(f - 1)[j] : lane(local, 0));
      const auto previous = [](const Lanes& before, const Lanes& now) { return __builtin_shufflevector(before, now, 0, 4, 5, 6); };
      const Lanes agreement = local.w * previous(stored.w, local.w) + local.x * previous(stored.x, local.x) +
                              local.y * previous(stored.y, local.y) + local.z * previous(stored.z, local.z);
      float sign = 1;
      Lanes signedScale = scale;
      for (int k = 0; k < laneCount; ++k) {
        if (agreement[k] < 0) sign = -sign;
        signedScale[k] *= sign;
      }
      Lanes a = local.w * signedScale, b = local.x * signedScale, c = local.y * signedScale, e = local.z * signedScale;
      transpose(a, b, c, e);
      const Lanes turned[laneCount] = {a, b, c, e};
      for (int k = 0; k < lanes; ++k) out.rotationsAt(f + k)[j] = {turned[k][0], turned[k][1], turned[k][2], turned[k][3]};
    }
    for (int k = 0; k < lanes; ++k) {
      for (const PlaceStep& step : w.targetPlaces)
        w.pt[step.joint] =
            step.parent < 0 ? rotate(rt.base, step.offset) : w.pt[step.parent] + rotate(Quatd(lane(wt[step.parent], k)), step.offset);
      const auto moved = out.translationsAt(f + k);
      for (std::size_t i = 0; i < plan.movers.size(); ++i) {
        const Mover& m = plan.movers[i];
        // The hips follow the performer's hip midpoint; the others keep their place beside their anchor.
        const Vec3d shift = i == 0 ? (w.ps[k][hl] + w.ps[k][hr]) * (0.5 * plan.stride) - (w.pt[tl] + w.pt[tr]) * 0.5
                                   : w.pt[m.anchor] + rotate(Quatd(lane(wt[m.anchor], k)), m.offset) - w.pt[m.joint];
        for (const int j : w.carried[i]) w.pt[j] += shift;
        const int p = rt.parents[m.joint];
        const Vec3d relative = p < 0 ? rotate(conjugate(rt.base), w.pt[m.joint]) : rotate(conjugate(Quatd(lane(wt[p], k))), w.pt[m.joint] - w.pt[p]);
        moved[w.track[i]] = Vec3f(w.unstretch[i] * relative);
      }
    }
  }
  return std::isfinite(sanity[0] + sanity[1] + sanity[2] + sanity[3]);
}
void shareTwists(const Plan& plan, Motion& out) {
  const RigidRig& rt = plan.character.rig;
  for (int j = 0; j < rt.size(); ++j) {
    const Driver& d = plan.drivers[j];
    if (d.kind != Driver::Kind::twist) continue;
    // Local rotations between twistFrom and twistOf, the twist bone itself left out where it lies on the way.
    std::vector<int> path;
    bool through = false;
    for (int k = d.twistOf; k >= 0 && k != d.twistFrom; k = rt.parents[k]) {
      path.push_back(k);
      through = through || k == j;
    }
    std::reverse(path.begin(), path.end());
    const bool direct = rt.parents[j] == d.twistFrom;
    if (!direct) continue;  // deeper nests keep their place
    double previous = 0;
    for (int f = 0; f < out.frames; ++f) {
      const auto q = out.rotationsAt(f);
      Quatd relative;
      for (const int k : path) relative = relative * Quatd(q[k]);
      const Quatd delta = relative * conjugate(Quatd(d.relative));
      double angle = 2 * std::atan2(dot(delta.vec(), Vec3d(d.axis)), delta.w);
      angle += 2 * M_PI * std::round((previous - angle) / (2 * M_PI));
      if (f == 0) angle = std::remainder(angle, 2 * M_PI);
      previous = angle;
      const Quatf turned = Quatf(fromAxisAngle(Vec3d(d.axis), angle * static_cast<double>(d.t))) * d.ca;
      if (through) {
        // The child below must not feel the change.
        const auto below = std::find(path.begin(), path.end(), j) + 1;
        if (below != path.end()) q[*below] = conjugate(turned) * q[j] * q[*below];
      }
      q[j] = turned;
    }
  }
}
void keepOwnPlaces(const Plan& plan, const Motion& clip, const std::vector<int>& moved, Motion& out) {
  const Skeleton& bones = plan.character.figure->skeleton;
  for (std::size_t i = 1; i < plan.movers.size(); ++i) {
    const int j = plan.movers[i].joint;
    const auto track = static_cast<std::size_t>(std::lower_bound(moved.begin(), moved.end(), j) - moved.begin());
    const auto at = std::lower_bound(clip.movedJoints.begin(), clip.movedJoints.end(), j);
    const bool moves = at != clip.movedJoints.end() && *at == j;
    for (int f = 0; f < out.frames; ++f)
      out.translationsAt(f)[track] = moves ? clip.translationsAt(f)[static_cast<std::size_t>(at - clip.movedJoints.begin())] : Vec3f(bones.rest[static_cast<std::size_t>(j)].translation);
  }
}
}  // namespace understudy
