// The values of the document. A take is one performance on one character; a reel is a list of takes.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "core/mapping/bone_map.h"
#include "core/retarget/retarget.h"
#include "core/take/node.h"
#include "core/repair/repair.h"

namespace understudy {

/// A file the take reads, and how it is to be read.
struct FileReference {
  std::string path;              ///< absolute, or relative to the working directory; empty: not chosen yet
  double metresPerUnit = 0;      ///< > 0 overrides the detected unit
  std::string up;                ///< "" or +X −X +Y −Y +Z −Z: overrides the detected up axis
  std::string contentHash;       ///< of the file when last read ("" unknown): tells that it has changed
  std::string unknown;           ///< fields this version does not know (JSON object text)
  friend bool operator==(const FileReference&, const FileReference&) = default;
};

/// The joints that fill a role, by jointKey(), so that the map survives reading the file again.
struct RoleKeys {
  std::vector<std::string> joints;
  double confidence = 0;
  std::string reason;
  friend bool operator==(const RoleKeys&, const RoleKeys&) = default;
};

/// The bone map of a take by joint keys. A side on which no role has joints is found automatically when the take is
/// evaluated.
struct MapKeys {
  PerRole<RoleKeys> performer, character;
  friend bool operator==(const MapKeys&, const MapKeys&) = default;
};

/// Which keys written curves get.
enum class BakeKind {
  sampled,   ///< one a frame
  reduced,   ///< as few as keep every frame within the tolerance
  editable,  ///< fewer, at the same frames along a limb, with smooth tangents
};
/// The spelling in files: "sampled", "reduced", "editable".
[[nodiscard]] std::string bakeKindName(BakeKind kind);
[[nodiscard]] bool bakeKindNamed(const std::string& name, BakeKind& kind);

/// How the take is handed over.
struct HandOver {
  std::string path;                    ///< last file written, "" none
  std::string format;                  ///< "" by the path's ending, or "glb", "gltf", "bvh", "csv"
  bool animationOnly = false;
  std::string animationName = "Understudy";
  std::optional<FrameRate> rate;       ///< default: the scene's
  BakeKind bake = BakeKind::sampled;   ///< BVH and CSV are always sampled
  double tolerance = 0.001;            ///< metres at 3 cm from each joint, of reduced and editable curves
  friend bool operator==(const HandOver&, const HandOver&) = default;
};

/// A remark of a review, pinned to a frame and, where it concerns one, a bone.
struct Note {
  std::uint64_t id = 0;   ///< unique within its take; addNote gives one where it is 0
  double time = 0;        ///< seconds from the first frame of the untrimmed clip
  std::string bone;       ///< "@role" or jointKey() of the character; "" none
  std::string text, author;
  bool done = false;
  std::string unknown;    ///< fields this version does not know (JSON object text)
  friend bool operator==(const Note&, const Note&) = default;
};

/// A named place of the clip.
struct Marker {
  std::uint64_t id = 0;   ///< unique among the take's markers; addMarker gives one where it is 0
  double time = 0;        ///< seconds from the first frame of the untrimmed clip
  std::string name;       ///< may be empty
  std::string unknown;    ///< fields this version does not know (JSON object text)
  friend bool operator==(const Marker&, const Marker&) = default;
};

using Nudges = std::vector<Node<Nudge>>;
using Repairs = std::vector<Node<Repair>>;

/// One performance on one character. Copies share their parts; only the edits of edits.h make changed ones.
struct Take {
  std::string name;
  Node<FileReference> performer;
  Node<FileReference> character;
  int clip = 0;                        ///< clip of the performer file, counted from 0
  std::optional<TimeRange> trim;
  std::optional<FrameRate> rate;       ///< the scene's rate; default: the performer clip's
  Node<MapKeys> map;
  Node<RetargetSettings> retarget;     ///< frames in it count from 0 in the untrimmed clip at the scene's rate
  Node<Nudges> nudges;                 ///< applied in list order
  Node<Repairs> repairs;               ///< those of one kind in list order, the kinds in the fixed order of RepairStage
  Node<std::vector<PropItem>> props;
  Node<std::vector<SetItem>> set;
  Node<std::vector<Lock>> locks;
  Node<std::vector<Note>> notes;       ///< by time
  Node<std::vector<Marker>> markers;   ///< by time
  std::vector<std::string> leftOut;    ///< meshes of the character (or nodes they hang on) that nothing has to keep out of: skirts, capes
  std::vector<std::string> waved;      ///< findings the artist waved off, by their keys, ascending
  Node<HandOver> handOver;
  int firstFrame = 1;                  ///< number of the first frame of the trimmed clip: shown = typed = exported
  std::string unknown;                 ///< fields this version does not know (JSON object text)
  friend bool operator==(const Take&, const Take&) = default;
};

/// The document.
struct Reel {
  std::vector<Node<Take>> takes;
  int current = 0;
  std::string unknown;
  friend bool operator==(const Reel&, const Reel&) = default;

  [[nodiscard]] const Take* currentTake() const {
    return current >= 0 && current < static_cast<int>(takes.size()) ? &*takes[static_cast<std::size_t>(current)] : nullptr;
  }
};

/// A reel of one empty take.
[[nodiscard]] Reel newReel();

/// Map by indices → by keys, and back. Keys that a skeleton no longer has leave their role empty, with a warning.
[[nodiscard]] MapKeys keysOf(const BoneMap& map, const Skeleton& performer, const Skeleton& character);
[[nodiscard]] BoneMap resolveMap(const MapKeys& keys, const Skeleton& performer, const Skeleton& character, Issues* issues = nullptr);

}  // namespace understudy
