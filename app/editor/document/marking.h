// Markers as the editor makes them: named frames of the evaluated take. Frames count from 0. No widgets.
#pragma once

#include "app/editor/document/document.h"

namespace understudy::editor {

/// Frame of a marker in the evaluated take; may lie outside its trim.
[[nodiscard]] int frameOf(const Evaluated& evaluated, const Marker& marker);
/// The marker at a frame; null for none.
[[nodiscard]] const Marker* markerAt(const Document& document, int frame);
/// The nearest marker after (by > 0) or before a frame, within the trim; null for none.
[[nodiscard]] const Marker* markerBeside(const Document& document, int frame, int by);
/// Its name, "marker" where it has none.
[[nodiscard]] QString markerText(const Marker& marker);

/// A marker at a frame, without a name yet; where there is one, that. Its number; 0 without a clip.
std::uint64_t ensureMarker(Document& document, int frame);
void nameMarker(Document& document, std::uint64_t id, const QString& name);
/// Moves a marker to a frame, kept within the clip. The frame it is at then.
int moveMarker(Document& document, std::uint64_t id, int frame, const QString& mergeKey = {});
void removeMarker(Document& document, std::uint64_t id);

}  // namespace understudy::editor
