#include "core/repair/mirror.h"

#include <algorithm>
#include <cmath>

namespace understudy {
namespace {

Quatd referenceRotation(const RepairContext& context, int joint) { return context.body.rotation[static_cast<std::size_t>(joint)]; }

}  // namespace

int mirroredJoint(const RepairContext& context, int joint) {
  for (int r = 0; r < roleCount; ++r) {
    const Role role = roleAt(r);
    const std::vector<int>& joints = context.roles().at(role).joints;
    const auto at = std::find(joints.begin(), joints.end(), joint);
    if (at == joints.end()) continue;
    const std::vector<int>& others = context.roles().at(mirrored(role)).joints;
    const auto place = static_cast<std::size_t>(at - joints.begin());
    return place < others.size() ? others[place] : -1;
  }
  const std::vector<int>& parents = context.figure->skeleton.parents;
  const int parent = parents[static_cast<std::size_t>(joint)];
  const int below = parent < 0 ? -1 : mirroredJoint(context, parent);
  if (parent >= 0 && below < 0) return -1;
  // Bones that lie within a hundredth of the body's height of the mirror's image.
  const Vec3d image = mirroredPlace(context.body.position[static_cast<std::size_t>(joint)]);
  int best = -1;
  double nearest = 0.01 * context.height;
  for (int j = 0; j < static_cast<int>(parents.size()); ++j) {
    if (parents[static_cast<std::size_t>(j)] != below) continue;
    const double off = distance(context.body.position[static_cast<std::size_t>(j)], image);
    // Of several bones at one place the one itself is meant where it lies in the middle.
    if (off < nearest || (j == joint && off <= nearest)) {
      nearest = off;
      best = j;
    }
  }
  return best;
}

Vec3d mirroredTurn(const RepairContext& context, int joint, int other, const Vec3d& rotation) {
  return rotate(conjugate(referenceRotation(context, other)), mirroredTurn(rotate(referenceRotation(context, joint), rotation)));
}

Vec3d mirroredPlace(const RepairContext& context, int joint, int other, const Vec3d& place) {
  return rotate(conjugate(referenceRotation(context, other)), mirroredPlace(rotate(referenceRotation(context, joint), place)));
}

Placement mirroredPlacement(const RepairContext& context, int joint, int other, const Placement& place) {
  return {mirroredPlace(context, joint, other, place.position),
          normalised(conjugate(referenceRotation(context, other)) * mirroredTurn(referenceRotation(context, joint) * place.rotation))};
}

bool mirrorChange(const RepairContext& context, int joint, int other, NudgeSpace space, Vec3d& rotation, Vec3d& translation) {
  if (space == NudgeSpace::world || space == NudgeSpace::view) return false;
  int from = joint, to = other;
  if (space == NudgeSpace::parent) {
    from = context.figure->skeleton.parents[static_cast<std::size_t>(joint)];
    to = context.figure->skeleton.parents[static_cast<std::size_t>(other)];
  }
  const bool own = space == NudgeSpace::bone || space == NudgeSpace::parent;
  if (own && from >= 0 && to >= 0) {
    rotation = mirroredTurn(context, from, to, rotation);
    translation = mirroredPlace(context, from, to, translation);
  } else {
    rotation = mirroredTurn(rotation);
    translation = mirroredPlace(translation);
  }
  return true;
}

double headingOf(const RepairContext& context, const Quatd& hips) {
  const int joint = context.joint(Role::hips);
  if (joint < 0) return 0;
  const Vec3d front = rotate(hips * conjugate(referenceRotation(context, joint)), Vec3d{0, 0, 1});
  return std::hypot(front.x, front.z) < 1e-6 ? 0 : std::atan2(front.x, front.z);
}

double yawOf(const RepairContext& context, int joint, const Quatd& now) {
  const Quatd change = now * conjugate(referenceRotation(context, joint));
  if (change.w * change.w + change.y * change.y < 1e-12) return 0;
  return 2 * std::atan2(change.w < 0 ? -change.y : change.y, std::abs(change.w));
}

}  // namespace understudy
