// Flaws of known kind, size and place, put into a clean motion on purpose.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "core/figure/figure.h"
#include "core/mapping/bone_map.h"
#include "core/motion/motion.h"

namespace understudy {

enum class FlawKind : unsigned char { slide, floating, sink, pop, flip, twist, depth, gripDrift, lostContact };
inline constexpr FlawKind allFlawKinds[] = {FlawKind::slide, FlawKind::floating, FlawKind::sink, FlawKind::pop, FlawKind::flip,
                                            FlawKind::twist, FlawKind::depth, FlawKind::gripDrift, FlawKind::lostContact};
[[nodiscard]] std::string flawName(FlawKind kind);

/// Frames count from 0, inclusive. Sizes are metres (of a body as tall as the figure), for pop, flip and twist radians.
struct Flaw {
  FlawKind kind = FlawKind::slide;
  Role role = Role::leftFoot;  ///< foot, hand, or the bone that is turned
  int first = 0, last = 0;
  double size = 0;
  Vec3d direction;             ///< unit, world (Y up); of slide, gripDrift and lostContact
  friend bool operator==(const Flaw&, const Flaw&) = default;
};

/// The motion with one flaw:
/// - slide: the foot drifts along `direction` over the span, to `size` at its end, and swings back in the quarter second after it;
/// - floating, sink: the foot is `size` too high or low over the span, eased over three frames at either end;
/// - pop: one bone is turned by `size` at the span's first frame alone;
/// - flip: one bone is turned by half a turn about its length over the span, without eases (the bones on it keep their place);
/// - twist: the same by `size`, eased, the bones on it keep their world rotation;
/// - depth: the hand goes `size` towards the trunk's axis (hips to neck), fully over the middle half of the span;
/// - gripDrift, lostContact: the hand leaves its place along `direction`, as a smooth bump that is `size` high.
/// Limbs are bent in their own plane, feet and hands keep their world rotation; nothing else moves. Where the limb cannot reach,
/// it stays short: `reached` tells the size that came about, the largest over the span. Throws std::invalid_argument
/// where the role is not mapped or the span lies outside.
[[nodiscard]] Motion withFlaw(const Figure& figure, const SkeletonMap& map, const Motion& motion, const Flaw& flaw, double* reached = nullptr);
[[nodiscard]] Motion withFlaws(const Figure& figure, const SkeletonMap& map, Motion motion, const std::vector<Flaw>& flaws);

/// Where flaws of each kind make sense, for drawing some.
struct FlawPlaces {
  struct Stay {
    Role role;
    int first, last;
  };
  std::vector<Stay> stances;   ///< of feet
  std::vector<Stay> grips;     ///< of the support hand
  std::vector<Stay> contacts;  ///< of hands on something
};

/// `count` flaws of a kind, drawn with `seed`; never two within `apart` frames of each other on the same limb. Sizes are drawn
/// between `least` and `most` (metres or radians). Fewer where there is no more room.
[[nodiscard]] std::vector<Flaw> drawFlaws(FlawKind kind, int count, const SkeletonMap& map, const Motion& motion, const FlawPlaces& places, double least, double most,
                                          std::uint64_t seed, int apart = 15);

}  // namespace understudy
