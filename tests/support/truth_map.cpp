#include "tests/support/truth_map.h"

#include <fstream>
#include <nlohmann/json.hpp>

namespace understudy {

SkeletonMap truthMap(const std::string& corpus, const std::string& fileName, const Figure& figure) {
  SkeletonMap map;
  std::ifstream in(corpus + "/roles/" + fileName + ".roles.json");
  if (!in) return map;
  const nlohmann::json json = nlohmann::json::parse(in);
  for (const auto& [name, value] : json.at("roles").items()) {
    const auto role = roleNamed(name);
    const nlohmann::json first = value.is_array() ? value.at(0) : value;
    if (!role || first.is_null()) continue;
    int joint = -1;
    if (first.is_number()) {
      for (int j = 0; j < figure.skeleton.size(); ++j)
        if (figure.skeleton.fileNodes[j] == first.get<int>()) joint = j;
    } else if (const Result<int> found = findJoint(figure.skeleton, first.get<std::string>())) {
      joint = *found;
    }
    if (joint >= 0) map.at(*role) = {{joint}, 1, "made by hand"};
  }
  return map;
}

}  // namespace understudy
