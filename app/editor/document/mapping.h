// Edits of bone map and alignment as the editor makes them.
#pragma once

#include "app/editor/document/document.h"

namespace understudy::editor {

enum class RowState { sure, doubtful, missing, unused };

/// A role's state on one side: missing where it is required and empty, unused where it is optional and empty.
[[nodiscard]] RowState stateOf(const SkeletonMap& map, Role role);
/// The worse of both sides; a role that only one side fills is unused.
[[nodiscard]] RowState stateOf(const BoneMap& map, Role role);
struct MapSummary {
  int sure = 0, doubtful = 0, missing = 0;
};
[[nodiscard]] MapSummary summaryOf(const BoneMap& map);

/// The bone a row stands for: the character's, else the performer's, else none.
[[nodiscard]] std::optional<Bone> boneOf(const BoneMap& map, Role role);

/// The role of the other side; nothing for roles of the middle.
[[nodiscard]] std::optional<Role> otherSide(Role role);
/// The joint that stands in the reference pose where a mirror through the body's middle shows this one; −1 where none does.
[[nodiscard]] int mirroredJoint(const Document& document, Cast cast, int joint);

/// Fills a role on one side by hand, where the document mirrors the map also the other side's with the mirrored bones. `append` adds to its chain instead. An automatic map becomes the take's own first.
void assignRole(Document& document, Cast cast, Role role, const std::vector<int>& joints, bool append = false);
/// Drops the take's own map: it is found automatically again.
void mapAgain(Document& document);

}  // namespace understudy::editor
