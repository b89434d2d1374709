#include "core/retarget/plan.h"

#include <algorithm>
#include <cmath>

namespace understudy {
namespace {

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
    besideHands();
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

  /// What carries fingers beside the hand is hand as well, and goes along with it; on the same body it goes as it went.
  void besideHands() {
    for (const Role hand : {Role::leftHand, Role::rightHand}) {
      const int a = ms().joint(hand);
      if (a < 0 || mt().joint(hand) < 0) continue;
      const std::vector<int> from = besideHand(plan_.performer.figure->skeleton, ms(), hand == Role::leftHand), to = besideHand(plan_.character.figure->skeleton, mt(), hand == Role::leftHand);
      const bool own = plan_.sameBody && from.size() == to.size();
      for (std::size_t k = 0; k < to.size(); ++k)
        if (plan_.drivers[to[k]].kind == Driver::Kind::hold) follow(to[k], own ? from[k] : a, hand);
    }
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
}  // namespace

void planDrivers(Plan& plan, const Alignment& alignment, const Motion& clip) { Planner(plan, alignment).build(clip); }

std::vector<int> withAncestors(const std::vector<int>& parents, const std::vector<int>& joints) {
  std::vector<char> flags(parents.size(), 0);
  for (int j : joints)
    for (; j >= 0; j = parents[j]) flags[j] = 1;
  std::vector<int> list;
  for (std::size_t j = 0; j < flags.size(); ++j)
    if (flags[j]) list.push_back(static_cast<int>(j));
  return list;
}
}  // namespace understudy
