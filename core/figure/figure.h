// What a performer or character file holds, in the file's own unit and axes.
#pragma once

#include <array>
#include <cstdint>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "core/motion/clip.h"
#include "core/skeleton/skeleton.h"

namespace understudy {

/// How the file's numbers become metres, Y up. Facing is not part of it: that follows from the bone map.
struct Space {
  double metresPerUnit = 1;
  Quatd worldFromFile;           ///< rotation that puts the file's up on +Y (and, where the format defines it, front on +Z)
  std::string unitName = "m";    ///< "m", "cm", "in", "5.644 cm" …
  std::string upName = "+Y";     ///< the file's axis that points up
  bool unitStated = true;        ///< false: estimated from the body's size
  bool upStated = true;          ///< false: estimated from skeleton and motion

  /// File coordinates → world metres.
  [[nodiscard]] Affined toWorld() const {
    return {toMatrix(worldFromFile) * metresPerUnit, {}};
  }
};

struct Image {
  std::string name;
  std::string mimeType;               ///< image/png, image/jpeg
  std::vector<std::uint8_t> bytes;    ///< the encoded file
};

struct Material {
  std::string name;
  std::array<float, 4> baseColour{1, 1, 1, 1};  ///< linear RGBA factor
  int image = -1;                               ///< base-colour texture, index into images
  bool doubleSided = false;
  float alphaCutoff = -1;                       ///< ≥ 0: alpha-tested; −1: opaque
};

struct MorphTarget {
  std::string name;
  std::vector<Vec3f> positions;  ///< offsets, one a vertex
};

/// Joints that deform meshes. inverseBind[i] takes mesh coordinates to the space of joints[i].
struct Skin {
  std::string name;
  std::vector<int> joints;          ///< skeleton joints
  std::vector<Affined> inverseBind;
};

/// Triangles with one material. A skinned mesh ignores its own node's transform, as in glTF 2.0; a rigid one moves
/// with `node`.
struct Mesh {
  std::string name;
  int node = -1;      ///< skeleton joint the mesh hangs on
  int skin = -1;      ///< index into skins, −1: rigid
  int material = -1;
  std::vector<Vec3f> positions;
  std::vector<Vec3f> normals;               ///< empty or one a vertex
  std::vector<Vec2f> texcoords;             ///< empty or one a vertex; v runs down from the picture's upper edge
  std::vector<std::array<float, 4>> colours;  ///< empty or one a vertex, linear RGBA
  std::vector<std::uint32_t> indices;       ///< three a triangle
  /// Influences of vertex v are entries influenceStart[v] … influenceStart[v+1]−1; weights sum to 1 a vertex.
  std::vector<std::uint32_t> influenceStart;
  std::vector<std::uint16_t> influenceJoint;  ///< index into Skin::joints
  std::vector<float> influenceWeight;
  std::vector<MorphTarget> morphs;
  std::vector<float> morphWeights;            ///< default weights
};

/// A file as read. Everything refers to `skeleton` by joint index.
struct Figure {
  std::string path;
  std::string format;  ///< "BVH", "glTF 2.0", "FBX", "Collada"
  Skeleton skeleton;
  Space space;
  std::vector<Skin> skins;
  std::vector<Mesh> meshes;
  std::vector<Material> materials;
  std::vector<Image> images;
  std::vector<Clip> clips;
  /// What the file itself says about its bones (VRM): role name as in VRM 1.0, and joint.
  std::vector<std::pair<std::string, int>> statedRoles;
  Issues issues;       ///< what was odd, and what was done about it

  [[nodiscard]] bool hasSkin() const { return !skins.empty(); }
};

/// The clip that is meant where none is chosen: the last one that this program handed over, else the file's first.
[[nodiscard]] int defaultClip(const Figure& figure);

/// World transforms (file unit and axes) in the bind pose: for joints of a skin, what their inverse bind matrix says;
/// all others keep their rest transform below the nearest bound ancestor. Joints of several skins take the first.
/// Without skins this is the rest pose.
[[nodiscard]] std::vector<Affined> bindWorld(const Figure& figure);

/// Positions of a mesh's vertices, file unit and axes, for given joint world transforms (linear blend skinning).
[[nodiscard]] std::vector<Vec3f> skinnedPositions(const Figure& figure, const Mesh& mesh, std::span<const Affined> world);

}  // namespace understudy
