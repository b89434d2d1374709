#include "app/reader/nodes.h"

#include <cmath>
#include <string_view>

namespace understudy {
namespace {

constexpr std::string_view helperMark = "_$AssimpFbx$_";

struct Split {
  std::string_view owner, part;
};
Split splitName(std::string_view name) {
  const std::size_t at = name.rfind(helperMark);
  if (at == std::string_view::npos) return {name, {}};
  return {name.substr(0, at), name.substr(at + helperMark.size())};
}
std::string_view nameOf(const aiNode* node) {
  return {node->mName.data, node->mName.length};
}

class Builder {
 public:
  Builder(Figure& figure, NodeTable& table) : figure_(figure), table_(table) {}

  /// Depth first without recursion: files nest as deep as they like.
  void run(const aiNode* root, bool dropRoot) {
    struct Item {
      const aiNode* node;
      int parent;
      Affined nodeWorld;
    };
    std::vector<Item> stack;
    const auto push = [&](const aiNode* node, int parent, const Affined& world) {
      for (unsigned c = node->mNumChildren; c-- > 0;) stack.push_back({node->mChildren[c], parent, world});
    };
    if (dropRoot)
      push(root, -1, {});
    else
      stack.push_back({root, -1, {}});
    while (!stack.empty()) {
      const Item item = stack.back();
      stack.pop_back();
      JointChain chain;
      const aiNode* node = item.node;
      Affined world = item.nodeWorld;
      const auto take = [&](const aiNode* taken, std::string_view part) {
        const Affined local = affineOf(taken->mTransformation);
        world = world * local;
        chain.links.push_back({taken, std::string(part), local});
        table_.world[taken] = world;
        table_.byName.emplace(std::string(nameOf(taken)), taken);
      };
      // Helpers before the node: X_Translation → X_PreRotation → … → X.
      Split split = splitName(nameOf(node));
      const std::string owner(split.owner);
      while (!split.part.empty() && node->mNumChildren == 1 && splitName(nameOf(node->mChildren[0])).owner == owner) {
        take(node, split.part);
        node = node->mChildren[0];
        split = splitName(nameOf(node));
      }
      take(node, split.part);
      // Helpers after it take the geometric offset back before the children.
      while (node->mNumChildren == 1) {
        const Split next = splitName(nameOf(node->mChildren[0]));
        if (next.owner != owner || !next.part.starts_with("Geometric") || !next.part.ends_with("Inverse")) break;
        node = node->mChildren[0];
        take(node, next.part);
      }
      const int parent = item.parent;
      chain.fileWorld = parent < 0 ? Affined{} : table_.chains[static_cast<std::size_t>(parent)].fileWorld;
      Affined local;
      for (const ChainLink& link : chain.links)
        if (!link.part.starts_with("Geometric")) local = local * link.local;
      const Trsd rest = trsOf(local);
      chain.fileWorld = chain.fileWorld * Affined(rest);
      const int joint = figure_.skeleton.add(owner, parent, rest, figure_.skeleton.size());
      for (const ChainLink& link : chain.links) table_.jointOf[link.node] = joint;
      table_.chains.push_back(std::move(chain));
      push(node, joint, world);
    }
  }

 private:
  Figure& figure_;
  NodeTable& table_;
};

}  // namespace

Affined affineOf(const aiMatrix4x4& m) {
  return {{{m.a1, m.b1, m.c1}, {m.a2, m.b2, m.c2}, {m.a3, m.b3, m.c3}}, {m.a4, m.b4, m.c4}};
}

Trsd trsOf(const Affined& affine) {
  Trsd out;
  out.translation = affine.translation;
  Mat3d m = affine.linear;
  out.scale = {length(m.cx), length(m.cy), length(m.cz)};
  if (determinant(m) < 0) out.scale.z = -out.scale.z;
  for (int i = 0; i < 3; ++i)
    if (std::abs(out.scale[i] - 1) < 2e-6) out.scale[i] = 1;  // single precision on the way
  const auto unit = [](const Vec3d& v, double s, const Vec3d& fallback) { return std::abs(s) > 1e-12 ? v / s : fallback; };
  Vec3d x = normalised(unit(m.cx, out.scale.x, {1, 0, 0}), Vec3d{1, 0, 0});
  Vec3d y = unit(m.cy, out.scale.y, {0, 1, 0});
  y = normalised(y - x * dot(x, y), anyPerpendicular(x));
  const Vec3d z = cross(x, y);
  out.rotation = toQuat(Mat3d{x, y, z});
  return out;
}

NodeTable buildJoints(const aiScene& scene, bool dropRoot, Figure& figure) {
  NodeTable table;
  Builder(figure, table).run(scene.mRootNode, dropRoot);
  return table;
}

const aiNode* nodeNamed(const NodeTable& table, const std::string& name) {
  const auto [begin, end] = table.byName.equal_range(name);
  const aiNode* found = nullptr;
  int best = -1;
  for (auto it = begin; it != end; ++it) {
    const int joint = table.jointOf.at(it->second);
    if (!found || joint < best) found = it->second, best = joint;
  }
  return found;
}

}  // namespace understudy
