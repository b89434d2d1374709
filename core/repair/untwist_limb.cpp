#include "core/repair/untwist_limb.h"

#include <algorithm>

namespace understudy {

LocalPose::LocalPose(const RepairContext& context)
    : context_(context), local_(static_cast<std::size_t>(context.body.rig.size())), changed_(local_.size(), 0), moved_(local_.size(), 0) {
  for (int j = 0; j < context.body.rig.size(); ++j) restPlace_.push_back(context.body.rig.offset(j));
}

void LocalPose::load(const TiledMotion& motion, int frame) {
  const RigidRig& rig = context_.body.rig;
  const auto rotations = motion.rotationsAt(frame);
  for (std::size_t j = 0; j < local_.size(); ++j) {
    local_[j] = normalised(Quatd(rotations[j]));
    if (rig.hasPost[j]) local_[j] = local_[j] * rig.post[j];
    changed_[j] = moved_[j] = 0;
  }
  place_ = restPlace_;
  const auto translations = motion.translationsAt(frame);
  for (std::size_t k = 0; k < translations.size(); ++k) {
    const auto j = static_cast<std::size_t>(motion.movedJoints()[k]);
    place_[j] = rig.stretch[j] * Vec3d(translations[k]);
  }
}

void LocalPose::store(TiledMotion& out, int frame) const {
  const RigidRig& rig = context_.body.rig;
  const auto rotations = out.rotationsToWrite(frame);
  for (std::size_t j = 0; j < local_.size(); ++j) {
    if (!changed_[j]) continue;
    const Quatd local = rig.hasPost[j] ? local_[j] * conjugate(rig.post[j]) : local_[j];
    rotations[j] = Quatf(sameHemisphere(normalised(local), Quatd(rotations[j])));
  }
  const auto translations = out.translationsToWrite(frame);
  for (std::size_t k = 0; k < translations.size(); ++k) {
    const auto j = static_cast<std::size_t>(out.movedJoints()[k]);
    if (moved_[j]) translations[k] = Vec3f(inverse(rig.stretch[j]) * place_[j]);
  }
}

Quatd TwistLink::change(const LocalPose& pose) const {
  Quatd relative;
  for (const int j : path) relative = relative * pose[j];
  return relative * conjugate(reference);
}

Quatd TwistLink::baseChange(const LocalPose& pose) const {
  Quatd relative;
  for (const int j : baseWay) relative = relative * pose[j];
  return conjugate(baseReference) * relative;
}

void TwistLink::share(LocalPose& pose, double angle) const {
  // From the joint above each joint of the path to the end, in the frame of the joint above.
  std::vector<Vec3d> lines(path.size());
  for (std::size_t k = path.size(); k-- > 0;) {
    lines[k] = pose.place(path[k]);
    if (k + 1 < path.size()) lines[k] += rotate(pose[path[k]], lines[k + 1]);
  }
  const double size = length(lines[0]);
  if (size < 1e-9) return;
  const Vec3d line = lines[0] / size;
  Quatd relative;
  for (const int j : path) relative = relative * pose[j];
  const Quatd wanted = fromAxisAngle(line, -angle) * relative;

  pose.set(base, pose[base] * fromAxisAngle(line, angle));
  // Each joint between gives back the part of the turn up to its place, about its own line to the end.
  Quatd reached;
  double before = 0;
  for (std::size_t k = 0; k + 1 < path.size(); ++k) {
    const double reach = length(lines[k + 1]);
    if (reach > 1e-9) {
      const double back = (along[k] - before) * angle;
      pose.set(path[k], pose[path[k]] * fromAxisAngle(lines[k + 1] / reach, -back));
      before = along[k];
    }
    reached = reached * pose[path[k]];
  }
  pose.set(path.back(), normalised(conjugate(reached) * wanted));
  for (const Beside& b : beside) pose.set(b.joint, fromAxisAngle(line, -b.t * angle) * pose[b.joint]);
  const Quatd back = fromAxisAngle(line, -angle);
  for (const Held& h : held) {
    if (h.moves) pose.move(h.joint, rotate(back, pose.place(h.joint)));
    pose.set(h.joint, back * pose[h.joint]);
  }
}

std::optional<TwistLink> twistLink(const RepairContext& context, int base, int end, const std::vector<int>& chain, int above) {
  const Skeleton& skeleton = context.figure->skeleton;
  if (base < 0 || end < 0 || !isAncestor(skeleton, base, end)) return std::nullopt;
  const auto at = [&](int j) { return context.body.position[static_cast<std::size_t>(j)]; };
  const auto turn = [&](int j) { return context.body.rotation[static_cast<std::size_t>(j)]; };
  const Vec3d line = at(end) - at(base);
  const double size = length(line);
  if (size < 1e-6 * context.height) return std::nullopt;
  TwistLink link;
  link.base = base;
  for (int j = end; j != base; j = skeleton.parents[static_cast<std::size_t>(j)]) link.path.push_back(j);
  std::reverse(link.path.begin(), link.path.end());
  const auto place = [&](int j) { return std::clamp(dot(at(j) - at(base), line) / (size * size), 0.0, 1.0); };
  double before = 0;
  for (std::size_t k = 0; k + 1 < link.path.size(); ++k) link.along.push_back(before = std::max(before, place(link.path[k])));
  const auto onPath = [&](int j) { return std::find(link.path.begin(), link.path.end(), j) != link.path.end(); };
  const auto offLine = [&](int j) { return length(at(j) - at(base) - line * (dot(at(j) - at(base), line) / (size * size))); };
  for (const int j : chain)
    if (j != base && skeleton.parents[static_cast<std::size_t>(j)] == base && !onPath(j)) link.beside.push_back({j, place(j)});
  for (int j = 0; j < skeleton.size(); ++j) {
    if (skeleton.parents[static_cast<std::size_t>(j)] != base || onPath(j) || std::find(chain.begin(), chain.end(), j) != chain.end()) continue;
    // What carries fingers, toes or whatever else comes after the end, or lies at the end's place, is the end's.
    const auto carriesRole = [&](int k) {
      for (int r = 0; r < roleCount; ++r)
        if (const std::vector<int>& joints = context.roles().at(roleAt(r)).joints; std::find(joints.begin(), joints.end(), k) != joints.end()) return true;
      return false;
    };
    const std::vector<int>& below = context.below[static_cast<std::size_t>(j)];
    if (carriesRole(j) || std::any_of(below.begin(), below.end(), carriesRole) || distance(at(j), at(end)) < 0.01 * size)
      link.held.push_back({j, offLine(j) > 1e-4 * context.height});
  }
  if (above >= 0 && isAncestor(skeleton, above, base)) {
    link.above = above;
    link.baseReference = conjugate(turn(above)) * turn(base);
    for (int j = base; j != above; j = skeleton.parents[static_cast<std::size_t>(j)]) link.baseWay.push_back(j);
    std::reverse(link.baseWay.begin(), link.baseWay.end());
  }
  link.reference = conjugate(turn(base)) * turn(end);
  link.axis = rotate(conjugate(turn(base)), line / size);
  return link;
}

}  // namespace understudy
