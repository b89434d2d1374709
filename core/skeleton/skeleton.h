// Joints, their rest pose, and forward kinematics.
#pragma once

#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "core/base/result.h"
#include "core/math/transform.h"

namespace understudy {

/// Joints in an order where every parent comes before its children. All nodes of the file are kept, also those that
/// carry no weights, and each remembers its place in the file. Lengths are in the file's own unit and axes.
struct Skeleton {
  std::vector<std::string> names;  ///< as written in the file; may repeat or be empty
  std::vector<int> parents;        ///< index of the parent, −1 for a root
  std::vector<Trsd> rest;          ///< local rest pose: what the joint has where nothing animates it
  std::vector<int> fileNodes;      ///< index of the node in the file (glTF node index; order of appearance elsewhere)

  [[nodiscard]] int size() const { return static_cast<int>(parents.size()); }
  int add(std::string name, int parent, const Trsd& restPose, int fileNode) {
    names.push_back(std::move(name));
    parents.push_back(parent);
    rest.push_back(restPose);
    fileNodes.push_back(fileNode);
    return size() - 1;
  }
};

[[nodiscard]] std::vector<std::vector<int>> childrenOf(const Skeleton& skeleton);
[[nodiscard]] bool isAncestor(const Skeleton& skeleton, int ancestor, int joint);

/// The name by which people and map files address a joint: its name; the path "a/b/c" from the root where the name
/// repeats; "#index" (index of the node in the file) where it has none.
[[nodiscard]] std::string jointKey(const Skeleton& skeleton, int joint);

/// The joint a key means. Errors: unknown, or a name that repeats (the message lists the paths).
[[nodiscard]] Result<int> findJoint(const Skeleton& skeleton, std::string_view key);

/// World transforms (file unit and axes) of every joint in the rest pose.
[[nodiscard]] std::vector<Affined> restWorld(const Skeleton& skeleton);

/// World transforms of a local pose; `world` and `local` hold one entry a joint.
void forwardKinematics(const Skeleton& skeleton, std::span<const Trsd> local, std::span<Affined> world);

}  // namespace understudy
