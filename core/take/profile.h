// What is known of a character once and for all, so that a second clip needs no mapping.
#pragma once

#include <map>

#include "core/take/take.h"

namespace understudy {

/// Kept beside the character's file when the artist asks for it. Nothing in it depends on a performer.
struct Profile {
  std::string character;      ///< name of the character's file, for people
  std::string contentHash;    ///< of that file when the profile was saved; "" unknown
  double metresPerUnit = 0;   ///< > 0 overrides the detected unit
  std::string up;             ///< overrides the detected up axis; "" does not
  PerRole<RoleKeys> map;      ///< the character's side of the bone map; no joints at all: it is found automatically
  ReferenceSettings reference;
  std::map<Role, Vec3d> alignmentOffsets;    ///< as in RetargetSettings
  std::map<Role, bool> alignmentChoices;
  std::vector<std::string> leftOut;          ///< as in Take
  std::vector<Repair> handShapes;            ///< hand shapes of whole clips
  std::map<std::string, double> thresholds;  ///< from what size on a flaw is one, by the names and units of limitFields()
  std::string animationName;                 ///< of exported animations; "" the default
  std::string unknown;                       ///< fields this version does not know (JSON object text)
  friend bool operator==(const Profile&, const Profile&) = default;
};

/// What a take says of its character. Resolve an automatic map first (setMap): a map side without joints stays without.
[[nodiscard]] Profile profileOf(const Take& take, const std::map<std::string, double>& thresholds = {});

/// The take with what a profile says of its character. What the take says already stays: the unit and up axis of its file, a facing,
/// roles of the character, alignment, hand shapes, meshes left out. Thresholds are no part of a take.
[[nodiscard]] Take withProfile(const Take& take, const Profile& profile);

}  // namespace understudy
