// The scene's nodes as joints: helper nodes that Assimp makes of FBX pivots are folded into the node they belong to.
#pragma once

#include <assimp/scene.h>

#include <string>
#include <unordered_map>
#include <vector>

#include "core/figure/figure.h"

namespace understudy {

/// What became of one node of the scene.
struct ChainLink {
  const aiNode* node = nullptr;
  std::string part;  ///< "Translation", "PreRotation", …; empty for the node itself
  Affined local;     ///< its own transform
};

/// One joint and the nodes it was folded from, from the parent's side on.
struct JointChain {
  std::vector<ChainLink> links;
  Affined fileWorld;  ///< world transform of the joint (without geometric offsets), file unit and axes
};

struct NodeTable {
  std::vector<JointChain> chains;                    ///< one a joint
  std::unordered_map<const aiNode*, int> jointOf;    ///< every node, helpers too
  std::unordered_map<const aiNode*, Affined> world;  ///< world transform of every node as Assimp has it
  std::unordered_multimap<std::string, const aiNode*> byName;
};

[[nodiscard]] Affined affineOf(const aiMatrix4x4& matrix);
/// Parts of an affine map without shear; mirrored maps get a negative z scale.
[[nodiscard]] Trsd trsOf(const Affined& affine);

/// Fills `figure.skeleton`. `dropRoot`: the scene's root is Assimp's own and no node of the file.
[[nodiscard]] NodeTable buildJoints(const aiScene& scene, bool dropRoot, Figure& figure);

/// The first node of that name that is a joint by itself, else the first, else null.
[[nodiscard]] const aiNode* nodeNamed(const NodeTable& table, const std::string& name);

}  // namespace understudy
