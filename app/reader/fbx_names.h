// FBX nodes that share a name. The format tells them apart by number, Assimp by name alone.
#pragma once

#include <map>
#include <string>
#include <vector>

namespace understudy {

/// Gives every node but the first of a name another name of the same length, in place (binary and ASCII FBX 7).
/// Returns the new names and what they stood for. Files it cannot follow stay as they are.
[[nodiscard]] std::map<std::string, std::string> separateNames(std::vector<char>& bytes);

}  // namespace understudy
