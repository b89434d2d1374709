// Where repairs lie in time, and how a drag changes that. Values in, values out; frames count from 0 in the untrimmed clip.
#pragma once

#include <optional>
#include <utility>

#include "core/repair/repair.h"

namespace understudy::editor {

/// What of a repair's bar is held.
enum class SpanPart { none, body, first, last, easeBefore, easeAfter, mark, release };

/// The repair moved in time with all that belongs to it (phases, release, path); it stops at the ends of the clip. A repair of the
/// whole clip stays.
[[nodiscard]] Repair shifted(const Repair& repair, int frames, FrameRate rate, int clipFrames);
/// First or last frame set; phases stay where they are as far as they lie inside. The span keeps at least one frame. A repair of
/// the whole clip gets a span.
[[nodiscard]] Repair withEdge(const Repair& repair, SpanPart edge, int frame, FrameRate rate, int clipFrames);
/// Frames of ease before or after.
[[nodiscard]] Repair withEase(const Repair& repair, SpanPart ease, int frames, FrameRate rate);
/// A plant's phase begins at another frame, between its neighbours; the first one begins with the span.
[[nodiscard]] Repair withMark(const Repair& repair, int mark, int frame, FrameRate rate);
/// A plant may slip from this frame on; nothing: it stays to its end.
[[nodiscard]] Repair withRelease(const Repair& repair, std::optional<int> frame, FrameRate rate, int clipFrames);
/// A plant with a phase that begins at this frame.
[[nodiscard]] Repair withPhase(const Repair& repair, PlantPhase phase, int frame, FrameRate rate);
/// What a drag that holds `part` at a frame makes of a repair: `frame` is where the mouse is, `grabbed` where it took hold.
[[nodiscard]] Repair draggedSpan(const Repair& repair, SpanPart part, int mark, int grabbed, int frame, FrameRate rate, int clipFrames);

/// Two repairs instead of one, the second from `frame` on, without eases between them. Nothing where the frame is not inside.
[[nodiscard]] std::optional<std::pair<Repair, Repair>> split(const Repair& repair, int frame, FrameRate rate, int clipFrames);

/// One repair instead of two of the same kind on the same bones, from the first frame of the earlier to the last of the later one, and
/// what lies between; outer eases, the earlier one's place and strength. Nothing where they do not go together, or one is of the whole clip.
[[nodiscard]] std::optional<Repair> merged(const Repair& a, const Repair& b, FrameRate rate);

[[nodiscard]] int frameAt(double seconds, FrameRate rate);

}  // namespace understudy::editor
