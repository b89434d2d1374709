#include "app/editor/document/nudging.h"

#include <algorithm>

#include "app/editor/document/describe.h"
#include "core/take/edits.h"

namespace understudy::editor {
namespace {

QString nudgeLabel(const Figure& character, int joint) { return Document::tr("Nudge %1").arg(jointText(character, joint)); }

}  // namespace

std::uint64_t nudgeOf(const Document& document, int joint, int frame) {
  const auto evaluated = document.evaluated();
  const auto character = document.figure(Cast::character);
  if (!evaluated || !character || joint < 0 || joint >= character->skeleton.size()) return 0;
  const std::string key = jointKey(character->skeleton, joint);
  const Nudges& nudges = *document.take().nudges;
  for (auto it = nudges.rbegin(); it != nudges.rend(); ++it) {
    const Nudge& nudge = **it;
    if (nudge.space == NudgeSpace::bone && nudge.joints.size() == 1 && nudge.joints[0].joint == key && frameOf(*evaluated, nudge) == frame) return nudge.id;
  }
  return 0;
}

Vec3d nudgeRotation(const Document& document, int joint, int frame) {
  const Nudge* nudge = findNudge(document.take(), nudgeOf(document, joint, frame));
  return nudge ? nudge->joints[0].rotation : Vec3d{};
}

std::uint64_t ensureNudge(Document& document, int joint, int frame, const QString& mergeKey) {
  const std::uint64_t there = nudgeOf(document, joint, frame);
  const auto evaluated = document.evaluated();
  const auto character = document.figure(Cast::character);
  if (there != 0 || !evaluated || !evaluated->complete() || !character || joint < 0 || joint >= character->skeleton.size()) return there;
  Nudge nudge = nudgeAt(*evaluated, frame);
  nudge.joints = {{jointKey(character->skeleton, joint), {}, {}}};
  std::uint64_t id = 0;
  document.edit(nudgeLabel(*character, joint), addNudge(document.take(), nudge, &id), mergeKey);
  return id;
}

std::uint64_t turnBone(Document& document, int joint, int frame, const Vec3d& base, const Quatd& turn, const QString& mergeKey) {
  const auto character = document.figure(Cast::character);
  const std::uint64_t id = ensureNudge(document, joint, frame, mergeKey);
  const Nudge* nudge = findNudge(document.take(), id);
  if (!nudge || !character) return 0;
  Nudge next = *nudge;
  next.muted = false;
  const double weight = next.weight > 1e-3 ? next.weight : 1;
  next.joints[0].rotation = logOf(normalised(expOf(base * weight) * turn)) / weight;
  document.edit(nudgeLabel(*character, joint), changeNudge(document.take(), next), mergeKey);
  return id;
}

void moveNudge(Document& document, std::uint64_t id, int frame, const QString& mergeKey) {
  const Nudge* nudge = findNudge(document.take(), id);
  const auto evaluated = document.evaluated();
  if (!nudge || !evaluated) return;
  Nudge next = *nudge;
  next.time = evaluated->rate.seconds(evaluated->trimFirst + std::clamp(frame, 0, std::max(0, evaluated->frames - 1)));
  document.edit(Document::tr("Move nudge"), changeNudge(document.take(), next), mergeKey);
}

namespace {

const JointNudge* boneIn(const Document& document, const OffsetRepair& offset, int joint) {
  const auto evaluated = document.evaluated();
  if (!evaluated || !evaluated->context) return nullptr;
  for (const JointNudge& bone : offset.bones)
    if (const auto found = findBone(*evaluated->context, bone.joint); found && found.value() == joint) return &bone;
  return nullptr;
}

}  // namespace

const Repair* offsetOf(const Document& document, std::uint64_t selected, int joint) {
  const Repair* repair = findRepair(document.take(), selected);
  const auto* offset = repair ? std::get_if<OffsetRepair>(&repair->action) : nullptr;
  return offset && offset->space == NudgeSpace::bone && boneIn(document, *offset, joint) ? repair : nullptr;
}

Vec3d offsetRotation(const Document& document, std::uint64_t id, int joint) {
  const Repair* repair = offsetOf(document, id, joint);
  return repair ? boneIn(document, std::get<OffsetRepair>(repair->action), joint)->rotation : Vec3d{};
}

void turnOffset(Document& document, std::uint64_t id, int joint, const Vec3d& base, const Quatd& turn, const QString& mergeKey) {
  const Repair* repair = offsetOf(document, id, joint);
  const auto character = document.figure(Cast::character);
  if (!repair || !character) return;
  const auto& bones = std::get<OffsetRepair>(repair->action).bones;
  const auto at = static_cast<std::size_t>(boneIn(document, std::get<OffsetRepair>(repair->action), joint) - bones.data());
  Repair next = *repair;
  next.muted = false;
  const double weight = next.weight > 1e-3 ? next.weight : 1;
  std::get<OffsetRepair>(next.action).bones[at].rotation = logOf(normalised(expOf(base * weight) * turn)) / weight;
  document.edit(Document::tr("Offset %1").arg(jointText(*character, joint)), changeRepair(document.take(), next), mergeKey);
}

}  // namespace understudy::editor
