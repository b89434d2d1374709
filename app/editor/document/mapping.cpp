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

std::optional<Role> otherSide(Role role) {
  std::string name(roleName(role));
  if (name.starts_with("left")) name.replace(0, 4, "right");
  else if (name.starts_with("right")) name.replace(0, 5, "left");
  else return {};
  return roleNamed(name);
}

int mirroredJoint(const Document& document, Cast cast, int joint) {
  const auto figure = document.figure(cast);
  const auto evaluated = document.evaluated();
  if (!figure || joint < 0 || joint >= figure->skeleton.size()) return -1;
  std::vector<Affined> world;
  if (evaluated && evaluated->report) world = (cast == Cast::performer ? evaluated->report->performerReference : evaluated->report->characterReference).fileWorld;
  if (static_cast<int>(world.size()) != figure->skeleton.size()) world = restWorld(figure->skeleton);
  const Affined toWorld = document.worldFromFile(cast);
  const auto at = [&](int j) { return apply(toWorld, world[static_cast<std::size_t>(j)].translation); };
  // The middle is where the hips are; where none are mapped, the origin.
  const int hips = (cast == Cast::performer ? document.map().performer : document.map().character).joint(Role::hips);
  const double middle = hips >= 0 ? at(hips).x : 0;
  Vec3d wanted = at(joint);
  wanted.x = 2 * middle - wanted.x;
  int best = -1;
  double nearest = 0.05 * document.height(cast);
  for (int j = 0; j < figure->skeleton.size(); ++j)
    if (const double d = length(at(j) - wanted); d < nearest) nearest = d, best = j;
  return best;
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
  const MapSide mapSide = cast == Cast::performer ? MapSide::performer : MapSide::character;
  next = understudy::setRole(next, mapSide, role, keys);
  if (const auto other = document.mirrorsMap() ? otherSide(role) : std::nullopt) {
    std::vector<std::string> mirrored;
    for (const std::string& key : keys)
      if (const auto joint = findJoint(own->skeleton, key))
        if (const int there = mirroredJoint(document, cast, *joint); there >= 0) mirrored.push_back(jointKey(own->skeleton, there));
    if (mirrored.size() == keys.size()) next = understudy::setRole(next, mapSide, *other, mirrored);
  }
  document.edit(Document::tr("Map %1").arg(roleText(role)), next);
}

void mapAgain(Document& document) { document.edit(Document::tr("Map automatically"), setMapKeys(document.take(), {})); }

}  // namespace understudy::editor
