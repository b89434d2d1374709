#include "core/retarget/retarget.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

#include "core/retarget/floor.h"
#include "core/retarget/transfer.h"

namespace understudy {
namespace {

/// Translations of mapped performer joints that rotation alone cannot carry over: how far each strays from its place
/// in the frame of the slot above it.
void reportDropped(const Plan& plan, const Motion& clip, Issues& issues) {
  const PosedBody& p = plan.performer;
  std::vector<std::pair<int, int>> watched;  // joint, anchor
  for (int i = 1; i < roleCount; ++i) {
    const int j = p.map->roles[i].first();
    if (j < 0 || !std::binary_search(clip.movedJoints.begin(), clip.movedJoints.end(), j)) continue;
    Role above = parentOf(roleAt(i));
    while (above != Role::hips && !p.has(above)) above = parentOf(above);
    // Hip joints: their midpoint is what travels, so they are judged by the hips' frame only when they hang on it.
    watched.emplace_back(j, isAncestor(p.figure->skeleton, p.joint(above), j) ? p.rig.parents[j] : p.joint(above));
  }
  if (watched.empty()) return;
  std::vector<double> worst(watched.size(), 0);
  std::vector<Quatd> local(clip.joints), rotation(clip.joints);
  std::vector<Vec3d> translations(p.rig.translation), position(clip.joints);
  const int step = std::max(1, clip.frames / 1000);
  for (int f = 0; f < clip.frames; f += step) {
    const auto q = clip.rotationsAt(f);
    for (int j = 0; j < clip.joints; ++j) local[j] = Quatd(q[j]);
    const auto t = clip.translationsAt(f);
    for (std::size_t k = 0; k < t.size(); ++k) translations[clip.movedJoints[k]] = Vec3d(t[k]);
    worldOf(p.rig, local, translations, rotation, position);
    for (std::size_t i = 0; i < watched.size(); ++i) {
      const auto [j, anchor] = watched[i];
      const Vec3d now = rotate(conjugate(rotation[anchor]), position[j] - position[anchor]);
      const Vec3d then = rotate(conjugate(p.rotation[anchor]), p.position[j] - p.position[anchor]);
      worst[i] = std::max(worst[i], distance(now, then));
    }
  }
  for (std::size_t i = 0; i < watched.size(); ++i) {
    if (worst[i] < 1e-5) continue;
    char text[160];
    std::snprintf(text, sizeof text, "moves or stretches by up to %.2f mm; the character's bones keep their length, so this is left out", worst[i] * 1000);
    issues.push_back(makeWarning("'" + jointKey(p.figure->skeleton, watched[i].first) + "' " + text, p.figure->path));
  }
}

}  // namespace

Result<Retargeted> retarget(const Figure& performer, const Motion& clip, const Figure& character, const BoneMap& map, const RetargetSettings& settings,
                            const RunControl& control) {
  if (clip.joints != performer.skeleton.size() || clip.frames < 1)
    return makeError(Fault::input, "The clip has no frames for this performer", performer.path, "Choose a clip of the performer's own file");
  for (const Vec3f& t : clip.translations)
    if (!isFinite(t)) return makeError(Fault::input, "The clip holds a position that is no finite number", performer.path, "Export the clip again");
  if (map.performer.joint(Role::hips) < 0 || map.character.joint(Role::hips) < 0)
    return makeError(Fault::mapping, "No joint is mapped to hips", map.performer.joint(Role::hips) < 0 ? performer.path : character.path,
                     "Name it in a map file (\"roles\") or choose it in the bone map");

  Plan plan;
  Result<PosedBody> bodyS = posedBody(performer, map.performer, &clip, settings.performerReference);
  if (!bodyS) return bodyS.error();
  Result<PosedBody> bodyT = posedBody(character, map.character, nullptr, settings.characterReference);
  if (!bodyT) return bodyT.error();
  plan.performer = std::move(bodyS.value());
  plan.character = std::move(bodyT.value());

  Retargeted result;
  RetargetReport& report = result.report;
  plan.sameBody = sameBody(plan.performer, plan.character);
  report.alignment = alignBodies(plan.performer, clip, plan.character, settings);
  planDrivers(plan, report.alignment, clip);
  report.performerLeg = plan.performer.pose.legLength;
  report.characterLeg = plan.character.pose.legLength;
  plan.stride = settings.stride.value_or(1) * report.characterLeg / report.performerLeg;
  report.stride = plan.stride;

  std::vector<int> moved;
  for (const Mover& m : plan.movers) moved.push_back(m.joint);
  std::sort(moved.begin(), moved.end());
  Motion& out = result.motion;
  out = restMotion(character.skeleton, clip.frames, clip.rate, moved);

  for (const int j : plan.animated)
    for (int f = 0; f < out.frames && plan.drivers[j].kind == Driver::Kind::hold; ++f) out.rotationsAt(f)[j] = plan.drivers[j].local;
  Transfer transfer(plan, clip, moved);
  constexpr int block = 1024;
  for (int f = 0; f < clip.frames; f += block) {
    if (control.stopped()) return RunControl::cancelled();
    control.report(static_cast<double>(f) / clip.frames, "Retargeting");
    const int last = std::min(clip.frames, f + block);
    if (transfer.run(out, f, last)) continue;
    for (int bad = f; bad < last; ++bad)
      if (std::any_of(plan.animated.begin(), plan.animated.end(), [&](int j) { return !isFinite(out.rotationsAt(bad)[j]); }))
        return makeError(Fault::input, "The clip holds a rotation that is no finite number", performer.path + ", frame " + std::to_string(bad + 1),
                         "Export the clip again");
  }
  shareTwists(plan, out);
  const Skeleton &from = performer.skeleton, &to = character.skeleton;
  if (plan.sameBody && plan.stride == 1 && settings.alignmentOffsets.empty() && settings.alignmentChoices.empty() && from.names == to.names && from.parents == to.parents)
    keepOwnPlaces(plan, clip, moved, out);

  if (settings.ground && !plan.sameBody) {
    FloorLift lift = floorLift(plan, clip, out);
    if (std::abs(lift.standing) < 1e-6 * report.characterLeg) lift.standing = 0;
    report.groundOffset = lift.standing;
    if (lift.standing != 0 || !lift.frames.empty()) raise(plan, moved, lift, out);
  }
  reportDropped(plan, clip, report.issues);
  for (const Role role : {Role::leftUpperArm, Role::rightUpperArm, Role::head})
    if (plan.character.has(role) && !plan.performer.has(role))
      report.issues.push_back(makeWarning("The performer has no " + std::string(roleName(role)) + "; the character keeps its rest pose there", performer.path));
  for (const PosedBody* body : {&plan.performer, &plan.character})
    report.issues.insert(report.issues.end(), body->pose.issues.begin(), body->pose.issues.end());
  report.animatedJoints = plan.animated;
  report.performerReference = std::move(plan.performer.pose);
  report.characterReference = std::move(plan.character.pose);
  return result;
}

}  // namespace understudy
