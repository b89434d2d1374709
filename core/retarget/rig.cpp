#include "core/retarget/rig.h"

#include <algorithm>
#include <cmath>

namespace understudy {
namespace {

/// Rotation part of a diagonal of signs, the point reflection −1 taken out of an odd number of them.
Quatd rotationOfSigns(const Vec3d& scale) {
  const bool x = scale.x < 0, y = scale.y < 0, z = scale.z < 0;
  const int count = x + y + z;
  if (count == 0 || count == 3) return {};
  // One negative sign is −1 times a half turn about that axis; two are a half turn about the remaining one.
  if (count == 1) return x ? Quatd{0, 1, 0, 0} : y ? Quatd{0, 0, 1, 0} : Quatd{0, 0, 0, 1};
  return !x ? Quatd{0, 1, 0, 0} : !y ? Quatd{0, 0, 1, 0} : Quatd{0, 0, 0, 1};
}

bool uniform(const Vec3d& s) {
  const double x = std::abs(s.x), y = std::abs(s.y), z = std::abs(s.z), top = std::max({x, y, z});
  return top - std::min({x, y, z}) < 1e-3 * top;
}

}  // namespace

RigidRig rigidRig(const Figure& figure, const Quatd& facing) {
  const Skeleton& skeleton = figure.skeleton;
  const int n = skeleton.size();
  RigidRig rig;
  rig.parents = skeleton.parents;
  rig.post.resize(n);
  rig.hasPost.resize(n);
  rig.stretch.resize(n);
  rig.translation.resize(n);
  rig.base = facing * figure.space.worldFromFile;
  std::vector<Mat3d> own(n);  // stretch that a joint hands to its children, in its own rotation frame
  for (int j = 0; j < n; ++j) {
    const int parent = skeleton.parents[j];
    const Trsd& rest = skeleton.rest[j];
    rig.translation[j] = rest.translation;
    rig.post[j] = rotationOfSigns(rest.scale);
    rig.hasPost[j] = std::abs(rig.post[j].w) < 0.5;
    const Mat3d above = parent < 0 ? Mat3d{} * figure.space.metresPerUnit : own[parent];
    rig.stretch[j] = above;
    // above · R · S  =  R · post · own, with R taken out on the left; exact where `above` is a multiple of identity.
    const Mat3d r = toMatrix(rest.rotation);
    const Mat3d scaled = above * Mat3d{r.cx * rest.scale.x, r.cy * rest.scale.y, r.cz * rest.scale.z};
    const Mat3d turned = toMatrix(rest.rotation * rig.post[j]);
    own[j] = transposed(turned) * scaled;
    if (!uniform(rest.scale)) rig.sheared = true;
  }
  return rig;
}

void worldOf(const RigidRig& rig, std::span<const Quatd> local, std::span<const Vec3d> translations, std::span<Quatd> rotation,
             std::span<Vec3d> position) {
  for (int j = 0; j < rig.size(); ++j) {
    const int parent = rig.parents[j];
    const Quatd& above = parent < 0 ? rig.base : rotation[parent];
    rotation[j] = above * local[j];
    if (rig.hasPost[j]) rotation[j] = rotation[j] * rig.post[j];
    const Vec3d offset = translations.empty() ? rig.offset(j) : rig.stretch[j] * translations[j];
    position[j] = rotate(above, offset) + (parent < 0 ? Vec3d{} : position[parent]);
  }
}

void localOf(const RigidRig& rig, std::span<const Quatd> world, std::span<Quatd> local) {
  for (int j = 0; j < rig.size(); ++j) {
    const int parent = rig.parents[j];
    local[j] = conjugate(parent < 0 ? rig.base : world[parent]) * world[j];
    if (rig.hasPost[j]) local[j] = local[j] * conjugate(rig.post[j]);
  }
}

}  // namespace understudy
