// Repairs and nudges as the editor lists, words and changes them.
#pragma once

#include <QString>
#include <vector>

#include "app/editor/document/document.h"

namespace understudy::editor {

/// A line of the list: a repair or a nudge.
struct RepairItem {
  std::uint64_t id = 0;
  bool nudge = false;
  int stage = 0;  ///< place in the fixed order
  friend bool operator==(const RepairItem&, const RepairItem&) = default;
};
/// All of a take in the order they apply.
[[nodiscard]] std::vector<RepairItem> itemsOf(const Take& take);

/// "plant", "hand shape" in the user's language; "nudge", "late nudge".
[[nodiscard]] QString kindText(const Repair& repair);
[[nodiscard]] QString kindText(std::size_t kind);
/// Name of the icon of a kind.
[[nodiscard]] QString kindIcon(std::size_t kind);
/// A camel-case word of a file as people read it: "leftFoot" → "left foot".
[[nodiscard]] QString plainText(const std::string& word);
/// "@leftHand" → "left hand"; other bones by their own name.
[[nodiscard]] QString boneText(const std::string& bone);
/// What it acts on: its name, or "left foot", "right arm −6°".
[[nodiscard]] QString repairText(const Repair& repair);
/// "140–178", "whole clip", in shown numbers.
[[nodiscard]] QString spanText(const Repair& repair, const Evaluated& evaluated);
/// The worst miss of a repair: metres, radians and where. Nothing where it was not measured or keeps its promise.
struct WorstMiss {
  double metres = 0, radians = 0;
  int frame = 0;  ///< counted from 0 in the evaluated take
};
[[nodiscard]] std::optional<WorstMiss> worstMiss(const Evaluated& evaluated, std::uint64_t repair);
/// "0.3 mm", "12 mm", "1.5°".
[[nodiscard]] QString missText(const WorstMiss& miss);
/// What evaluating said about a repair; empty: nothing.
[[nodiscard]] QString complaintOf(const Evaluated& evaluated, const Repair& repair);

/// A repair of a kind (place in repairKinds()) that makes sense for the selected bone, the current frame and the play range.
[[nodiscard]] std::optional<Repair> defaultRepair(const Document& document, const Session& session, std::size_t kind);

/// These write one step of undo each; ids of nothing do nothing. The new item's number is given back, 0 for none.
std::uint64_t addItem(Document& document, Repair repair);
void removeItem(Document& document, std::uint64_t id);
std::uint64_t duplicateItem(Document& document, std::uint64_t id);
std::uint64_t mirrorItem(Document& document, std::uint64_t id);
void copyItemToTake(Document& document, std::uint64_t id, int take);
std::uint64_t splitItem(Document& document, std::uint64_t id, int frame);
/// With the next one in time that it goes together with; 0 where there is none.
std::uint64_t mergeItem(Document& document, std::uint64_t id);
/// Frames of ease more (or less) before or after a repair's span, or around a nudge.
void easeItem(Document& document, std::uint64_t id, bool before, int frames);
void muteItem(Document& document, std::uint64_t id);
void soloItem(Document& document, std::uint64_t id);
/// Changes a repair; with a merge key successive changes are one step.
void changeItem(Document& document, Repair repair, const QString& label, const QString& mergeKey = {});
/// Moves repair or nudge by frames.
void moveItem(Document& document, std::uint64_t id, int frames, const QString& mergeKey = {});

/// First frame (counted from 0 in the evaluated take) worth looking at, and the bone it is about.
[[nodiscard]] int frameOfItem(const Document& document, std::uint64_t id);
[[nodiscard]] std::optional<Bone> boneOfItem(const Document& document, std::uint64_t id);
/// Bones a repair names.
[[nodiscard]] std::vector<std::string> bonesOf(const Repair& repair);

}  // namespace understudy::editor
