#include "core/take/profile.h"

#include <algorithm>

#include "core/take/edits.h"

namespace understudy {
namespace {

/// The hand of a hand shape that a whole clip keeps.
const HandShapeRepair* handShapeOf(const Repair& repair) { return repair.span ? nullptr : std::get_if<HandShapeRepair>(&repair.action); }

}  // namespace

Profile profileOf(const Take& take, const std::map<std::string, double>& thresholds) {
  Profile profile;
  const std::string& path = take.character->path;
  profile.character = path.substr(path.find_last_of("/\\") + 1);
  profile.contentHash = take.character->contentHash;
  profile.metresPerUnit = take.character->metresPerUnit;
  profile.up = take.character->up;
  profile.map = take.map->character;
  profile.reference = take.retarget->characterReference;
  // A frame of a clip says nothing about the character.
  profile.reference.clipFrame.reset();
  profile.alignmentOffsets = take.retarget->alignmentOffsets;
  profile.alignmentChoices = take.retarget->alignmentChoices;
  profile.leftOut = take.leftOut;
  for (const Node<Repair>& repair : *take.repairs) {
    if (!handShapeOf(*repair) || repair->muted) continue;
    profile.handShapes.push_back(*repair);
    profile.handShapes.back().id = 0;
  }
  profile.thresholds = thresholds;
  if (take.handOver->animationName != HandOver{}.animationName) profile.animationName = take.handOver->animationName;
  return profile;
}

Take withProfile(const Take& take, const Profile& profile) {
  Take next = take;
  FileReference file = *take.character;
  if (file.metresPerUnit <= 0) file.metresPerUnit = profile.metresPerUnit;
  if (file.up.empty()) file.up = profile.up;
  if (!(file == *take.character)) next.character = std::move(file);
  const auto filled = [](const RoleKeys& keys) { return !keys.joints.empty(); };
  if (std::none_of(take.map->character.begin(), take.map->character.end(), filled)) {
    MapKeys keys = *take.map;
    keys.character = profile.map;
    next = setMapKeys(next, std::move(keys));
  }
  RetargetSettings retarget = *take.retarget;
  if (!retarget.characterReference.facingDegrees) retarget.characterReference.facingDegrees = profile.reference.facingDegrees;
  retarget.alignmentOffsets.insert(profile.alignmentOffsets.begin(), profile.alignmentOffsets.end());
  retarget.alignmentChoices.insert(profile.alignmentChoices.begin(), profile.alignmentChoices.end());
  next = setRetarget(next, std::move(retarget));
  if (next.leftOut.empty()) next = setLeftOut(next, profile.leftOut);
  for (const Repair& shape : profile.handShapes) {
    const HandShapeRepair* mine = handShapeOf(shape);
    if (!mine) continue;
    const bool taken = std::any_of(take.repairs->begin(), take.repairs->end(), [&](const Node<Repair>& repair) {
      const auto* other = std::get_if<HandShapeRepair>(&repair->action);
      return other && other->left == mine->left;
    });
    if (!taken) next = addRepair(next, shape);
  }
  if (!profile.animationName.empty() && take.handOver->animationName == HandOver{}.animationName) {
    HandOver handOver = *take.handOver;
    handOver.animationName = profile.animationName;
    next = setExport(next, std::move(handOver));
  }
  return next;
}

}  // namespace understudy
