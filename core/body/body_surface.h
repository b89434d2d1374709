// A character's surface cut into body parts: what arms can run into, and the arms themselves.
#pragma once

#include <array>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "core/body/triangle_tree.h"
#include "core/figure/figure.h"
#include "core/mapping/bone_map.h"

namespace understudy {

/// Each joint belongs to the part of its nearest ancestor that fills a role; a point of the skin to the part that carries most of its weight.
enum class BodyPart : unsigned char {
  none,       ///< above the hips, or not part of the body
  torso,      ///< hips, spine, chests, shoulders
  head,       ///< neck, head and all below
  leftThigh, rightThigh, leftShank, rightShank,  ///< a shank includes its foot
  leftUpperArm, leftForearm, leftHand, rightUpperArm, rightForearm, rightHand,
  count
};
inline constexpr int bodyPartCount = static_cast<int>(BodyPart::count);
/// "torso", "left thigh" …; empty for none.
[[nodiscard]] std::string_view bodyPartName(BodyPart part);

/// Part of every joint of the skeleton.
[[nodiscard]] std::vector<BodyPart> partsOfJoints(const Skeleton& skeleton, const SkeletonMap& map);

struct BodySurfaceSettings {
  std::vector<std::string> leaveOut;  ///< names of meshes or of the nodes they hang on
  /// Rigid meshes on a hand that has a skin of its own, or on joints below it, are things it holds.
  bool handProps = false;
  friend bool operator==(const BodySurfaceSettings&, const BodySurfaceSettings&) = default;
};

/// All skin and rigid meshes of a figure as one triangle soup. Positions in the pose it was made in, world metres.
struct BodySurface {
  std::vector<Vec3d> positions;
  std::vector<BodyPart> parts;                    ///< of each vertex
  std::vector<std::uint32_t> influenceStart;      ///< as in Mesh; joints of the skeleton
  std::vector<int> influenceJoint;
  std::vector<float> influenceWeight;
  std::vector<std::uint32_t> indices;             ///< three a triangle
  std::vector<BodyPart> jointParts;               ///< of each joint

  [[nodiscard]] int vertices() const { return static_cast<int>(positions.size()); }
  /// The joint that carries most of a vertex; −1: none does.
  [[nodiscard]] int heaviestJoint(int vertex) const;
};

/// `fileWorld` is a pose of the figure in its file's coordinates (the reference pose), `toWorld` takes those to world metres.
[[nodiscard]] BodySurface bodySurface(const Figure& figure, const SkeletonMap& map, std::span<const Affined> fileWorld, const Affined& toWorld,
                                      const BodySurfaceSettings& settings = {});

/// How joints move points from the pose of the surface: turned[j] = world now · inverse(world then), in world metres.
void pointsOf(const BodySurface& surface, std::span<const Affined> turned, std::span<const int> vertices, std::span<Vec3d> out);

/// One part as a solid: its triangles, turned outwards, holes filled with fans, flat cloths left out.
struct PartMesh {
  std::vector<int> vertices;                 ///< of the surface; the mesh's first vertices are these, in order
  std::vector<std::vector<int>> rims;        ///< of the filled holes, as places in `vertices`; the mesh's further vertices are their means
  std::vector<std::uint32_t> indices;
  [[nodiscard]] bool empty() const { return indices.empty(); }
  /// Positions of all vertices of the mesh, from those of `vertices`.
  [[nodiscard]] std::vector<Vec3d> withRims(std::vector<Vec3d> own) const;
};
/// `with`: parts it goes on into; triangles that lie between them are its own as well (`seam`: they alone).
[[nodiscard]] PartMesh partMesh(const BodySurface& surface, BodyPart part, std::span<const BodyPart> with = {}, bool seam = false);

}  // namespace understudy
