#include "core/repair/skin_frames.h"

#include "core/retarget/retarget.h"

namespace understudy {

SkinFrames::SkinFrames(const RepairContext& context) : context_(context), rest_(restWorld(context.figure->skeleton)) {
  const auto n = static_cast<std::size_t>(context.body.rig.size());
  std::vector<Quatd> local(n);
  std::vector<Vec3d> position(n);
  turn_.resize(n);
  for (std::size_t j = 0; j < n; ++j) local[j] = context.figure->skeleton.rest[j].rotation;
  worldOf(context.body.rig, local, {}, turn_, position);
}

Vec3d SkinFrames::local(int joint, const Vec3d& filePosition) const {
  const auto j = static_cast<std::size_t>(joint);
  const Vec3d bound = apply(inverse(context_.body.pose.fileWorld[j]), filePosition);
  return rotate(conjugate(turn_[j]), worldFromFile(*context_.figure, context_.body.pose).linear * (rest_[j].linear * bound));
}

}  // namespace understudy
