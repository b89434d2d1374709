#include "core/repair/offset.h"

#include <cmath>
#include <optional>

#include "core/repair/admit.h"
#include "core/repair/mirror.h"
#include "core/repair/poser.h"

namespace understudy {
namespace {

struct Change {
  int joint = 0;
  Vec3d rotation, translation;
  bool mirror = false;  ///< given for the other side, in the stage's axes
  Vec3d slopeBefore, slopeAfter;  ///< of a nudge, radians a frame

  /// Its turn at weight `own`, of which the slopes take `weight`.
  [[nodiscard]] Vec3d turn(double own, const NudgeFrames& key, double weight, int frame) const {
    const Vec3d& slope = frame < key.frame ? slopeBefore : slopeAfter;
    return slope == Vec3d{} ? rotation * own : rotation * own + slope * (slopeWeight(key, frame) * weight);
  }
  [[nodiscard]] bool turns() const { return rotation != Vec3d{} || slopeBefore != Vec3d{} || slopeAfter != Vec3d{}; }
};

/// One offset or nudge.
struct Part {
  NudgeSpace space = NudgeSpace::bone;
  std::vector<Change> changes;  ///< parents first
  double weight = 0;
  bool nudge = false;
  std::size_t index = 0;  ///< among the repairs or the nudges
  RepairFrames span;      ///< of an offset
  NudgeFrames key;        ///< of a nudge
  FrameSpan extent;

  [[nodiscard]] double weightAt(int frame) const { return weight * (nudge ? easeWeight(key, frame) : spanWeight(span, frame)); }
  [[nodiscard]] bool local() const {
    if (space != NudgeSpace::bone && space != NudgeSpace::parent) return false;
    return std::all_of(changes.begin(), changes.end(), [](const Change& c) { return c.translation == Vec3d{}; });
  }
};

struct Removal {
  std::size_t repair = 0;
  std::vector<int> joints;
};

std::string nameOf(const Nudge& nudge) { return nudge.name.empty() ? "nudge " + std::to_string(nudge.id) : "nudge '" + nudge.name + "'"; }

class OffsetLayer : public RepairLayer {
 public:
  OffsetLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, const std::vector<const Nudge*>& nudges, Issues& issues)
      : RepairLayer(std::move(context), std::move(repairs)), nudgeExtents_(nudges.size()), repairExtents_(repairs_.size()) {
    for (std::size_t i = 0; i < repairs_.size(); ++i) addRepair(i, issues);
    for (std::size_t i = 0; i < nudges.size(); ++i) addNudge(*nudges[i], i, issues);
    std::sort(moved_.begin(), moved_.end());
    moved_.erase(std::unique(moved_.begin(), moved_.end()), moved_.end());
  }

  [[nodiscard]] FrameSpan extent(std::size_t repair) const override { return repairExtents_[repair]; }
  [[nodiscard]] FrameSpan nudgeExtent(std::size_t nudge) const override { return nudgeExtents_[nudge]; }
  [[nodiscard]] std::vector<int> movedJoints() const override { return moved_; }
  [[nodiscard]] bool automatic() const override { return false; }

  [[nodiscard]] FrameSpan affected(FrameSpan changed) const override {
    for (const Part& part : parts_)
      if (keepsHeading(part) && changed.holds(headingFrame(part))) changed = hull(changed, common(part.extent, {0, context_->frames - 1}));
    return changed;
  }

  void apply(const TiledMotion& in, FrameSpan frames, TiledMotion& out, std::vector<Residual>&) const override {
    std::vector<const Part*> near;
    for (const Part& part : parts_)
      if (!common(part.extent, frames).empty()) near.push_back(&part);
    if (near.empty()) return;
    std::vector<std::optional<double>> headings(parts_.size());
    std::optional<Poser> poser;
    for (int f = frames.first; f <= frames.last; ++f) {
      bool any = false, local = true;
      for (const Part* part : near) {
        if (part->weightAt(f) == 0) continue;
        any = true;
        local = local && part->local();
      }
      if (!any) continue;
      if (local) {
        turnLocally(near, f, out);
        continue;
      }
      if (!poser) poser.emplace(*context_);
      poser->load(in, f);
      for (const Part* part : near)
        if (const double w = part->weightAt(f); w != 0) change(*poser, *part, w, f, in, headings);
      poser->store(out, f);
    }
  }

 private:
  void addRepair(std::size_t index, Issues& issues) {
    const Repair& repair = *repairs_[index];
    const std::string where = describe(repair);
    if (!admitted(repair, frames_[index], *context_, issues)) return;
    if (const auto* restore = std::get_if<RestoreRepair>(&repair.action)) {
      Removal removal{index, {}};
      if (restore->bones.empty())
        for (int j = 0; j < context_->figure->skeleton.size(); ++j) removal.joints.push_back(j);
      else
        removal.joints = findBones(*context_, restore->bones, where, issues);
      if (removal.joints.empty()) return;
      repairExtents_[index] = frames_[index].acting();
      removals_.push_back(std::move(removal));
      return;
    }
    const auto* offset = std::get_if<OffsetRepair>(&repair.action);
    if (!offset) return;
    Part part;
    part.space = offset->space;
    part.weight = repair.weight;
    part.index = index;
    part.span = frames_[index];
    part.extent = frames_[index].acting();
    part.changes = changesOf(offset->bones, part.space, offset->bothSides, where, issues);
    if (part.changes.empty()) return;
    repairExtents_[index] = part.extent;
    parts_.push_back(std::move(part));
  }

  void addNudge(const Nudge& nudge, std::size_t index, Issues& issues) {
    if (nudge.muted || nudge.weight == 0) return;
    const std::string where = nameOf(nudge);
    if (!std::isfinite(nudge.time) || !std::isfinite(nudge.easeBefore) || !std::isfinite(nudge.easeAfter) || !std::isfinite(nudge.weight)) {
      issues.push_back(makeWarning("The nudge's numbers are not finite; it is left out", where, "Make it again"));
      return;
    }
    Part part;
    part.space = nudge.space;
    part.weight = nudge.weight;
    part.nudge = true;
    part.index = index;
    part.key = nudgeFrames(nudge, context_->rate);
    part.extent = {part.key.first(), part.key.last()};
    part.changes = changesOf(nudge.joints, nudge.space, false, where, issues, nudge.slopes);
    if (part.changes.empty()) return;
    nudgeExtents_[index] = part.extent;
    parts_.push_back(std::move(part));
  }

  std::vector<Change> changesOf(const std::vector<JointNudge>& bones, NudgeSpace space, bool bothSides, const std::string& where, Issues& issues,
                                const std::vector<NudgeSlope>& slopes = {}) {
    std::vector<Change> changes;
    const double perFrame = 1 / context_->rate.hertz();
    for (const JointNudge& bone : bones) {
      NudgeSlope slope;
      for (const NudgeSlope& one : slopes)
        if (one.joint == bone.joint) slope = one;
      if (bone.rotation == Vec3d{} && bone.translation == Vec3d{} && slope.before == Vec3d{} && slope.after == Vec3d{}) continue;
      if (!isFinite(bone.rotation) || !isFinite(bone.translation) || !isFinite(slope.before) || !isFinite(slope.after)) {
        issues.push_back(makeWarning("The numbers for '" + bone.joint + "' are not finite; it is left out", where, "Set them anew"));
        continue;
      }
      const Result<int> joint = findBone(*context_, bone.joint);
      if (!joint) {
        issues.push_back(makeWarning(joint.error().what, where, joint.error().todo));
        continue;
      }
      changes.push_back({*joint, bone.rotation, bone.translation, false, slope.before * perFrame, slope.after * perFrame});
      if (!bothSides) continue;
      const int other = mirroredJoint(*context_, *joint);
      if (other < 0)
        issues.push_back(makeWarning("'" + bone.joint + "' has no bone on the other side; only this side is turned", where));
      else if (other != *joint)
        changes.push_back(mirroredChange(changes.back(), other, space));
    }
    // Parents first: their change carries their children along before those are turned themselves.
    std::stable_sort(changes.begin(), changes.end(), [](const Change& a, const Change& b) { return a.joint < b.joint; });
    for (const Change& c : changes)
      if (c.translation != Vec3d{}) moved_.push_back(c.joint);
    return changes;
  }

  [[nodiscard]] Change mirroredChange(Change c, int other, NudgeSpace space) const {
    // In the stage's axes the mirror stands where the character looks at each frame.
    c.mirror = !mirrorChange(*context_, c.joint, other, space, c.rotation, c.translation);
    c.joint = other;
    return c;
  }

  [[nodiscard]] static bool keepsHeading(const Part& part) { return part.nudge && part.space == NudgeSpace::character; }
  [[nodiscard]] int headingFrame(const Part& part) const { return std::clamp(part.key.frame, 0, std::max(0, context_->frames - 1)); }
  [[nodiscard]] double hipsHeading(const Poser& poser) const {
    const int hips = context_->joint(Role::hips);
    return hips < 0 ? 0 : headingOf(*context_, poser.rotation(hips));
  }

  /// Heading that a nudge of the character's space keeps: of the pose at its own frame after everything before it.
  double headingFor(const Part& part, const TiledMotion& in, std::vector<std::optional<double>>& headings) const {
    const auto place = static_cast<std::size_t>(&part - parts_.data());
    if (!headings[place]) {
      const int frame = headingFrame(part);
      Poser poser(*context_);
      poser.load(in, frame);
      for (std::size_t i = 0; i < place; ++i)
        if (const double w = parts_[i].weightAt(frame); w != 0) change(poser, parts_[i], w, frame, in, headings);
      headings[place] = hipsHeading(poser);
    }
    return *headings[place];
  }

  /// What restores leave of a joint's nudges.
  [[nodiscard]] double kept(int joint, int frame) const {
    double left = 1;
    for (const Removal& removal : removals_)
      if (std::binary_search(removal.joints.begin(), removal.joints.end(), joint))
        left *= 1 - std::clamp(repairs_[removal.repair]->weight * spanWeight(frames_[removal.repair], frame), 0.0, 1.0);
    return left;
  }

  void turnLocally(const std::vector<const Part*>& near, int frame, TiledMotion& out) const {
    const auto rotations = out.rotationsToWrite(frame);
    for (const Part* part : near) {
      const double w = part->weightAt(frame);
      if (w == 0) continue;
      for (const Change& c : part->changes) {
        const double left = part->nudge ? kept(c.joint, frame) : 1, own = w * left;
        if (own == 0) continue;
        Quatf& stored = rotations[static_cast<std::size_t>(c.joint)];
        const Quatd before(stored), turn = expOf(c.turn(own, part->key, part->weight * left, frame));
        stored = Quatf(sameHemisphere(normalised(part->space == NudgeSpace::bone ? before * turn : turn * before), before));
      }
    }
  }

  void change(Poser& poser, const Part& part, double w, int frame, const TiledMotion& in, std::vector<std::optional<double>>& headings) const {
    constexpr Vec3d up{0, 1, 0};
    Quatd axes;
    if (part.space == NudgeSpace::character) axes = fromAxisAngle(up, part.nudge ? headingFor(part, in, headings) : hipsHeading(poser));
    const auto mirrors = std::any_of(part.changes.begin(), part.changes.end(), [](const Change& c) { return c.mirror; });
    const Quatd facing = mirrors ? fromAxisAngle(up, hipsHeading(poser)) : Quatd{};
    for (const Change& c : part.changes) {
      const double left = part.nudge ? kept(c.joint, frame) : 1, own = w * left;
      if (own == 0) continue;
      Vec3d turn = c.turn(own, part.key, part.weight * left, frame), shift = c.translation * own;
      const Quatd before = poser.local(c.joint);
      if (part.space == NudgeSpace::bone || part.space == NudgeSpace::parent) {
        if (c.turns()) poser.setLocal(c.joint, part.space == NudgeSpace::bone ? before * expOf(turn) : expOf(turn) * before);
        if (c.translation == Vec3d{}) continue;
        // Along the axes as the file has them, which below a mirrored node are mirrored too.
        if (part.space == NudgeSpace::bone) shift = rotate(before, shift);
        if (determinant(context_->body.rig.stretch[static_cast<std::size_t>(c.joint)]) < 0) shift = -shift;
        poser.moveBy(c.joint, rotate(poser.above(c.joint), shift));
        continue;
      }
      if (part.space == NudgeSpace::ground) axes = fromAxisAngle(up, yawOf(*context_, c.joint, poser.rotation(c.joint)));
      if (c.mirror) {
        turn = rotate(facing, mirroredTurn(rotate(conjugate(facing), turn)));
        shift = rotate(facing, mirroredPlace(rotate(conjugate(facing), shift)));
      } else {
        turn = rotate(axes, turn);
        shift = rotate(axes, shift);
      }
      if (c.turns()) poser.turn(c.joint, expOf(turn));
      if (c.translation != Vec3d{}) poser.moveBy(c.joint, shift);
    }
  }

  std::vector<Part> parts_;
  std::vector<Removal> removals_;
  std::vector<FrameSpan> nudgeExtents_, repairExtents_;
  std::vector<int> moved_;
};

}  // namespace

RepairLayerPtr makeOffsetLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> repairs, std::vector<const Nudge*> nudges,
                               Issues& issues) {
  if (repairs.empty() && nudges.empty()) return nullptr;
  return std::make_shared<OffsetLayer>(std::move(context), std::move(repairs), nudges, issues);
}

RepairLayerPtr makeLateLayer(std::shared_ptr<const RepairContext> context, std::vector<const Repair*> restores, std::vector<const Nudge*> nudges,
                             Issues& issues) {
  if (nudges.empty()) return nullptr;
  return std::make_shared<OffsetLayer>(std::move(context), std::move(restores), nudges, issues);
}

Result<std::vector<JointNudge>> sharedAlong(const RepairContext& context, const std::string& upper, const std::string& lower, const Vec3d& rotation,
                                            const Vec3d& translation) {
  const Result<int> from = findBone(context, upper), to = findBone(context, lower);
  if (!from) return from.error();
  if (!to) return to.error();
  std::vector<JointNudge> chain;
  int joint = *to;
  while (joint >= 0) {
    chain.push_back({boneName(context, joint), rotation, {}});
    if (joint == *from) break;
    joint = context.figure->skeleton.parents[static_cast<std::size_t>(joint)];
  }
  if (joint < 0) return makeError(Fault::usage, "'" + lower + "' does not hang on '" + upper + "'", {}, "Name the upper bone first");
  std::reverse(chain.begin(), chain.end());
  for (JointNudge& bone : chain) bone.rotation = rotation / static_cast<double>(chain.size());
  // The chain moves as one where its upper end does.
  chain.front().translation = translation;
  return chain;
}

}  // namespace understudy
