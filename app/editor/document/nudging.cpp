#include "app/editor/document/nudging.h"

#include <algorithm>

#include "app/editor/document/describe.h"
#include "core/take/edits.h"

namespace understudy::editor {
namespace {

QString nudgeLabel(const Figure& character, int joint) { return Document::tr("Nudge %1").arg(jointText(character, joint)); }

}  // namespace

const Nudge* nudgeAtIndex(const Document& document, int index) {
  const Nudges& nudges = *document.take().nudges;
  return index >= 0 && index < static_cast<int>(nudges.size()) ? &*nudges[static_cast<std::size_t>(index)] : nullptr;
}

int nudgeOf(const Document& document, int joint, int frame) {
  const auto evaluated = document.evaluated();
  const auto character = document.figure(Cast::character);
  if (!evaluated || !character || joint < 0 || joint >= character->skeleton.size()) return -1;
  const std::string key = jointKey(character->skeleton, joint);
  const Nudges& nudges = *document.take().nudges;
  for (int i = static_cast<int>(nudges.size()) - 1; i >= 0; --i) {
    const Nudge& nudge = *nudges[static_cast<std::size_t>(i)];
    if (nudge.space == NudgeSpace::bone && nudge.joints.size() == 1 && nudge.joints[0].joint == key && frameOf(*evaluated, nudge) == frame) return i;
  }
  return -1;
}

Vec3d nudgeRotation(const Document& document, int joint, int frame) {
  const Nudge* nudge = nudgeAtIndex(document, nudgeOf(document, joint, frame));
  return nudge ? nudge->joints[0].rotation : Vec3d{};
}

int ensureNudge(Document& document, int joint, int frame, const QString& mergeKey) {
  const int there = nudgeOf(document, joint, frame);
  const auto evaluated = document.evaluated();
  const auto character = document.figure(Cast::character);
  if (there >= 0 || !evaluated || !evaluated->complete() || !character || joint < 0 || joint >= character->skeleton.size()) return there;
  Nudge nudge = nudgeAt(*evaluated, frame);
  nudge.joints = {{jointKey(character->skeleton, joint), {}, {}}};
  document.edit(nudgeLabel(*character, joint), addNudge(document.take(), nudge), mergeKey);
  return static_cast<int>(document.take().nudges->size()) - 1;
}

int turnBone(Document& document, int joint, int frame, const Vec3d& base, const Quatd& turn, const QString& mergeKey) {
  const auto character = document.figure(Cast::character);
  const int index = ensureNudge(document, joint, frame, mergeKey);
  const Nudge* nudge = nudgeAtIndex(document, index);
  if (!nudge || !character) return -1;
  Nudge next = *nudge;
  next.muted = false;
  const double weight = next.weight > 1e-3 ? next.weight : 1;
  next.joints[0].rotation = logOf(normalised(expOf(base * weight) * turn)) / weight;
  document.edit(nudgeLabel(*character, joint), changeNudge(document.take(), next), mergeKey);
  return index;
}

void moveNudge(Document& document, int index, int frame, const QString& mergeKey) {
  const Nudge* nudge = nudgeAtIndex(document, index);
  const auto evaluated = document.evaluated();
  if (!nudge || !evaluated) return;
  Nudge next = *nudge;
  next.time = evaluated->rate.seconds(evaluated->trimFirst + std::clamp(frame, 0, std::max(0, evaluated->frames - 1)));
  document.edit(Document::tr("Move nudge"), changeNudge(document.take(), next), mergeKey);
}

}  // namespace understudy::editor
