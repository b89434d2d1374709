#include "core/repair/clearance_memo.h"

namespace understudy {
namespace {

void add(Digest& digest, const Vec3d& v) { digest.add(v.x).add(v.y).add(v.z); }
void add(Digest& digest, const Quatd& q) { digest.add(q.w).add(q.x).add(q.y).add(q.z); }

}  // namespace

Digest digestOf(const ArmGroup::Watches& watches) {
  Digest out;
  for (const ArmClearer::Watch& watch : watches) {
    out.add(static_cast<std::uint64_t>(watch.pairs.size()));
    for (const auto& [point, solid] : watch.pairs) out.add(std::uint64_t{point} << 16 | solid);
  }
  return out;
}

Digest digestOf(const ArmGroup::Seen& seen) {
  Digest out = digestOf(seen.watches);
  out << seen.at;
  return out.add(std::uint64_t{seen.asked});
}

Digest digestOf(const ArmClearer::Pose& pose) {
  Digest out;
  static_assert(sizeof(Affined) == 12 * sizeof(double));
  out.addWords(pose.turned.data(), 12 * pose.turned.size());
  for (const Vec3d& v : {pose.girdle, pose.root, pose.mid, pose.end}) add(out, v);
  add(out, pose.frame);
  out.add(pose.floor);
  add(out, pose.rootTurn);
  add(out, pose.side);
  return out;
}

Digest digestOf(const ClearedArm& arm) {
  const ArmClearanceSettings& s = arm.settings;
  Digest out;
  out.add(std::uint64_t{arm.side == 0}).add(std::uint64_t{s.handStays}).add(s.clavicle).add(s.swivel).add(s.turn).add(s.bend);
  out.add(std::uint64_t{s.torso}).add(std::uint64_t{s.head}).add(std::uint64_t{s.thighs}).add(std::uint64_t{s.floor});
  for (const Vec3d& p : arm.held.points) add(out, p);
  return out;
}

}  // namespace understudy
