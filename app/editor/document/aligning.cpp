#include "app/editor/document/aligning.h"

#include <algorithm>

#include "app/editor/document/describe.h"
#include "core/math/quat.h"
#include "core/take/edits.h"

namespace understudy::editor {
namespace {

Vec3d offsetIn(const RetargetSettings& settings, Role role) {
  const auto at = settings.alignmentOffsets.find(role);
  return at == settings.alignmentOffsets.end() ? Vec3d{} : at->second;
}

/// A bone's world orientation in the character's own reference pose.
Quatd referenceRotation(const Figure& character, const ReferencePose& pose, int joint) {
  return polarParts(worldFromFile(character, pose) * pose.fileWorld[static_cast<std::size_t>(joint)]).rotation;
}

}  // namespace

std::vector<Affined> alignedReference(const Figure& character, const SkeletonMap& map, const RetargetReport& report, const RetargetSettings& made,
                                      const RetargetSettings& settings) {
  const std::vector<Affined>& rest = report.characterReference.fileWorld;
  const auto joints = static_cast<std::size_t>(character.skeleton.size());
  if (rest.size() != joints) return {};
  const Mat3d toWorld = worldFromFile(character, report.characterReference).linear;
  const Mat3d toFile = inverse(toWorld);
  // A of every joint that fills a role, in the file's axes.
  std::vector<std::optional<Mat3d>> turned(joints);
  for (int r = 0; r < roleCount; ++r) {
    const Role role = roleAt(r);
    const RoleAlignment& alignment = report.alignment[static_cast<std::size_t>(r)];
    const Quatd correction = alignment.correction * conjugate(expOf(offsetIn(made, role))) * expOf(offsetIn(settings, role));
    for (const int joint : map.at(role).joints)
      if (joint >= 0 && static_cast<std::size_t>(joint) < joints) turned[static_cast<std::size_t>(joint)] = toFile * toMatrix(normalised(correction)) * toWorld;
  }
  std::vector<Affined> world = rest;
  for (std::size_t j = 0; j < joints; ++j) {
    const int parent = character.skeleton.parents[j];
    if (parent >= 0) world[j] = world[static_cast<std::size_t>(parent)] * (inverse(rest[static_cast<std::size_t>(parent)]) * rest[j]);
    if (turned[j]) world[j].linear = *turned[j] * rest[j].linear;
  }
  return world;
}

std::vector<Affined> alignedReference(const Document& document) {
  const auto evaluated = document.evaluated();
  const auto character = document.figure(Cast::character);
  if (!evaluated || !evaluated->report || !evaluated->map || !character) return {};
  return alignedReference(*character, evaluated->map->character, *evaluated->report, *document.evaluatedTake().retarget, *document.take().retarget);
}

std::optional<Role> alignedRole(const Document& document, int joint) {
  const auto evaluated = document.evaluated();
  if (!evaluated || !evaluated->report || !evaluated->map) return {};
  for (int r = 0; r < roleCount; ++r) {
    const auto& joints = evaluated->map->character.at(roleAt(r)).joints;
    if (std::find(joints.begin(), joints.end(), joint) != joints.end() && evaluated->map->performer.joint(roleAt(r)) >= 0) return roleAt(r);
  }
  return {};
}

Vec3d alignmentOffset(const Take& take, Role role) { return offsetIn(*take.retarget, role); }

void turnRole(Document& document, Role role, const Vec3d& base, const Quatd& turn, const QString& mergeKey) {
  const auto evaluated = document.evaluated();
  const auto character = document.figure(Cast::character);
  const int joint = document.map().character.joint(role);
  if (!evaluated || !evaluated->report || !character || joint < 0) return;
  // A · exp(offset) · R is turned in the bone's frame: R · turn = (R · turn · R⁻¹) · R.
  const Quatd rest = referenceRotation(*character, evaluated->report->characterReference, joint);
  const Vec3d offset = logOf(normalised(expOf(base) * rest * turn * conjugate(rest)));
  document.edit(Document::tr("Turn %1").arg(roleText(role)), setAlignmentOffset(document.take(), role, offset), mergeKey);
}

}  // namespace understudy::editor
