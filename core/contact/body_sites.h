// A body as capsules with elliptic sections, laid around its joints, and places on them that another body has too.
#pragma once

#include <array>
#include <span>
#include <string_view>

#include "core/figure/figure.h"
#include "core/mapping/bone_map.h"
#include "core/math/quat.h"

namespace understudy {

struct PosedBody;

/// What hands can touch.
enum class BodySite : unsigned char {
  head, chest, belly, leftUpperArm, rightUpperArm, leftForearm, rightForearm, leftHand, rightHand, leftThigh, rightThigh, leftShank, rightShank, count
};
inline constexpr int bodySiteCount = static_cast<int>(BodySite::count);
/// "head", "left thigh" …
[[nodiscard]] std::string_view bodySiteName(BodySite site);
[[nodiscard]] BodySite mirrored(BodySite site);

/// One site. Lengths in metres; directions and points in the joint's own rigid frame (rotation and position only).
/// Where the site is not mapped, `joint` is −1.
struct SiteShape {
  int joint = -1;
  Vec3d start, end;            ///< of the axis
  Vec3d front{0, 0, 1};        ///< unit, at right angles to the axis: around = 0; of a hand: the palm's side
  Vec3d side{1, 0, 0};         ///< unit: around = 90°
  double frontStart = 0, frontEnd = 0, sideStart = 0, sideEnd = 0;  ///< half axes of the section
  double cap = 0;              ///< how far the surface reaches beyond both ends

  [[nodiscard]] bool known() const { return joint >= 0; }
};

/// A place in a site, the same on every body: `along` from 0 at the axis' start to 1 at its end, beyond them outside;
/// `around` in radians from the site's front towards its side.
struct SitePlace {
  double along = 0, around = 0;
  double tilt = 0;  ///< radians, beyond the ends: from the direction of `around` towards the axis' end (positive) or start (negative)
  friend bool operator==(const SitePlace&, const SitePlace&) = default;
};

/// A point seen from a site.
struct SiteView {
  SitePlace place;
  double gap = 0;  ///< metres along the ray from the axis to the site's surface; negative inside
};

struct BodySites {
  std::array<SiteShape, bodySiteCount> shapes;
  double stature = 0;  ///< metres, leg ÷ .491: what the body would measure with customary proportions
  std::array<double, 2> handLength{};  ///< metres, wrist to finger tips

  [[nodiscard]] const SiteShape& at(BodySite site) const { return shapes[static_cast<int>(site)]; }
};

/// The sites of a body standing in its reference pose. Segment lengths are the body's own; thicknesses are fractions of its
/// stature: breadths after Drillis and Contini 1966 (in Winter, "Biomechanics and Motor Control of Human Movement"), depths and
/// girths after the means of the ANSUR II survey (Gordon et al. 2014), rounded. `turn` gives for each role a rotation that is taken
/// off the site's front (what a retarget turned the other body's reference by), or is empty.
[[nodiscard]] BodySites bodySites(const PosedBody& body, std::span<const Quatd> turn = {});

/// `rotation` and `position` are those of the site's joint in the world; `point` is a world point.
[[nodiscard]] SiteView viewFrom(const SiteShape& site, const Quatd& rotation, const Vec3d& position, const Vec3d& point);
/// The point of the axis at `along`, and the unit direction of `around`, both in the joint's frame.
[[nodiscard]] Vec3d axisPoint(const SiteShape& site, double along);
[[nodiscard]] Vec3d outwards(const SiteShape& site, double around);

}  // namespace understudy
