#include "core/repair/plant_parts.h"

#include <algorithm>
#include <cmath>

#include "core/repair/plant_stay.h"
#include "core/repair/poser.h"
#include "core/repair/skin_frames.h"

namespace understudy {
namespace {

int sideOf(PlantPart part) { return part == PlantPart::rightKnee || part == PlantPart::rightHand || part == PlantPart::rightFoot ? 1 : 0; }
bool isHand(PlantPart part) { return part == PlantPart::leftHand || part == PlantPart::rightHand; }
bool isKnee(PlantPart part) { return part == PlantPart::leftKnee || part == PlantPart::rightKnee; }

/// The joint that is held; −1 where the map has none.
int jointOf(const RepairContext& context, PlantPart part) {
  const auto side = static_cast<std::size_t>(sideOf(part));
  if (part == PlantPart::seat) return context.joint(Role::hips);
  if (isHand(part)) return context.arms[side].complete() ? context.arms[side].end : -1;
  return isKnee(part) && context.legs[side].complete() ? context.legs[side].mid : -1;
}

int middleOf(const RepairFrames& frames) { return (frames.span.first + frames.span.last) / 2; }

}  // namespace

PartSkin::PartSkin(const RepairContext& context) {
  const Figure& figure = *context.figure;
  const Skeleton& skeleton = figure.skeleton;
  const PosedBody& body = context.body;
  const Affined toWorld = worldFromFile(figure, body.pose);
  const SkinFrames frames(context);
  const int hips = context.joint(Role::hips);
  const auto at = [&](int joint) { return body.position[static_cast<std::size_t>(joint)]; };
  for (const Mesh& mesh : figure.meshes) {
    if (mesh.skin < 0) continue;
    const Skin& skin = figure.skins[static_cast<std::size_t>(mesh.skin)];
    const std::vector<Vec3f> positions = skinnedPositions(figure, mesh, body.pose.fileWorld);
    for (std::size_t v = 0; v < positions.size(); ++v) {
      int joint = -1;
      float best = 0;
      for (std::uint32_t k = mesh.influenceStart[v]; k < mesh.influenceStart[v + 1]; ++k)
        if (mesh.influenceWeight[k] > best) best = mesh.influenceWeight[k], joint = skin.joints[mesh.influenceJoint[k]];
      if (joint < 0) continue;
      const Vec3d p = apply(toWorld, Vec3d(positions[v]));
      for (std::size_t side = 0; side < 2; ++side) {
        const LimbRig &arm = context.arms[side], &leg = context.legs[side];
        if (arm.complete() && (joint == arm.end || isAncestor(skeleton, arm.end, joint)))
          hand_[side].push_back(frames.local(arm.end, Vec3d(positions[v])));
        // A knee rests on its front: how far the skin reaches forward around the joint.
        if (leg.complete() && (joint == leg.root || joint == leg.mid) && std::abs(p.y - at(leg.mid).y) < 0.08 * leg.full())
          knee_[side] = std::max(knee_[side], p.z - at(leg.mid).z);
      }
      // A seat rests on its back.
      if (joint == hips && std::abs(p.y - at(hips).y) < 0.25 * context.leg) seat_ = std::max(seat_, at(hips).z - p.z);
    }
  }
  for (std::size_t side = 0; side < 2; ++side)
    if (context.legs[side].complete() && knee_[side] <= 0) knee_[side] = 0.06 * context.legs[side].full();
  if (seat_ <= 0) seat_ = 0.12 * context.leg;
}

double PartSkin::hand(int side, const Quatd& rotation, const Vec3d& normal) const {
  double low = 0;
  const Vec3d down = rotate(conjugate(rotation), normal);
  for (const Vec3d& p : hand_[static_cast<std::size_t>(side)]) low = std::min(low, dot(p, down));
  return -low;
}

void anchorPart(PlantRepair& plant, const RepairContext& context, const TiledMotion& motion, const RepairFrames& frames) {
  const int joint = jointOf(context, plant.part);
  if (joint < 0 || frames.span.empty()) return;
  const PartSkin skin(context);
  const Vec3d normal = normalised(plant.normal, Vec3d{0, 1, 0});
  Poser pose(context);
  // Where it is on the average; a hand as it is turned half way through.
  Vec3d mean;
  for (int f = frames.span.first; f <= frames.span.last; ++f) {
    pose.load(motion, f);
    mean += pose.position(joint) / static_cast<double>(frames.span.count());
  }
  pose.load(motion, middleOf(frames));
  const int side = sideOf(plant.part);
  const double above = plant.part == PlantPart::seat ? skin.seat() : isHand(plant.part) ? skin.hand(side, pose.rotation(joint), normal) : skin.knee(side);
  plant.anchor = Vec3d{mean.x, plant.ground, mean.z} + normal * above;
  plant.lift = isKnee(plant.part) ? plant.anchor.y - mean.y : 0;
  plant.anchored = true;
}

PartPlants::PartPlants(const RepairLayer& layer, Issues& issues) : layer_(layer) {
  for (std::size_t i = 0; i < layer.repairs().size(); ++i) {
    const Repair& repair = *layer.repairs()[i];
    const auto* plant = std::get_if<PlantRepair>(&repair.action);
    if (!plant || plant->part == PlantPart::leftFoot || plant->part == PlantPart::rightFoot || layer.framesOf(i).span.empty()) continue;
    if (jointOf(layer.context(), plant->part) < 0 || !plant->anchored) {
      issues.push_back(makeWarning("This plant needs its limb in the bone map and a place; it is left out", describe(repair), "Map the limb, or refit the repair"));
      continue;
    }
    parts_.push_back({i, plant->part, layer.framesOf(i), std::clamp(repair.weight, 0.0, 1.0), plant->anchor});
  }
}

std::vector<FrameSpan> PartPlants::extents() const {
  std::vector<FrameSpan> out;
  for (const Part& p : parts_) out.push_back(*extent(p.repair));
  return out;
}

std::optional<FrameSpan> PartPlants::extent(std::size_t repair) const {
  for (const Part& p : parts_)
    if (p.repair == repair) return common(widened(p.frames.span, p.frames.before, p.frames.after), {0, layer_.context().frames - 1});
  return std::nullopt;
}

bool PartPlants::hasSeat() const {
  return std::any_of(parts_.begin(), parts_.end(), [](const Part& p) { return p.part == PlantPart::seat; });
}

PartPlants::Hold PartPlants::seatAt(const TiledMotion& in, int frame) const {
  Hold hold;
  for (const Part& p : parts_) {
    if (p.part != PlantPart::seat || !widened(p.frames.span, p.frames.before, p.frames.after).holds(frame)) continue;
    const double firm = fadedAround(p.frames.span, p.frames.before, p.frames.after, frame) * p.weight;
    if (firm <= hold.firm) continue;
    // Outside the span the change at its edge fades.
    const int at = std::clamp(frame, p.frames.span.first, p.frames.span.last);
    Poser pose(layer_.context());
    pose.load(in, at);
    hold = {(p.anchor - pose.position(layer_.context().joint(Role::hips))) * firm, firm};
  }
  return hold;
}

void PartPlants::apply(const TiledMotion& in, FrameSpan frames, TiledMotion& out, std::vector<Residual>& residuals) const {
  const RepairContext& context = layer_.context();
  Poser pose(context), own(context);
  for (const Part& p : parts_) {
    if (p.part == PlantPart::seat) continue;
    const FrameSpan span = common(*extent(p.repair), frames);
    const int joint = jointOf(context, p.part);
    const auto side = static_cast<std::size_t>(sideOf(p.part));
    if (span.empty()) continue;
    own.load(in, middleOf(p.frames));
    const Quatd kept = own.rotation(joint);
    for (int f = span.first; f <= span.last; ++f) {
      const double firm = fadedAround(p.frames.span, p.frames.before, p.frames.after, f) * p.weight;
      if (firm <= 0) continue;
      pose.load(out, f);
      // Outside the span the change at its edge fades along the part's own way.
      const int at = std::clamp(f, p.frames.span.first, p.frames.span.last);
      own.load(in, at);
      Vec3d target = p.anchor;
      if (at != f) {
        const Vec3d change = p.anchor - own.position(joint);
        own.load(in, f);
        target = own.position(joint) + change;
      }
      target = lerp(pose.position(joint), target, firm);
      if (isHand(p.part)) {
        LimbGoal goal;
        goal.target = target;
        goal.endRotation = slerp(pose.rotation(joint), kept, firm);
        goal.soft = firm < 1 ? 0.97 : 1;
        const double miss = pose.solveLimb(context.arms[side], goal);
        if (p.frames.span.holds(f)) residuals[p.repair].note(f, miss);
      } else {
        const LimbRig& leg = context.legs[side];
        const Quatd shank = pose.rotation(leg.mid), foot = pose.rotation(leg.end);
        const Vec3d hip = pose.position(leg.root);
        const Vec3d footAt = pose.position(leg.end) - pose.position(leg.mid);
        pose.turn(leg.root, rotationBetween(normalised(pose.position(leg.mid) - hip), normalised(target - hip, Vec3d{0, -1, 0})));
        pose.setRotation(leg.mid, shank);
        if (leg.detached) pose.moveBy(leg.end, pose.position(leg.mid) + footAt - pose.position(leg.end));
        pose.setRotation(leg.end, foot);
        if (p.frames.span.holds(f)) residuals[p.repair].note(f, distance(pose.position(leg.mid), target));
      }
      pose.store(out, f);
    }
  }
}

}  // namespace understudy
