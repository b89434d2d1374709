// What a joint's name says: body part, side, number, and whether it is a helper rather than a bone of the body.
#pragma once

#include <array>
#include <string_view>
#include <vector>

#include "core/mapping/roles.h"

namespace understudy {

/// Body parts a name may mean. The fingers stand in the order of the role table.
enum class Part : unsigned char {
  hips,
  spine,
  chest,
  upperChest,
  neck,
  head,
  eye,
  jaw,
  shoulder,
  upperArm,
  lowerArm,
  hand,
  upperLeg,
  lowerLeg,
  foot,
  toes,
  thumb,
  index,
  middle,
  ring,
  little,
  finger,
  count
};
inline constexpr int partCount = static_cast<int>(Part::count);

/// Reading of one name. `likeness` holds for each part how well the name fits it, 0 … 1: a "shoulder" may be a collar
/// bone or an upper arm.
struct NameCue {
  std::array<float, partCount> likeness{};
  Side side = Side::centre;
  bool end = false;     ///< marks the end of a chain, not a bone ("…_end", "Nub", "Site")
  bool helper = false;  ///< control, target, prop, cloth, hair: no bone of the body
  bool twist = false;   ///< shares the twist of a limb
  int number = -1;      ///< the last number in the name
  int phalanx = -1;     ///< 0 metacarpal, 1 proximal, 2 intermediate, 3 distal, where the name says so

  [[nodiscard]] float at(Part part) const { return likeness[static_cast<int>(part)]; }
  [[nodiscard]] Part best() const;  ///< count where the name means nothing
  [[nodiscard]] bool known() const { return best() != Part::count; }
};

[[nodiscard]] NameCue readName(std::string_view name);

/// The part a role stands for, without its side.
[[nodiscard]] Part partOf(Role role);

/// How far the names agree with the tree they stand in, 0 … 1: near 0 for names that were shuffled or mean nothing.
[[nodiscard]] double nameTrust(const std::vector<NameCue>& cues, const std::vector<int>& parents);

}  // namespace understudy
