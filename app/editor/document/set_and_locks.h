// The set around the character and the locks, as the editor makes and changes them. Each function is one step of undo.
#pragma once

#include <QString>

#include "app/editor/document/document.h"

namespace understudy::editor {

/// "plane", "box", "ball", "steps", "mesh" in the user's language.
[[nodiscard]] QString setKindText(SetKind kind);
/// Adds an object under the character at the current frame, of a size that suits it; `path` is a mesh's file. Its number.
std::uint64_t addToSet(Document& document, const Session& session, SetKind kind, const QString& path = {});
void changeInSet(Document& document, const SetItem& item, const QString& mergeKey = {});
void removeFromSet(Document& document, std::uint64_t id);

/// Locks the selected bones of the character (none selected: all bones) over the play range, or the whole clip where that is all of it.
void lockSelection(Document& document, const Session& session);
/// Takes away the locks that hold at the current frame, of the selected bones where some are selected; false where there is none.
bool unlockHere(Document& document, const Session& session);

}  // namespace understudy::editor
