#include "core/inspect/head_sinks.h"

#include <algorithm>
#include <cmath>

#include "core/body/body_model.h"
#include "core/inspect/limb_names.h"
#include "core/math/outermost.h"
#include "core/repair/clearance.h"
#include "core/repair/poser.h"

namespace understudy {
namespace {

constexpr double spare = 0.004;  // metres of a character 1.7 m tall that a head is brought above the ground: what comes later may lower it

/// What of the head's skin can be lowest, in the frame of its joint, metres; it turns with that alone.
struct HeadPoints {
  std::vector<Vec3d> points;
  double radius = 0;  // around the joint
};

HeadPoints headPoints(const RepairContext& context) {
  HeadPoints out;
  const std::shared_ptr<const BodyModel> model = bodyModelOf(context);
  const auto head = static_cast<std::size_t>(context.joint(Role::head));
  std::vector<Vec3d> skin;
  for (std::size_t v = 0; v < model->surface.parts.size(); ++v)
    if (model->surface.parts[v] == BodyPart::head) skin.push_back(rotate(conjugate(model->rotation[head]), model->surface.positions[v] - model->position[head]));
  if (skin.empty()) return out;
  for (const std::size_t i : outermost(skin, 400)) {
    out.points.push_back(skin[i]);
    out.radius = std::max(out.radius, length(skin[i]));
  }
  return out;
}

/// A head, and the back that carries it.
class Back {
 public:
  explicit Back(const RepairContext& context) : context_(context), poser_(context), head_(context.joint(Role::head)) {
    const int hips = context.joint(Role::hips);
    if (head_ < 0 || hips < 0 || context.figure->meshes.empty()) return;
    const auto& parents = context.figure->skeleton.parents;
    points_ = context.parts->get<HeadPoints>([&] { return headPoints(context); });
    for (int j = parents[static_cast<std::size_t>(head_)]; j >= 0 && j != hips; j = parents[static_cast<std::size_t>(j)]) joints_.insert(joints_.begin(), j);
  }
  [[nodiscard]] bool complete() const { return points_ && !points_->points.empty() && !joints_.empty(); }

  /// Metres by which the head's lowest point lies in the ground, less than 0 above it (high up not to be relied on); `turns`, in each joint's own frame, are added from the lowest one on.
  double depthAt(const TiledMotion& motion, int frame, const std::vector<Vec3d>& turns = {}) {
    poser_.load(motion, frame);
    for (std::size_t k = 0; k < turns.size(); ++k) poser_.turn(joints_[k], expOf(rotate(poser_.rotation(joints_[k]), turns[k])));
    double low = poser_.position(head_).y;
    if (low < points_->radius)
      for (const Vec3d& p : points_->points) low = std::min(low, poser_.toWorld(head_, p).y);
    return -low;
  }

  /// Turns by one radian each that lift the head most where it lies deepest at a frame.
  std::vector<Vec3d> straightening(const TiledMotion& motion, int frame) {
    poser_.load(motion, frame);
    Vec3d lowest{0, 1e300, 0};
    for (const Vec3d& p : points_->points)
      if (const Vec3d at = poser_.toWorld(head_, p); at.y < lowest.y) lowest = at;
    const Vec3d arm = lowest - poser_.position(joints_.front());
    const Vec3d axis = normalised(Vec3d{-arm.z, 0, arm.x}, Vec3d{});
    std::vector<Vec3d> out;
    for (const int j : joints_) out.push_back(rotate(conjugate(poser_.rotation(j)), axis));
    return out;
  }

  [[nodiscard]] const std::vector<int>& joints() const { return joints_; }

 private:
  const RepairContext& context_;
  Poser poser_;
  int head_;
  std::shared_ptr<const HeadPoints> points_;
  std::vector<int> joints_;  // from the hips on
};

}  // namespace

Findings headSinks(const RepairContext& context, const TiledMotion& motion, const HeadSinkLimits& limits) {
  Findings out;
  Back back(context);
  if (!back.complete()) return out;
  const double least = context.scaled(limits.least), spared = context.scaled(spare);
  const int join = std::max(1, static_cast<int>(limits.join * context.rate.hertz()));
  std::vector<FrameSpan> times;
  std::vector<double> depth;
  for (int f = 0; f < motion.frames(); ++f) {
    depth.push_back(back.depthAt(motion, f));
    if (depth.back() <= least) continue;
    if (!times.empty() && f - times.back().last <= join) times.back().last = f;
    else times.push_back({f, f});
  }
  for (const FrameSpan& time : times) {
    Finding finding;
    finding.kind = FindingKind::sink;
    finding.span = time;
    finding.worst = static_cast<int>(std::max_element(depth.begin() + time.first, depth.begin() + time.last + 1) - depth.begin());
    const double worst = depth[static_cast<std::size_t>(finding.worst)];
    finding.measure = 1000 * worst;
    finding.severity = std::clamp(worst / context.scaled(0.1), 0.05, 1.0);
    finding.bones = {"@head"};
    finding.sentence = "The head sinks " + spokenFigure(finding.measure, "mm") + " into the ground";
    const std::vector<Vec3d> ways = back.straightening(motion, finding.worst);
    const auto left = [&](double part) {
      std::vector<Vec3d> turns = ways;
      for (Vec3d& t : turns) t *= limits.most * part;
      double deepest = -1e300;
      for (int f = time.first; f <= time.last; ++f)
        if (depth[static_cast<std::size_t>(f)] > -spared) deepest = std::max(deepest, back.depthAt(motion, f, turns));
      return deepest;
    };
    double low = 0, high = 1;
    if (left(high) <= -spared)
      for (int step = 0; step < 10; ++step) {
        const double middle = (low + high) / 2;
        (left(middle) <= -spared ? high : low) = middle;
      }
    OffsetRepair offset;
    for (std::size_t k = 0; k < ways.size(); ++k) offset.bones.push_back({boneName(context, back.joints()[k]), ways[k] * (limits.most * high), {}});
    Repair repair;
    repair.name = "back straightened";
    repair.span = TimeRange{context.rate.seconds(time.first), context.rate.seconds(time.last)};
    repair.easeBefore = repair.easeAfter = limits.ease;
    repair.action = std::move(offset);
    finding.proposal = {std::move(repair)};
    nameFinding(finding, context.rate);
    out.push_back(std::move(finding));
  }
  return out;
}

}  // namespace understudy
