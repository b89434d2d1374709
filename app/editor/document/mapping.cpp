#include "app/editor/document/mapping.h"

#include <algorithm>

#include "app/editor/document/describe.h"
#include "core/take/edits.h"

namespace understudy::editor {

RowState stateOf(const SkeletonMap& map, Role role) {
  const RoleJoints& joints = map.at(role);
  if (joints.empty()) return isRequired(role) ? RowState::missing : RowState::unused;
  return joints.confidence < doubtfulBelow ? RowState::doubtful : RowState::sure;
}

RowState stateOf(const BoneMap& map, Role role) {
  const RowState p = stateOf(map.performer, role), c = stateOf(map.character, role);
  if (p == RowState::missing || c == RowState::missing) return RowState::missing;
  if (p == RowState::unused || c == RowState::unused) return RowState::unused;
  return p == RowState::doubtful || c == RowState::doubtful ? RowState::doubtful : RowState::sure;
}

MapSummary summaryOf(const BoneMap& map) {
  MapSummary summary;
  for (int r = 0; r < roleCount; ++r) {
    const RowState state = stateOf(map, roleAt(r));
    summary.sure += state == RowState::sure;
    summary.doubtful += state == RowState::doubtful;
    summary.missing += state == RowState::missing;
  }
  return summary;
}

std::optional<Bone> boneOf(const BoneMap& map, Role role) {
  if (map.character.joint(role) >= 0) return Bone{Cast::character, map.character.joint(role)};
  if (map.performer.joint(role) >= 0) return Bone{Cast::performer, map.performer.joint(role)};
  return {};
}

void assignRole(Document& document, Cast cast, Role role, const std::vector<int>& joints, bool append) {
  const auto performer = document.figure(Cast::performer), character = document.figure(Cast::character);
  const auto own = cast == Cast::performer ? performer : character;
  if (!performer || !character || !own) return;
  Take next = document.take();
  // The side found automatically becomes the take's own before a role of it is changed.
  const auto& side = cast == Cast::performer ? next.map->performer : next.map->character;
  if (std::all_of(side.begin(), side.end(), [](const RoleKeys& keys) { return keys.joints.empty(); })) {
    MapKeys whole = *next.map;
    const MapKeys found = keysOf(document.map(), performer->skeleton, character->skeleton);
    (cast == Cast::performer ? whole.performer : whole.character) = cast == Cast::performer ? found.performer : found.character;
    next = setMapKeys(next, whole);
  }
  std::vector<std::string> keys;
  if (append) keys = (cast == Cast::performer ? next.map->performer : next.map->character)[static_cast<std::size_t>(indexOf(role))].joints;
  for (int joint : joints) {
    const std::string key = jointKey(own->skeleton, joint);
    if (std::find(keys.begin(), keys.end(), key) == keys.end()) keys.push_back(key);
  }
  next = understudy::setRole(next, cast == Cast::performer ? MapSide::performer : MapSide::character, role, keys);
  document.edit(Document::tr("Map %1").arg(roleText(role)), next);
}

void mapAgain(Document& document) { document.edit(Document::tr("Map automatically"), setMapKeys(document.take(), {})); }

}  // namespace understudy::editor
