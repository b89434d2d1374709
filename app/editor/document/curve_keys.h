// Keys on curves: late nudges of one bone, seen as angles. Whatever repairs do later, a key stays a change of their result.
#pragma once

#include <map>
#include <vector>

#include "app/editor/document/angles.h"
#include "app/editor/document/document.h"

namespace understudy::editor {

/// One key. Frames count from 0 in the evaluated take; values are degrees, slopes degrees a frame.
struct CurveKey {
  std::uint64_t nudge = 0;
  int joint = -1, frame = 0;
  Triple value{};
  int before = 0, after = 0;               ///< frames over which the change comes and goes
  Triple slopeBefore{}, slopeAfter{};      ///< of the change alone; 0: level
  friend bool operator==(const CurveKey&, const CurveKey&) = default;
};

/// Late nudges of this character joint alone, in its own axes, by frame. `curves` are the joint's angles after everything.
[[nodiscard]] std::vector<CurveKey> curveKeys(const Document& document, int joint, Angles angles, const std::array<std::vector<double>, 3>& curves);

/// What a key stands in when a drag takes hold of it: the pose around its own change, so that it does not matter how far the
/// evaluation has come since.
struct HeldKey {
  CurveKey key;
  Nudge nudge;
  Quatd left, right;  ///< local rotation = left · exp(turn) · right
};
[[nodiscard]] std::optional<HeldKey> holdKey(const Document& document, const CurveKey& key);

/// The nudge turned so that the joint has these angles at the key's frame.
[[nodiscard]] Nudge withValue(const HeldKey& held, const Skeleton& skeleton, const Triple& wanted, Angles angles);
/// Slope of one of the angles on one side; the other two keep theirs. `both`: the other side too.
[[nodiscard]] Nudge withSlope(const HeldKey& held, const Skeleton& skeleton, int channel, double degreesAFrame, bool after, bool both, Angles angles, FrameRate rate);

/// Changes keys of the take: one step of undo for a run of the same merge key. Eases that reached a neighbouring key go on doing so,
/// and none reaches beyond one.
void changeKeys(Document& document, const QString& label, const std::vector<Nudge>& nudges, const QString& mergeKey);
/// A key where the curve passes at a frame, without changing it there. Its number; the one there where there is one already; 0 without
/// a character.
std::uint64_t addKey(Document& document, int joint, int frame, const QString& mergeKey = {});
void removeKeys(Document& document, const std::vector<std::uint64_t>& nudges);
/// Slopes level, or through the neighbouring keys (Catmull and Rom's finite difference).
void levelKeys(Document& document, const std::vector<std::uint64_t>& nudges);
void smoothKeys(Document& document, const std::vector<std::uint64_t>& nudges);

/// Character joints that have keys, ascending.
[[nodiscard]] std::vector<int> keyedJoints(const Document& document);

}  // namespace understudy::editor
