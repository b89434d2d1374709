#include "core/repair/arm_around.h"

#include <algorithm>

namespace understudy {

ArmAround::ArmAround(const RepairContext& context, const TiledMotion& in, int stride, std::vector<ArmClearer*> arms)
    : in_(in), stride_(stride), arms_(std::move(arms)), poser_(context) {}

const std::vector<Vec3d>& ArmAround::nodeAt(int n) {
  const auto [at, fresh] = sides_.try_emplace(n);
  if (!fresh) return at->second;
  poser_.load(in_, std::clamp(n * stride_, 0, in_.frames() - 1));
  Quatd frame;
  for (std::size_t a = 0; a < arms_.size(); ++a) {
    ArmClearer::Pose pose;
    arms_[a]->read(poser_, pose, a > 0 ? &frame : nullptr);
    frame = pose.frame;
    const Vec3d line = normalised(pose.end - pose.root, {}), elbow = pose.mid - pose.root;
    at->second.push_back(rotate(conjugate(frame), elbow - line * dot(elbow, line)));
  }
  return at->second;
}

Vec3d ArmAround::side(std::size_t arm, int frame) {
  const double reach = support(stride_);
  Vec3d sum;
  double total = 0;
  for (int n = frame / stride_ - nodes; n <= frame / stride_ + nodes + 1; ++n) {
    const double u = (n * stride_ - frame) / reach, w = std::max(0.0, 1 - u * u);
    if (w <= 0) continue;
    sum += nodeAt(n)[arm] * (w * w);
    total += w * w;
  }
  return sum / total;
}

}  // namespace understudy
