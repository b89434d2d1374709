// Arms below the floor, which is where the file's up axis has its zero.
#include <algorithm>

#include "tests/checker/measure_tools.h"

namespace checker {

DepthRows floorRows(const Case& c, const Film& film) {
  DepthRows out;
  for (int side = 0; side < 2; ++side) {
    const std::vector<int>& skin = c.regions.arm[index(side)];
    const std::size_t step = std::max<std::size_t>(1, (skin.size() + 249) / 250);
    out.points[index(side)] = (skin.size() + step - 1) / step;
    for (int f = 0; f < c.frames; ++f) {
      double most = 0;
      for (std::size_t i = 0; i < skin.size(); i += step) most = std::max(most, -film.skinned(f, skin[i]).y());
      out.arm[index(side)].push_back(most);
    }
  }
  return out;
}

nlohmann::json armsBelowFloor(const Case& c) {
  const auto of = [&](const Film& film) {
    const DepthRows rows = floorRows(c, film);
    double worst = 0;
    int at = 0, frames = 0;
    for (int f = 0; f < c.frames; ++f) {
      const double depth = c.mm(std::max(rows.arm[0][index(f)], rows.arm[1][index(f)]));
      frames += depth > 10;
      if (depth > worst) worst = depth, at = f;
    }
    return nlohmann::json{{"framesDeeperThan10", frames}, {"worst", worst}, {"worstFrame", at + 1}};
  };
  nlohmann::json out{{"result", of(*c.result)}};
  if (c.reference) out["reference"] = of(*c.reference);
  return out;
}

}  // namespace checker
