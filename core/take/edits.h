// Edits: functions from take to take. Nothing else changes a take. An edit that changes nothing returns an equal value.
#pragma once

#include "core/take/take.h"

namespace understudy {

/// Another performer file: its map side, clip, trim and the alignment are forgotten; nudges and repairs stay.
[[nodiscard]] Take setPerformer(const Take& take, FileReference file);
/// Another character file: its map side and alignment are forgotten; nudges and repairs stay, those it cannot follow are told when
/// the take is evaluated, and anchors are worked out anew.
[[nodiscard]] Take setCharacter(const Take& take, FileReference file);
/// The same file found elsewhere: everything is kept.
[[nodiscard]] Take relinkPerformer(const Take& take, const std::string& path);
[[nodiscard]] Take relinkCharacter(const Take& take, const std::string& path);

[[nodiscard]] Take setName(const Take& take, std::string name);
/// Clip of the performer file, counted from 0. Forgets the trim and the performer's reference frame.
[[nodiscard]] Take setClip(const Take& take, int clip);
/// `range` counts from 1 in the untrimmed clip at the scene's rate; nothing: the whole clip.
[[nodiscard]] Take setTrim(const Take& take, std::optional<FrameRange> range, FrameRate rate);
[[nodiscard]] Take setTrimSeconds(const Take& take, std::optional<TimeRange> range);
/// Nothing: the performer clip's own rate. A reference frame keeps its time as well as the new rate can say it.
[[nodiscard]] Take setRate(const Take& take, std::optional<FrameRate> rate, FrameRate oldRate, FrameRate performerRate);
[[nodiscard]] Take setFirstFrame(const Take& take, int firstFrame);

[[nodiscard]] Take setMap(const Take& take, const BoneMap& map, const Skeleton& performer, const Skeleton& character);
[[nodiscard]] Take setMapKeys(const Take& take, MapKeys keys);
/// Who fills a role on one side, by hand: confidence 1. Write an automatic map into the take first (setMap): a side with one
/// role chosen is no longer found automatically.
enum class MapSide { performer, character };
[[nodiscard]] Take setRole(const Take& take, MapSide side, Role role, std::vector<std::string> joints);

[[nodiscard]] Take setRetarget(const Take& take, RetargetSettings settings);
/// Rotation vector in radians in the character's world reference frame; zero removes it.
[[nodiscard]] Take setAlignmentOffset(const Take& take, Role role, Vec3d offset);
/// true: match frames, false: keep the character's posture, nothing: automatic.
[[nodiscard]] Take setAlignmentChoice(const Take& take, Role role, std::optional<bool> matchFrames);
[[nodiscard]] Take setStride(const Take& take, std::optional<double> stride);
[[nodiscard]] Take setGround(const Take& take, bool ground);
[[nodiscard]] Take setPerformerReference(const Take& take, ReferenceSettings reference);
[[nodiscard]] Take setCharacterReference(const Take& take, ReferenceSettings reference);

/// Appends; a nudge with id 0, or one that is taken, gets the next free one (`idOut` receives it).
[[nodiscard]] Take addNudge(const Take& take, Nudge nudge, std::uint64_t* idOut = nullptr);
/// Replaces the nudge with the same id; no such nudge: unchanged.
[[nodiscard]] Take changeNudge(const Take& take, Nudge nudge);
[[nodiscard]] Take removeNudge(const Take& take, std::uint64_t id);
/// Moves a nudge to a place in the list (0 first).
[[nodiscard]] Take reorderNudge(const Take& take, std::uint64_t id, int place);
[[nodiscard]] const Nudge* findNudge(const Take& take, std::uint64_t id);

/// Appends; a repair with id 0, or one that is taken, gets the next free one (`idOut` receives it). Nudges and repairs share their numbers.
[[nodiscard]] Take addRepair(const Take& take, Repair repair, std::uint64_t* idOut = nullptr);
/// Replaces the repair with the same id; no such repair: unchanged.
[[nodiscard]] Take changeRepair(const Take& take, Repair repair);
[[nodiscard]] Take removeRepair(const Take& take, std::uint64_t id);
/// Moves a repair to a place in the list (0 first).
[[nodiscard]] Take reorderRepair(const Take& take, std::uint64_t id, int place);
[[nodiscard]] const Repair* findRepair(const Take& take, std::uint64_t id);
/// All repairs at once.
[[nodiscard]] Take setRepairs(const Take& take, Repairs repairs);
[[nodiscard]] Take setProps(const Take& take, std::vector<PropItem> props);
[[nodiscard]] Take setSet(const Take& take, std::vector<SetItem> set);
[[nodiscard]] Take setLocks(const Take& take, std::vector<Lock> locks);
/// Meshes that do not count as the character's body.
[[nodiscard]] Take setLeftOut(const Take& take, std::vector<std::string> meshes);
/// A finding is left alone from now on, or is told again.
[[nodiscard]] Take setWaved(const Take& take, const std::string& finding, bool waved);

/// Notes are kept in order of time; `idOut` receives the number of the new one. Unknown numbers change nothing.
[[nodiscard]] Take addNote(const Take& take, Note note, std::uint64_t* idOut = nullptr);
[[nodiscard]] Take changeNote(const Take& take, Note note);
[[nodiscard]] Take removeNote(const Take& take, std::uint64_t id);
[[nodiscard]] const Note* findNote(const Take& take, std::uint64_t id);

/// Markers, in the same way.
[[nodiscard]] Take addMarker(const Take& take, Marker marker, std::uint64_t* idOut = nullptr);
[[nodiscard]] Take changeMarker(const Take& take, Marker marker);
[[nodiscard]] Take removeMarker(const Take& take, std::uint64_t id);
[[nodiscard]] const Marker* findMarker(const Take& take, std::uint64_t id);

[[nodiscard]] Take setExport(const Take& take, HandOver handOver);

/// Edits of the list of takes.
[[nodiscard]] Reel setCurrentTake(const Reel& reel, Take take);
[[nodiscard]] Reel addTake(const Reel& reel, Take take);
[[nodiscard]] Reel removeTake(const Reel& reel, int index);
[[nodiscard]] Reel selectTake(const Reel& reel, int index);
/// One performer or character file for every take; takes that have it already stay as they are.
[[nodiscard]] Reel setPerformerForAll(const Reel& reel, const FileReference& file);
[[nodiscard]] Reel setCharacterForAll(const Reel& reel, const FileReference& file);

}  // namespace understudy
