// Reference geometry around a character: planes, boxes, balls, steps and meshes, and where on them a point is nearest. Lengths
// in metres, Y up. Nothing of it is ever exported unless asked.
#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "core/base/run_control.h"
#include "core/math/rigid.h"

namespace understudy {

/// Triangles of an object of the set, in world metres, Y up, as its file has them. `bounds` is made from them.
struct SetMesh {
  std::vector<Vec3d> positions;
  std::vector<std::uint32_t> indices;  ///< three a triangle, counter-clockwise seen from outside
  /// A ball about each run of `ballTriangles` triangles, to pass most of them over.
  struct Ball {
    Vec3d middle;
    double radius = 0;
  };
  std::vector<Ball> balls;
  static constexpr std::size_t ballTriangles = 16;
};

enum class SetForm : unsigned char { plane, box, ball, steps, mesh };

/// plane: the place's x and z axes, without end, +y outwards. box: stands on its place, `size` its edges. ball: about its place,
/// radius size.x. steps: `count` of them from the place on, climbing along +z, the place in the middle of the first one's foot;
/// size is width, rise, run. mesh: moved by the place.
struct SetShape {
  SetForm form = SetForm::plane;
  Rigid place;
  Vec3d size{1, 1, 1};
  int count = 1;
  std::shared_ptr<const SetMesh> mesh;
};

/// The nearest place of a surface.
struct SurfacePoint {
  Vec3d point;
  Vec3d normal{0, 1, 0};  ///< unit, outwards
  double distance = 0;    ///< from the asked point; negative behind the surface
};

/// Error: sizes that are not positive and finite, no steps, a mesh without triangles.
[[nodiscard]] Status checkShape(const SetShape& shape);

/// The shape must be sound. On an edge the normal points to the asked point where that lies outside.
[[nodiscard]] SurfacePoint nearestOn(const SetShape& shape, const Vec3d& point);

/// Triangles to draw and to stand on; planes are cut at `reach` metres from their place.
[[nodiscard]] SetMesh trianglesOf(const SetShape& shape, double reach = 10);

/// Sorts triangles into balls. Call it after filling positions and indices.
void makeBalls(SetMesh& mesh);

/// All meshes of a file (glTF, FBX, Collada) in its rest pose. Errors: unreadable, no triangles, numbers that are not finite.
[[nodiscard]] Result<std::shared_ptr<const SetMesh>> readSetMesh(const std::string& path, const RunControl& control = {});

}  // namespace understudy
