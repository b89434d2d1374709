#include <algorithm>
#include <cmath>

#include "core/evaluate/evaluate.h"

namespace understudy {
namespace {

/// Local transform of one joint at a frame.
Trsd localAt(const Skeleton& skeleton, const TiledMotion& motion, int frame, int joint) {
  Trsd local = skeleton.rest[static_cast<std::size_t>(joint)];
  local.rotation = Quatd(motion.rotationsAt(frame)[static_cast<std::size_t>(joint)]);
  const auto& moved = motion.movedJoints();
  if (const auto at = std::lower_bound(moved.begin(), moved.end(), joint); at != moved.end() && *at == joint)
    local.translation = Vec3d(motion.translationsAt(frame)[static_cast<std::size_t>(at - moved.begin())]);
  const auto& scaled = motion.scaledJoints();
  if (const auto at = std::lower_bound(scaled.begin(), scaled.end(), joint); at != scaled.end() && *at == joint)
    local.scale = Vec3d(motion.scalesAt(frame)[static_cast<std::size_t>(at - scaled.begin())]);
  return local;
}

/// World transform (file unit and axes) of one joint at a frame; the identity for −1.
Affined worldOf(const Skeleton& skeleton, const TiledMotion& motion, int frame, int joint) {
  Affined world;
  for (int j = joint; j >= 0; j = skeleton.parents[static_cast<std::size_t>(j)]) world = Affined(localAt(skeleton, motion, frame, j)) * world;
  return world;
}

struct Turn {
  int joint = 0;
  Vec3d rotation, translation;
};

/// Rotation about the stage's up that takes its front to where the hips look at a frame.
Quatd headingAt(const Figure& character, const TiledMotion& motion, int frame, const BoneMap* map, const RetargetReport* report,
                const Quatd& stageFromFile) {
  const int hips = map ? map->character.joint(Role::hips) : -1;
  if (hips < 0 || !report || report->characterReference.fileWorld.size() <= static_cast<std::size_t>(hips)) return {};
  const Quatd now = polarParts(worldOf(character.skeleton, motion, frame, hips)).rotation;
  const Quatd reference = polarParts(report->characterReference.fileWorld[static_cast<std::size_t>(hips)]).rotation;
  const Quatd change = stageFromFile * now * conjugate(reference) * conjugate(stageFromFile);
  const Vec3d front = rotate(change, Vec3d{0, 0, 1});
  // Looking straight up or down has no heading.
  if (std::hypot(front.x, front.z) < 1e-6) return {};
  return fromAxisAngle(Vec3d{0, 1, 0}, std::atan2(front.x, front.z));
}

}  // namespace

TiledMotion applyNudges(const Figure& character, const TiledMotion& base, const Nudges& nudges, const BoneMap* map,
                        const RetargetReport* report, std::vector<int>* nudgedJoints, Issues* issues) {
  const Skeleton& skeleton = character.skeleton;
  TiledMotion out = base;
  std::vector<int> touched;
  const Quatd stageFromFile = (report ? report->characterReference.facing : Quatd{}) * character.space.worldFromFile;
  const double unit = character.space.metresPerUnit > 0 ? character.space.metresPerUnit : 1;

  // Resolved first: new translation tracks change the layout of all frames.
  std::vector<std::pair<const Nudge*, std::vector<Turn>>> active;
  std::vector<int> moved;
  for (const Node<Nudge>& nudge : nudges) {
    if (nudge->muted || nudge->weight == 0) continue;
    const std::string where = nudge->name.empty() ? "nudge " + std::to_string(nudge->id) : "nudge '" + nudge->name + "'";
    std::vector<Turn> turns;
    for (const JointNudge& part : nudge->joints) {
      if (part.rotation == Vec3d{} && part.translation == Vec3d{}) continue;
      const Result<int> joint = findJoint(skeleton, part.joint);
      if (!joint) {
        if (issues) issues->push_back(makeWarning("The character has no joint '" + part.joint + "' any more", where, "Remove the nudge or make it again"));
        continue;
      }
      if (!isFinite(part.rotation) || !isFinite(part.translation) || !std::isfinite(nudge->weight)) {
        if (issues) issues->push_back(makeWarning("The nudge's numbers are not finite; it is left out", where, "Make it again"));
        continue;
      }
      turns.push_back({*joint, part.rotation, part.translation});
      if (part.translation != Vec3d{}) moved.push_back(*joint);
    }
    // Parents first: their change carries their children along before those are turned themselves.
    std::stable_sort(turns.begin(), turns.end(), [](const Turn& a, const Turn& b) { return a.joint < b.joint; });
    if (!turns.empty()) active.emplace_back(&*nudge, std::move(turns));
  }
  if (!moved.empty()) out = out.withMoved(skeleton, moved);

  for (const auto& [nudge, turns] : active) {
    const NudgeFrames frames = nudgeFrames(*nudge, out.rate());
    const int first = std::max(0, frames.first()), last = std::min(out.frames() - 1, frames.last());
    for (const Turn& turn : turns) touched.push_back(turn.joint);
    if (first > last) continue;
    const bool stage = nudge->space != NudgeSpace::bone && nudge->space != NudgeSpace::parent;
    Quatd fileFromSpace;
    if (stage) {
      const Quatd heading = nudge->space == NudgeSpace::character
                                ? headingAt(character, out, std::clamp(frames.frame, 0, out.frames() - 1), map, report, stageFromFile)
                                : Quatd{};
      fileFromSpace = conjugate(stageFromFile) * heading;
    }
    out = out.writable(first, last - first + 1);
    for (int f = first; f <= last; ++f) {
      const double w = nudge->weight * easeWeight(frames, f);
      if (w == 0) continue;
      for (const Turn& turn : turns) {
        Quatf& stored = out.rotationsToWrite(f)[static_cast<std::size_t>(turn.joint)];
        const Quatd before(stored);
        const Affined parent =
            stage || turn.translation != Vec3d{} ? worldOf(skeleton, out, f, skeleton.parents[static_cast<std::size_t>(turn.joint)]) : Affined{};
        if (turn.rotation != Vec3d{}) {
          Quatd after;
          if (nudge->space == NudgeSpace::bone) {
            after = before * expOf(turn.rotation * w);
          } else if (nudge->space == NudgeSpace::parent) {
            after = expOf(turn.rotation * w) * before;
          } else {
            const Quatd above = polarParts(parent).rotation;
            after = conjugate(above) * expOf(rotate(fileFromSpace, turn.rotation) * w) * above * before;
          }
          stored = Quatf(normalised(after));
        }
        if (turn.translation != Vec3d{}) {
          const auto& tracks = out.movedJoints();
          const auto k = static_cast<std::size_t>(std::lower_bound(tracks.begin(), tracks.end(), turn.joint) - tracks.begin());
          Vec3d shift = turn.translation * (w / unit);
          if (stage) {
            shift = inverse(parent.linear) * rotate(fileFromSpace, shift);
          } else {
            const double scale = std::cbrt(std::abs(determinant(parent.linear)));
            shift = (nudge->space == NudgeSpace::bone ? rotate(before, shift) : shift) / (scale > 0 ? scale : 1);
          }
          Vec3f& position = out.translationsToWrite(f)[k];
          position = Vec3f(Vec3d(position) + shift);
        }
      }
    }
  }
  if (nudgedJoints) {
    std::sort(touched.begin(), touched.end());
    touched.erase(std::unique(touched.begin(), touched.end()), touched.end());
    *nudgedJoints = std::move(touched);
  }
  return out;
}

}  // namespace understudy
