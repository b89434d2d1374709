// Distances between points, segments and triangle meshes. Lengths in the unit of the input.
#pragma once

#include <cstdint>
#include <span>

#include "core/math/vec.h"

namespace understudy {

/// The point of a segment nearest to a given point.
struct PointOnSegment {
  Vec3d point;
  double t = 0;  ///< 0 at the segment's start, 1 at its end
  double distance = 0;
};
/// A segment of no length is a point, at t = 0.
[[nodiscard]] PointOnSegment closestOnSegment(const Vec3d& point, const Vec3d& start, const Vec3d& end);

/// The nearest points of two segments.
struct SegmentPair {
  Vec3d a, b;           ///< on the first and on the second segment
  double s = 0, t = 0;  ///< 0 at a segment's start, 1 at its end
  double distance = 0;
};
/// Parallel segments that lie beside each other have many nearest pairs: one that includes an end point is returned.
/// Segments of no length are points. (The problem and its cases: Ericson, "Real-Time Collision Detection", 5.1.9.)
[[nodiscard]] SegmentPair closestOfSegments(const Vec3d& a0, const Vec3d& a1, const Vec3d& b0, const Vec3d& b1);

/// Generalised winding number of a triangle mesh about a point: the sum of the triangles' signed solid angles over 4π
/// (Jacobson, Kavan and Sorkine-Hornung 2013, "Robust Inside-Outside Segmentation using Generalized Winding Numbers";
/// solid angle after Van Oosterom and Strackee 1983). 1 inside a closed mesh whose triangles run counter-clockwise seen
/// from outside, 0 outside; in between where the mesh has holes. On a triangle it is undefined, yet finite.
/// `indices` holds three a triangle, all below positions.size().
[[nodiscard]] double windingNumber(const Vec3d& point, std::span<const Vec3f> positions, std::span<const std::uint32_t> indices);

}  // namespace understudy
