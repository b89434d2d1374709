// Props: what a hand can hold, and where hands hold it.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "core/figure/figure.h"
#include "core/math/rigid.h"

namespace understudy {

/// A prop as one rigid thing. Its frame: metres, Y up; the origin is that of the file, or that of the node it was taken from, whose
/// axes it then keeps. `figure` holds one joint, at the origin, with all meshes hanging on it.
struct PropModel {
  std::string name;
  Figure figure;
};

/// The whole of a file's geometry, or a node's and all below it, in the rest pose (bound meshes in their bind pose; of a mesh that is
/// bound to other joints too, the triangles these joints move for the most part). `node` is a jointKey(), empty: everything. `scale` multiplies the file's own size. Errors: no such node, nothing to be seen there, a scale
/// that is not positive.
[[nodiscard]] Result<PropModel> propOf(const Figure& source, const std::string& node, double scale = 1);

/// A round shaft along +Y from the origin; metres. Errors: sizes that are not positive.
[[nodiscard]] Result<PropModel> shaftProp(double length, double radius);

/// What a mesh shows of how it can be held. All in the prop's frame, metres.
struct PropShape {
  Vec3d middle;                ///< of the surface
  Vec3d axis{0, 1, 0};         ///< unit; the surface's longest direction, towards the free end of the handle
  Vec3d flat{0, 0, 1};         ///< unit; its thinnest direction
  double low = 0, high = 0;    ///< where it begins and ends along the axis, from the middle
  std::vector<double> radius;  ///< one a slice of equal length from low to high: half the width across the axis, 0 where there is nothing
  std::vector<Vec3d> centre;   ///< of each slice
  double handleLow = 0, handleHigh = 0;  ///< the thin part, along the axis
  double handleRadius = 0;     ///< metres, its usual one
  bool handleAtEnd = false;    ///< the thin part reaches the object's end on the side of +axis
  [[nodiscard]] int sliceAt(double along) const;
};
/// Error: a mesh without triangles or size.
[[nodiscard]] Result<PropShape> shapeOf(const PropModel& prop);

/// Where a palm lies on a prop: the origin on the handle's surface, y along the handle towards the thumb, z from the palm to the
/// handle's axis (a Hand's palm frame comes to lie on it).
struct PropGrips {
  Rigid lead, support;
  double radius = 0;     ///< of the handle, metres
  Vec3d end;             ///< the working end: the middle of the side away from the handle's free end
  Vec3d foot;            ///< where the handle begins on that side
  std::string reason;    ///< for people
};
/// Proposed from the shape: on long handles the lead hand near the free end and the support hand `apart` metres further in, thumbs
/// towards the free end; on short ones (a hilt) the lead hand next to the heavy part, thumbs towards it. `palm` is a palm's width.
[[nodiscard]] PropGrips proposeGrips(const PropShape& shape, double palm = 0.085, double apart = 0.24);

/// A grip at a point picked on the prop's surface: across the handle there, thumb as in the proposal, the palm on the point's side.
[[nodiscard]] Rigid gripAt(const PropShape& shape, const Vec3d& point);

}  // namespace understudy
