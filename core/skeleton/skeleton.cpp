#include "core/skeleton/skeleton.h"

#include <algorithm>
#include <charconv>

namespace understudy {
namespace {

std::string pathOf(const Skeleton& skeleton, int joint) {
  std::string path = skeleton.names[joint];
  for (int j = skeleton.parents[joint]; j >= 0; j = skeleton.parents[j]) path = skeleton.names[j] + "/" + path;
  return path;
}

std::vector<int> namedExactly(const Skeleton& skeleton, std::string_view name) {
  std::vector<int> found;
  for (int j = 0; j < skeleton.size(); ++j)
    if (skeleton.names[j] == name) found.push_back(j);
  return found;
}

}  // namespace

std::vector<std::vector<int>> childrenOf(const Skeleton& skeleton) {
  std::vector<std::vector<int>> children(skeleton.parents.size());
  for (int j = 0; j < skeleton.size(); ++j)
    if (skeleton.parents[j] >= 0) children[skeleton.parents[j]].push_back(j);
  return children;
}

bool isAncestor(const Skeleton& skeleton, int ancestor, int joint) {
  for (int j = skeleton.parents[joint]; j >= 0; j = skeleton.parents[j])
    if (j == ancestor) return true;
  return false;
}

std::string jointKey(const Skeleton& skeleton, int joint) {
  const std::string& name = skeleton.names[joint];
  const std::string index = "#" + std::to_string(skeleton.fileNodes[joint]);
  if (name.empty()) return index;
  if (namedExactly(skeleton, name).size() == 1) return name;
  const std::string path = pathOf(skeleton, joint);
  for (int j = 0; j < skeleton.size(); ++j)
    if (j != joint && skeleton.names[j] == name && pathOf(skeleton, j) == path) return index;
  return path;
}

Result<int> findJoint(const Skeleton& skeleton, std::string_view key) {
  // An exact name wins, so that names which themselves hold '/' or '#' stay reachable.
  const std::vector<int> exact = namedExactly(skeleton, key);
  if (exact.size() == 1 && !key.empty()) return exact.front();
  if (exact.size() > 1 && !key.empty()) {
    std::string paths;
    for (int j : exact) paths += (paths.empty() ? "" : ", ") + jointKey(skeleton, j);
    return makeError(Fault::mapping, "The name '" + std::string(key) + "' stands for " + std::to_string(exact.size()) + " joints", {},
                     "Use one of the paths " + paths);
  }
  if (key.size() > 1 && key.front() == '#') {
    int index = -1;
    const auto [stop, error] = std::from_chars(key.data() + 1, key.data() + key.size(), index);
    if (error == std::errc{} && stop == key.data() + key.size()) {
      const auto at = std::find(skeleton.fileNodes.begin(), skeleton.fileNodes.end(), index);
      if (at != skeleton.fileNodes.end()) return static_cast<int>(at - skeleton.fileNodes.begin());
    }
  }
  if (key.find('/') != std::string_view::npos) {
    int found = -1, count = 0;
    for (int j = 0; j < skeleton.size(); ++j) {
      const std::string path = pathOf(skeleton, j);
      if (path == key) return j;
      // The end of a path is enough where it is unambiguous.
      if (path.size() > key.size() && path.ends_with(key) && path[path.size() - key.size() - 1] == '/') found = j, ++count;
    }
    if (count == 1) return found;
  }
  return makeError(Fault::mapping, "There is no joint '" + std::string(key) + "'", {}, "Run 'look' on the file to list its joints");
}

void forwardKinematics(const Skeleton& skeleton, std::span<const Trsd> local, std::span<Affined> world) {
  for (int j = 0; j < skeleton.size(); ++j) {
    const Affined own(local[j]);
    world[j] = skeleton.parents[j] < 0 ? own : world[skeleton.parents[j]] * own;
  }
}

std::vector<Affined> restWorld(const Skeleton& skeleton) {
  std::vector<Affined> world(skeleton.parents.size());
  forwardKinematics(skeleton, skeleton.rest, world);
  return world;
}

}  // namespace understudy
