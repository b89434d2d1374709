// Arms and feet below the floor, which is where the file's up axis has its zero.
#include <algorithm>

#include "tests/checker/measure_tools.h"

namespace checker {

namespace {

constexpr std::size_t looked = 250;  // points of a limb that are looked at

std::size_t stepOf(const std::vector<int>& skin) { return std::max<std::size_t>(1, (skin.size() + looked - 1) / looked); }

/// Metres by which each limb's lowest point lies below the floor, by frame.
std::array<std::vector<double>, 2> rowsBelow(const Case& c, const Film& film, const std::array<std::vector<int>, 2>& limbs) {
  std::array<std::vector<double>, 2> out;
  for (int side = 0; side < 2; ++side) {
    const std::vector<int>& skin = limbs[index(side)];
    const std::size_t step = stepOf(skin);
    for (int f = 0; f < c.frames; ++f) {
      double depth = 0;
      for (std::size_t i = 0; i < skin.size(); i += step) depth = std::max(depth, -film.skinned(f, skin[i]).y());
      out[index(side)].push_back(depth);
    }
  }
  return out;
}

/// Frames in which either limb lies deeper than `limit`, mm.
template <typename Rows>
nlohmann::json belowFloor(const Case& c, int limit, const Rows& rowsOf) {
  const auto of = [&](const Film& film) {
    const std::array<std::vector<double>, 2> rows = rowsOf(film);
    double worst = 0;
    int at = 0, frames = 0;
    nlohmann::json spans = nlohmann::json::array();
    for (int f = 0; f < c.frames; ++f) {
      const double depth = c.mm(std::max(rows[0][index(f)], rows[1][index(f)]));
      frames += depth > limit;
      if (depth > worst) worst = depth, at = f;
    }
    for (int side = 0; side < 2; ++side) {
      for (int f = 0; f < c.frames; ++f) {
        const int first = f;
        double most = 0;
        for (; f < c.frames && c.mm(rows[index(side)][index(f)]) > limit; ++f) most = std::max(most, c.mm(rows[index(side)][index(f)]));
        if (f > first) spans.push_back({{"side", side == 0 ? "left" : "right"}, {"first", first + 1}, {"last", f}, {"worst", most}});
      }
    }
    return nlohmann::json{{"framesDeeperThan" + std::to_string(limit), frames}, {"worst", worst}, {"worstFrame", at + 1}, {"spans", spans}};
  };
  nlohmann::json out{{"result", of(*c.result)}};
  if (c.reference) out["reference"] = of(*c.reference);
  return out;
}

}  // namespace

DepthRows floorRows(const Case& c, const Film& film) {
  DepthRows out;
  for (int side = 0; side < 2; ++side) {
    const std::size_t size = c.regions.arm[index(side)].size(), step = stepOf(c.regions.arm[index(side)]);
    out.points[index(side)] = (size + step - 1) / step;
  }
  out.arm = rowsBelow(c, film, c.regions.arm);
  return out;
}

nlohmann::json armsBelowFloor(const Case& c) {
  return belowFloor(c, 10, [&](const Film& film) { return floorRows(c, film).arm; });
}

nlohmann::json restBelowFloor(const Case& c) {
  using Part = Regions::Part;
  std::array<std::vector<int>, 2> rest;  // trunk and head, thighs and shanks
  for (std::size_t i = 0; i < c.regions.part.size(); ++i) {
    const Part part = c.regions.part[i];
    const bool foot = std::any_of(c.regions.foot.begin(), c.regions.foot.end(), [&](const std::vector<int>& f) { return std::find(f.begin(), f.end(), static_cast<int>(i)) != f.end(); });
    if (foot) continue;
    if (part == Part::head || part == Part::torso) rest[0].push_back(static_cast<int>(i));
    if (part == Part::leftThigh || part == Part::rightThigh || part == Part::leftShank || part == Part::rightShank) rest[1].push_back(static_cast<int>(i));
  }
  return belowFloor(c, 10, [&](const Film& film) { return rowsBelow(c, film, rest); });
}

nlohmann::json feetBelowFloor(const Case& c) {
  return belowFloor(c, 5, [&](const Film& film) { return rowsBelow(c, film, c.regions.foot); });
}

}  // namespace checker
