#include "core/retarget/retarget.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <cstring>

#include "core/body/soles.h"
#include "core/retarget/alignment.h"

namespace understudy {
namespace {

/// How one character joint gets its world rotation.
struct Driver {
  enum class Kind { hold, follow, blend, twist } kind = Kind::hold;
  Quatf local;                 ///< hold: the constant local rotation
  int a = -1, b = -1;          ///< performer joints (follow: a; blend: a to b)
  Quatf ca, cb;                ///< performer world rotation → character world rotation
  float t = 0;                 ///< blend weight; twist share
  int twistOf = -1, twistFrom = -1;  ///< twist: character joints whose relative twist is shared
  Vec3f axis;                  ///< twist: axis in twistFrom's frame; aim: see below
  Quatf relative;              ///< twist: reference rotation of twistOf in twistFrom's frame
  int aimEnd = -1;             ///< ≥ 0: performer joint whose true direction corrects the swing
  Vec3f aimRest;               ///< reference direction to aimEnd in a's frame
};

/// A character joint that needs a translation track.
struct Mover {
  int joint = -1;
  int anchor = -1;      ///< character joint it follows; −1 for the hips
  Vec3d offset;         ///< in the anchor's frame, world metres
};

struct Plan {
  PosedBody performer, character;
  std::vector<Driver> drivers;
  std::vector<Mover> movers;       ///< hips first
  std::vector<char> performerNeeded, characterNeeded;
  std::vector<int> animated;
  double stride = 1;
  bool sameBody = false;           ///< both figures have the same reference pose: rotations carry over as they are
};

std::vector<int> trunkChain(const SkeletonMap& map) {
  std::vector<int> chain;
  for (const Role role : {Role::spine, Role::chest, Role::upperChest})
    for (const int j : map.at(role).joints)
      if (std::find(chain.begin(), chain.end(), j) == chain.end()) chain.push_back(j);
  return chain;
}

/// Positions along a chain, 0 at its first joint and 1 at its last.
std::vector<double> arcs(const PosedBody& body, const std::vector<int>& chain) {
  std::vector<double> at(chain.size(), 0);
  for (std::size_t i = 1; i < chain.size(); ++i) at[i] = at[i - 1] + distance(body.position[chain[i]], body.position[chain[i - 1]]);
  const double total = at.empty() ? 0 : at.back();
  for (std::size_t i = 0; i < at.size(); ++i) at[i] = total > 1e-9 ? at[i] / total : chain.size() > 1 ? static_cast<double>(i) / (chain.size() - 1) : 0;
  return at;
}

class Planner {
 public:
  Planner(Plan& plan, const Alignment& alignment) : plan_(plan), alignment_(alignment) {}

  void build(const Motion& clip) {
    const int n = plan_.character.rig.size();
    plan_.drivers.resize(n);
    for (int j = 0; j < n; ++j) plan_.drivers[j].local = Quatf(plan_.character.figure->skeleton.rest[j].rotation);
    for (int i = 0; i < roleCount; ++i) {
      const Role role = roleAt(i);
      if (role == Role::spine || role == Role::chest || role == Role::upperChest || role == Role::neck) continue;
      followRole(role);
    }
    trunk();
    neck();
    twists();
    if (!plan_.sameBody) aims(clip);
    holdBetween();
    movers();
    needs();
  }

 private:
  [[nodiscard]] const SkeletonMap& ms() const { return *plan_.performer.map; }
  [[nodiscard]] const SkeletonMap& mt() const { return *plan_.character.map; }

  /// Constant that takes performer joint a's world rotation to character joint j's.
  [[nodiscard]] Quatf constant(int a, int j, Role role) const {
    const Quatd& correction = alignment_[indexOf(role)].correction;
    return Quatf(normalised(conjugate(plan_.performer.rotation[a]) * correction * plan_.character.rotation[j]));
  }

  void follow(int j, int a, Role role) {
    Driver& d = plan_.drivers[j];
    d.kind = Driver::Kind::follow;
    d.a = a;
    d.ca = constant(a, j, role);
  }

  void blend(int j, int a, Role roleA, int b, Role roleB, double t) {
    if (t <= 1e-6) return follow(j, a, roleA);
    if (t >= 1 - 1e-6) return follow(j, b, roleB);
    Driver& d = plan_.drivers[j];
    d.kind = Driver::Kind::blend;
    d.a = a;
    d.b = b;
    d.ca = constant(a, j, roleA);
    d.cb = constant(b, j, roleB);
    d.t = static_cast<float>(t);
  }

  void followRole(Role role) {
    const int a = ms().joint(role), j = mt().joint(role);
    if (a >= 0 && j >= 0) follow(j, a, role);
  }

  /// Chains of different bone count: orientation at normalised rest arc length, both ends exact.
  void chain(const std::vector<int>& from, const std::vector<int>& to, Role role) {
    if (from.empty() || to.empty()) return;
    const std::vector<double> s = arcs(plan_.performer, from), t = arcs(plan_.character, to);
    for (std::size_t i = 0; i < to.size(); ++i) {
      // One bone against many carries the shoulders, so it takes the top one's orientation.
      const double at = to.size() == 1 ? 1 : from.size() == to.size() ? s[i] : t[i];
      std::size_t k = 0;
      while (k + 1 < from.size() && s[k + 1] <= at) ++k;
      if (from.size() == to.size() || k + 1 >= from.size()) {
        follow(to[i], from[from.size() == to.size() ? i : from.size() - 1], role);
      } else {
        blend(to[i], from[k], role, from[k + 1], role, (at - s[k]) / (s[k + 1] - s[k]));
      }
    }
  }

  void trunk() { chain(trunkChain(ms()), trunkChain(mt()), Role::spine); }

  void neck() {
    const std::vector<int>&from = ms().at(Role::neck).joints, &to = mt().at(Role::neck).joints;
    if (to.empty()) return;
    if (!from.empty()) return chain(from, to, Role::neck);
    const std::vector<int> spine = trunkChain(ms());
    const int head = ms().joint(Role::head), below = spine.empty() ? ms().joint(Role::hips) : spine.back();
    if (head < 0 || below < 0) return;
    for (std::size_t i = 0; i < to.size(); ++i)
      blend(to[i], below, Role::spine, head, Role::head, static_cast<double>(i + 1) / (to.size() + 1));
  }

  /// Extra joints of a limb's chain: one to one where both figures have as many, else those of the forearm share the
  /// hand's twist along it.
  void twists() {
    for (int i = indexOf(Role::leftUpperLeg); i <= indexOf(Role::rightHand); ++i) {
      const std::vector<int>&from = ms().roles[i].joints, &to = mt().roles[i].joints;
      if (from.size() != to.size()) continue;
      for (std::size_t k = 1; k < to.size(); ++k)
        if (plan_.drivers[to[k]].kind == Driver::Kind::hold) follow(to[k], from[k], roleAt(i));
    }
    shareTwist(mt().at(Role::leftLowerArm).joints, mt().joint(Role::leftHand));
    shareTwist(mt().at(Role::rightLowerArm).joints, mt().joint(Role::rightHand));
  }

  void shareTwist(const std::vector<int>& chainJoints, int end) {
    if (chainJoints.size() < 2 || end < 0) return;
    const PosedBody& c = plan_.character;
    const int base = chainJoints.front();
    if (plan_.drivers[base].kind == Driver::Kind::hold || plan_.drivers[end].kind == Driver::Kind::hold) return;
    const Vec3d along = c.position[end] - c.position[base];
    const double size = length(along);
    if (size < 1e-9) return;
    for (std::size_t i = 1; i < chainJoints.size(); ++i) {
      const int j = chainJoints[i];
      if (plan_.drivers[j].kind != Driver::Kind::hold || !isAncestor(c.figure->skeleton, base, j) || j > end) continue;
      Driver& d = plan_.drivers[j];
      d.kind = Driver::Kind::twist;
      d.twistFrom = base;
      d.twistOf = end;
      d.axis = Vec3f(rotate(conjugate(c.rotation[base]), along / size));
      d.relative = Quatf(conjugate(c.rotation[base]) * c.rotation[end]);
      d.ca = Quatf(conjugate(c.rotation[base]) * c.rotation[j]);
      d.t = static_cast<float>(std::clamp(dot(c.position[j] - c.position[base], along) / (size * size), 0.0, 1.0));
    }
  }

  /// Where the performer's segment does not end rigidly (joints in between, translation channels), its true direction
  /// corrects the swing.
  void aims(const Motion& clip) {
    for (const Role role : {Role::leftUpperArm, Role::leftLowerArm, Role::rightUpperArm, Role::rightLowerArm, Role::leftUpperLeg,
                            Role::leftLowerLeg, Role::rightUpperLeg, Role::rightLowerLeg}) {
      const int j = mt().joint(role), a = ms().joint(role), end = segmentEnd(ms(), role);
      if (j < 0 || a < 0 || end < 0 || plan_.drivers[j].kind != Driver::Kind::follow) continue;
      const PosedBody& p = plan_.performer;
      const bool moves = std::binary_search(clip.movedJoints.begin(), clip.movedJoints.end(), end);
      const bool rigid = p.rig.parents[end] == a && !moves && !p.displaced[end];
      const Vec3d direction = p.position[end] - p.position[a];
      if (rigid || length(direction) < 1e-9) continue;
      plan_.drivers[j].aimEnd = end;
      plan_.drivers[j].aimRest = Vec3f(rotate(conjugate(p.rotation[a]), normalised(direction)));
    }
  }

  /// Undriven joints between driven ones keep their place of the reference pose; all others their rest.
  void holdBetween() {
    const PosedBody& c = plan_.character;
    const int hips = mt().joint(Role::hips);
    for (int j = 0; j < c.rig.size(); ++j) {
      if (plan_.drivers[j].kind == Driver::Kind::hold || plan_.drivers[j].kind == Driver::Kind::twist) continue;
      for (int k = c.rig.parents[j]; k >= 0 && k != hips; k = c.rig.parents[k])
        if (plan_.drivers[k].kind == Driver::Kind::hold && (hips < 0 || isAncestor(c.figure->skeleton, hips, k))) {
          plan_.drivers[k].local = Quatf(c.local[k]);
          if (angleBetween(c.local[k], c.figure->skeleton.rest[k].rotation) > 1e-6) held_.push_back(k);
        }
    }
    for (int j = 0; j < c.rig.size(); ++j)
      if (plan_.drivers[j].kind != Driver::Kind::hold || std::find(held_.begin(), held_.end(), j) != held_.end()) plan_.animated.push_back(j);
  }

  void movers() {
    const PosedBody& c = plan_.character;
    const int hips = mt().joint(Role::hips);
    plan_.movers.push_back({hips, -1, {}});
    for (int i = 1; i < roleCount; ++i) {
      const Role role = roleAt(i);
      const int j = mt().joint(role);
      if (j < 0 || j == hips) continue;
      // The nearest mapped slot above in the body.
      Role above = parentOf(role);
      while (above != Role::hips && mt().joint(above) < 0) above = parentOf(above);
      int anchor = mt().joint(above);
      if ((above == Role::spine || above == Role::chest || above == Role::upperChest || above == Role::hips) && indexOf(role) >= indexOf(Role::neck) &&
          !(role >= Role::leftUpperLeg && role <= Role::rightToes)) {
        const std::vector<int> chainJoints = trunkChain(mt());
        if (!chainJoints.empty()) anchor = chainJoints.back();
      }
      if (anchor < 0 || anchor == j) continue;
      const bool attached = isAncestor(c.figure->skeleton, anchor, j);
      // Hanging elsewhere in the tree, or resting elsewhere than it is bound: it is carried by a translation track.
      const bool legOffTrunk = !attached && isAncestor(c.figure->skeleton, hips, j) && (role == Role::leftUpperLeg || role == Role::rightUpperLeg);
      if ((attached && !c.displaced[j]) || legOffTrunk) continue;
      plan_.movers.push_back({j, anchor, rotate(conjugate(c.rotation[anchor]), c.position[j] - c.position[anchor])});
    }
  }

  void needs() {
    plan_.performerNeeded.assign(plan_.performer.rig.size(), 0);
    plan_.characterNeeded.assign(plan_.character.rig.size(), 0);
    const auto mark = [](std::vector<char>& flags, const std::vector<int>& parents, int j) {
      for (; j >= 0 && !flags[j]; j = parents[j]) flags[j] = 1;
    };
    const auto& ps = plan_.performer.rig.parents;
    const auto& pt = plan_.character.rig.parents;
    for (int j = 0; j < plan_.character.rig.size(); ++j) {
      const Driver& d = plan_.drivers[j];
      if (d.kind != Driver::Kind::hold) mark(plan_.characterNeeded, pt, j);
      for (const int a : {d.a, d.b, d.aimEnd})
        if (a >= 0) mark(plan_.performerNeeded, ps, a);
    }
    for (const Mover& m : plan_.movers) {
      mark(plan_.characterNeeded, pt, m.joint);
      if (m.anchor >= 0) mark(plan_.characterNeeded, pt, m.anchor);
    }
    for (const Role role : {Role::leftUpperLeg, Role::rightUpperLeg}) {
      mark(plan_.performerNeeded, ps, ms().joint(role));
      mark(plan_.characterNeeded, pt, mt().joint(role));
    }
  }

  Plan& plan_;
  const Alignment& alignment_;
  std::vector<int> held_;
};

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

/// The plan laid out for the loop over frames, with its work arrays.
struct Work {
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

std::vector<int> withAncestors(const std::vector<int>& parents, const std::vector<int>& joints) {
  std::vector<char> flags(parents.size(), 0);
  for (int j : joints)
    for (; j >= 0; j = parents[j]) flags[j] = 1;
  std::vector<int> list;
  for (std::size_t j = 0; j < flags.size(); ++j)
    if (flags[j]) list.push_back(static_cast<int>(j));
  return list;
}

Work layOut(const Plan& plan, const Motion& clip, const std::vector<int>& moved) {
  Work w;
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
  return w;
}

/// Returns false where a rotation was no finite number.
bool transfer(const Plan& plan, const Motion& clip, Motion& out, Work& w, int first, int last) {
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

/// Twist of the hand against the forearm, unrolled over time before it is divided along the forearm's twist bones.
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

std::array<Sole, 2> solesOf(const PosedBody& body) {
  const Vec3d upFile = rotate(conjugate(body.pose.facing * body.figure->space.worldFromFile), Vec3d{0, 1, 0});
  return findSoles(*body.figure, *body.map, body.pose.fileWorld, upFile);
}

/// A frame in which the performer stands on a foot (0 left, 1 right).
struct Standing {
  int frame, side;
};

/// World transforms of a few joints and their ancestors.
class FewJoints {
 public:
  FewJoints(const PosedBody& body, const Motion& motion, const std::vector<int>& joints)
      : body_(body), motion_(motion), toWorld_(worldFromFile(*body.figure, body.pose)), joints_(withAncestors(body.rig.parents, joints)),
        track_(body.rig.parents.size(), -1), world_(body.rig.parents.size()) {
    for (std::size_t k = 0; k < motion.movedJoints.size(); ++k) track_[motion.movedJoints[k]] = static_cast<int>(k);
  }

  const std::vector<Affined>& at(int frame) {
    const auto q = motion_.rotationsAt(frame);
    const auto t = motion_.translationsAt(frame);
    for (const int j : joints_) {
      Trsd local = body_.figure->skeleton.rest[j];
      local.rotation = Quatd(q[j]);
      if (track_[j] >= 0) local.translation = Vec3d(t[track_[j]]);
      const int parent = body_.rig.parents[j];
      world_[j] = (parent < 0 ? toWorld_ : world_[parent]) * Affined(local);
    }
    return world_;
  }

 private:
  const PosedBody& body_;
  const Motion& motion_;
  Affined toWorld_;
  std::vector<int> joints_, track_;
  std::vector<Affined> world_;
};

/// Frames (of about 200 spread over the clip) in which ankle and toe base are still and the ankle is low. Judged on the
/// performer: a character's long feet may reach lower in swing than in stance.
std::vector<Standing> standingFrames(const PosedBody& performer, const Motion& clip) {
  const int ankles[2] = {performer.joint(Role::leftFoot), performer.joint(Role::rightFoot)};
  const int toes[2] = {performer.joint(Role::leftToes), performer.joint(Role::rightToes)};
  FewJoints joints(performer, clip, {ankles[0], ankles[1], toes[0], toes[1]});
  const double leg = performer.pose.legLength, reach = 0.25 * leg / clip.rate.hertz();
  struct Still {
    Standing at;
    double height;
  };
  std::vector<Still> still;
  const int step = std::max(1, clip.frames / 200);
  for (int f = 0; f + 1 < clip.frames; f += step) {
    const std::vector<Affined> next = joints.at(f + 1);
    const std::vector<Affined>& now = joints.at(f);
    const auto moves = [&](int j) { return j >= 0 && distance(now[j].translation, next[j].translation) > reach; };
    for (int side = 0; side < 2; ++side)
      if (!moves(ankles[side]) && !moves(toes[side])) still.push_back({{f, side}, now[ankles[side]].translation.y});
  }
  std::vector<Standing> standing;
  if (still.empty()) return standing;
  std::vector<double> heights;
  for (const Still& s : still) heights.push_back(s.height);
  std::sort(heights.begin(), heights.end());
  const double low = heights[heights.size() / 20];
  for (const Still& s : still)
    if (s.height < low + 0.04 * leg) standing.push_back(s.at);
  return standing;
}

/// Height of the lowest sole point of the standing feet, metres: the median over those frames; without at least four
/// of them, the 5th percentile over the clip.
double standingLevel(const PosedBody& body, const std::array<Sole, 2>& soles, const Motion& motion, const std::vector<Standing>& standing) {
  std::vector<int> wanted;
  for (const Sole& sole : soles)
    for (const JointPoint& p : sole.points) wanted.push_back(p.joint);
  FewJoints joints(body, motion, wanted);
  const auto lowest = [&](int frame, int side) {
    const std::vector<Affined>& world = joints.at(frame);
    double height = 1e30;
    for (const JointPoint& p : soles[side].points) height = std::min(height, apply(world[p.joint], p.local).y);
    return height;
  };
  std::vector<double> heights;
  const auto add = [&](double height) {
    if (height < 1e29) heights.push_back(height);
  };
  const bool enough = standing.size() >= 4;
  if (enough)
    for (const Standing& s : standing) add(lowest(s.frame, s.side));
  else
    for (int f = 0; f < motion.frames; f += std::max(1, motion.frames / 200)) add(std::min(lowest(f, 0), lowest(f, 1)));
  if (heights.empty()) return 0;
  std::sort(heights.begin(), heights.end());
  return heights[enough ? heights.size() / 2 : heights.size() / 20];
}

/// Height of the character's own floor: its lowest sole point in the reference pose.
double restLevel(const PosedBody& body, const std::array<Sole, 2>& soles) {
  const Affined toWorld = worldFromFile(*body.figure, body.pose);
  double low = 1e30;
  for (const Sole& sole : soles)
    for (const JointPoint& p : sole.points) low = std::min(low, apply(toWorld, apply(body.pose.fileWorld[p.joint], p.local)).y);
  return low < 1e29 ? low : 0;
}

/// Translations of mapped performer joints that rotation alone cannot carry over: how far each strays from its place
/// in the frame of the slot above it.
void reportDropped(const Plan& plan, const Motion& clip, Issues& issues) {
  const PosedBody& p = plan.performer;
  std::vector<std::pair<int, int>> watched;  // joint, anchor
  for (int i = 1; i < roleCount; ++i) {
    const int j = p.map->roles[i].first();
    if (j < 0 || !std::binary_search(clip.movedJoints.begin(), clip.movedJoints.end(), j)) continue;
    Role above = parentOf(roleAt(i));
    while (above != Role::hips && !p.has(above)) above = parentOf(above);
    // Hip joints: their midpoint is what travels, so they are judged by the hips' frame only when they hang on it.
    watched.emplace_back(j, isAncestor(p.figure->skeleton, p.joint(above), j) ? p.rig.parents[j] : p.joint(above));
  }
  if (watched.empty()) return;
  std::vector<double> worst(watched.size(), 0);
  std::vector<Quatd> local(clip.joints), rotation(clip.joints);
  std::vector<Vec3d> translations(p.rig.translation), position(clip.joints);
  const int step = std::max(1, clip.frames / 1000);
  for (int f = 0; f < clip.frames; f += step) {
    const auto q = clip.rotationsAt(f);
    for (int j = 0; j < clip.joints; ++j) local[j] = Quatd(q[j]);
    const auto t = clip.translationsAt(f);
    for (std::size_t k = 0; k < t.size(); ++k) translations[clip.movedJoints[k]] = Vec3d(t[k]);
    worldOf(p.rig, local, translations, rotation, position);
    for (std::size_t i = 0; i < watched.size(); ++i) {
      const auto [j, anchor] = watched[i];
      const Vec3d now = rotate(conjugate(rotation[anchor]), position[j] - position[anchor]);
      const Vec3d then = rotate(conjugate(p.rotation[anchor]), p.position[j] - p.position[anchor]);
      worst[i] = std::max(worst[i], distance(now, then));
    }
  }
  for (std::size_t i = 0; i < watched.size(); ++i) {
    if (worst[i] < 1e-5) continue;
    char text[160];
    std::snprintf(text, sizeof text, "moves or stretches by up to %.2f mm; the character's bones keep their length, so this is left out", worst[i] * 1000);
    issues.push_back(makeWarning("'" + jointKey(p.figure->skeleton, watched[i].first) + "' " + text, p.figure->path));
  }
}

/// A clip of the very skeleton it is carried over to: what moves on its own there (feet below the root, fingers that hang on the forearm)
/// goes the performer's way, not along with its anchor.
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

}  // namespace

Result<Retargeted> retarget(const Figure& performer, const Motion& clip, const Figure& character, const BoneMap& map, const RetargetSettings& settings,
                            const RunControl& control) {
  if (clip.joints != performer.skeleton.size() || clip.frames < 1)
    return makeError(Fault::input, "The clip has no frames for this performer", performer.path, "Choose a clip of the performer's own file");
  for (const Vec3f& t : clip.translations)
    if (!isFinite(t)) return makeError(Fault::input, "The clip holds a position that is no finite number", performer.path, "Export the clip again");
  if (map.performer.joint(Role::hips) < 0 || map.character.joint(Role::hips) < 0)
    return makeError(Fault::mapping, "No joint is mapped to hips", map.performer.joint(Role::hips) < 0 ? performer.path : character.path,
                     "Name it in a map file (\"roles\") or choose it in the bone map");

  Plan plan;
  Result<PosedBody> bodyS = posedBody(performer, map.performer, &clip, settings.performerReference);
  if (!bodyS) return bodyS.error();
  Result<PosedBody> bodyT = posedBody(character, map.character, nullptr, settings.characterReference);
  if (!bodyT) return bodyT.error();
  plan.performer = std::move(bodyS.value());
  plan.character = std::move(bodyT.value());

  Retargeted result;
  RetargetReport& report = result.report;
  plan.sameBody = sameBody(plan.performer, plan.character);
  report.alignment = alignBodies(plan.performer, clip, plan.character, settings);
  Planner(plan, report.alignment).build(clip);
  report.performerLeg = plan.performer.pose.legLength;
  report.characterLeg = plan.character.pose.legLength;
  plan.stride = settings.stride.value_or(1) * report.characterLeg / report.performerLeg;
  report.stride = plan.stride;

  std::vector<int> moved;
  for (const Mover& m : plan.movers) moved.push_back(m.joint);
  std::sort(moved.begin(), moved.end());
  Motion& out = result.motion;
  out = restMotion(character.skeleton, clip.frames, clip.rate, moved);

  for (const int j : plan.animated)
    for (int f = 0; f < out.frames && plan.drivers[j].kind == Driver::Kind::hold; ++f) out.rotationsAt(f)[j] = plan.drivers[j].local;
  Work w = layOut(plan, clip, moved);
  constexpr int block = 1024;
  for (int f = 0; f < clip.frames; f += block) {
    if (control.stopped()) return RunControl::cancelled();
    control.report(static_cast<double>(f) / clip.frames, "Retargeting");
    const int last = std::min(clip.frames, f + block);
    if (transfer(plan, clip, out, w, f, last)) continue;
    for (int bad = f; bad < last; ++bad)
      if (std::any_of(plan.animated.begin(), plan.animated.end(), [&](int j) { return !isFinite(out.rotationsAt(bad)[j]); }))
        return makeError(Fault::input, "The clip holds a rotation that is no finite number", performer.path + ", frame " + std::to_string(bad + 1),
                         "Export the clip again");
  }
  shareTwists(plan, out);
  const Skeleton &from = performer.skeleton, &to = character.skeleton;
  if (plan.sameBody && plan.stride == 1 && settings.alignmentOffsets.empty() && settings.alignmentChoices.empty() && from.names == to.names && from.parents == to.parents)
    keepOwnPlaces(plan, clip, moved, out);

  if (settings.ground && !plan.sameBody) {
    // A performer with a skin has soles to compare with; one without stands on its own floor, wherever the capture put it.
    const std::array<Sole, 2> soles = solesOf(plan.character);
    const std::vector<Standing> standing = standingFrames(plan.performer, clip);
    const double level = standingLevel(plan.character, soles, out, standing);
    const bool comparable = performer.meshes.empty() == character.meshes.empty();
    const double wanted = comparable ? plan.stride * standingLevel(plan.performer, solesOf(plan.performer), clip, standing) : restLevel(plan.character, soles);
    double offset = wanted - level;
    if (std::abs(offset) < 1e-6 * report.characterLeg) offset = 0;
    report.groundOffset = offset;
    if (offset != 0) {
      const Mover& hips = plan.movers.front();
      const RigidRig& rig = plan.character.rig;
      // Joints above the hips stay where they are, so the lift has one local direction a mover.
      std::vector<Quatd> rest(rig.size()), rotation(rig.size());
      std::vector<Vec3d> position(rig.size());
      for (int j = 0; j < rig.size(); ++j) rest[j] = character.skeleton.rest[j].rotation;
      worldOf(rig, rest, {}, rotation, position);
      for (const Mover& m : plan.movers) {
        if (m.joint != hips.joint && isAncestor(character.skeleton, hips.joint, m.joint)) continue;
        const int p = rig.parents[m.joint];
        const Vec3d lift = inverse(rig.stretch[m.joint]) * rotate(conjugate(p < 0 ? rig.base : rotation[p]), Vec3d{0, offset, 0});
        const auto at = static_cast<std::size_t>(std::lower_bound(moved.begin(), moved.end(), m.joint) - moved.begin());
        for (int f = 0; f < out.frames; ++f) out.translationsAt(f)[at] += Vec3f(lift);
      }
    }
  }
  reportDropped(plan, clip, report.issues);
  for (const Role role : {Role::leftUpperArm, Role::rightUpperArm, Role::head})
    if (plan.character.has(role) && !plan.performer.has(role))
      report.issues.push_back(makeWarning("The performer has no " + std::string(roleName(role)) + "; the character keeps its rest pose there", performer.path));
  for (const PosedBody* body : {&plan.performer, &plan.character})
    report.issues.insert(report.issues.end(), body->pose.issues.begin(), body->pose.issues.end());
  report.animatedJoints = plan.animated;
  report.performerReference = std::move(plan.performer.pose);
  report.characterReference = std::move(plan.character.pose);
  return result;
}

}  // namespace understudy
