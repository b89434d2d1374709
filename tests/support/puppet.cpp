#include "tests/support/puppet.h"

#include <cmath>
#include <map>
#include <numbers>
#include <stdexcept>

namespace understudy::test {
namespace {

struct Builder {
  Figure& figure;
  bool rigid;
  Mesh skin;

  /// A closed surface of rings about the axis from `a` to `b`; radius and weights by the way along it.
  template <class Radius, class Weights>
  void tube(int joint, const Vec3d& a, const Vec3d& b, int rings, int sides, bool closeStart, bool closeEnd, Radius&& radius, Weights&& weights) {
    Mesh own;
    Mesh& mesh = rigid ? own : skin;
    own.node = joint;
    own.name = figure.skeleton.names[static_cast<std::size_t>(joint)] + " mesh";
    const Vec3d axis = normalised(b - a), x = anyPerpendicular(axis), z = cross(axis, x);
    const Vec3d origin = rigid ? restWorld(figure.skeleton)[static_cast<std::size_t>(joint)].translation : Vec3d{};
    const std::uint32_t base = static_cast<std::uint32_t>(mesh.positions.size());
    const auto add = [&](const Vec3d& p, double t) {
      mesh.positions.push_back(Vec3f(p - origin));
      if (rigid) return;
      if (mesh.influenceStart.empty()) mesh.influenceStart.push_back(0);
      for (const auto& [j, w] : weights(t)) {
        if (w <= 0) continue;
        mesh.influenceJoint.push_back(static_cast<std::uint16_t>(j));
        mesh.influenceWeight.push_back(static_cast<float>(w));
      }
      mesh.influenceStart.push_back(static_cast<std::uint32_t>(mesh.influenceJoint.size()));
    };
    for (int r = 0; r < rings; ++r) {
      const double t = r / (rings - 1.0);
      for (int s = 0; s < sides; ++s) {
        const double angle = 2 * std::numbers::pi * s / sides;
        add(lerp(a, b, t) + (x * std::cos(angle) + z * std::sin(angle)) * radius(t), t);
      }
    }
    const auto at = [&](int r, int s) { return base + static_cast<std::uint32_t>(r * sides + s % sides); };
    const auto triangle = [&](std::uint32_t i, std::uint32_t j, std::uint32_t k) { mesh.indices.insert(mesh.indices.end(), {i, j, k}); };
    for (int r = 0; r + 1 < rings; ++r)
      for (int s = 0; s < sides; ++s) {
        triangle(at(r, s), at(r, s + 1), at(r + 1, s));
        triangle(at(r, s + 1), at(r + 1, s + 1), at(r + 1, s));
      }
    for (const bool end : {false, true}) {
      if (end ? !closeEnd : !closeStart) continue;
      const std::uint32_t middle = static_cast<std::uint32_t>(mesh.positions.size());
      add(end ? b : a, end);
      for (int s = 0; s < sides; ++s) {
        if (end) triangle(at(rings - 1, s), at(rings - 1, s + 1), middle);
        else triangle(at(0, s + 1), at(0, s), middle);
      }
    }
    if (rigid) figure.meshes.push_back(std::move(own));
  }
};

}  // namespace

std::shared_ptr<Figure> puppet(const PuppetOptions& o) {
  auto figure = std::make_shared<Figure>();
  figure->path = "puppet";
  figure->format = "glTF 2.0";
  Skeleton& sk = figure->skeleton;
  std::map<std::string, int> at;
  std::vector<Vec3d> place;
  const auto joint = [&](const std::string& name, const std::string& parent, Vec3d p) {
    p *= o.scale;
    const int up = parent.empty() ? -1 : at[parent];
    Trsd rest;
    rest.translation = up < 0 ? p : p - place[static_cast<std::size_t>(up)];
    at[name] = sk.add(name, up, rest, sk.size());
    place.push_back(p);
  };
  joint("hips", "", {0, 0.9, 0});
  joint("spine", "hips", {0, 1.0, 0});
  joint("chest", "spine", {0, 1.2, 0});
  joint("head", "chest", {0, 1.45, 0});
  for (const double s : {1.0, -1.0}) {
    const std::string side = s > 0 ? "left" : "right";
    joint(side + "UpperArm", "chest", {0.22 * s, 1.38, 0});
    joint(side + "LowerArm", side + "UpperArm", {0.5 * s, 1.38, 0});
    joint(side + "Hand", side + "LowerArm", {0.74 * s, 1.38, 0});
    joint(side + "UpperLeg", "hips", {0.09 * s, 0.88, 0});
    joint(side + "LowerLeg", side + "UpperLeg", {0.09 * s, 0.48, 0.01});
    joint(side + "Foot", side + "LowerLeg", {0.09 * s, 0.08, 0});
  }
  Builder build{*figure, o.rigid, {}};
  const double k = o.scale;
  const auto p = [&](double x, double y, double z) { return Vec3d{x, y, z} * k; };
  const auto only = [](int j) { return [j](double) { return std::vector<std::pair<int, double>>{{j, 1}}; }; };
  // The belly is widest in the middle of the torso.
  const auto torso = [&](double t) { return k * (0.12 + (o.belly - 0.12) * std::sin(std::numbers::pi * std::clamp(t, 0.0, 1.0))); };
  build.tube(at["spine"], p(0, 0.85, 0), p(0, 1.42, 0), 15, 24, true, !o.openSleeves, torso, [&](double t) {
    const double y = 0.85 + 0.57 * t, c = std::clamp((y - 1.05) / 0.2, 0.0, 1.0), h = std::clamp((1.0 - y) / 0.1, 0.0, 1.0);
    return std::vector<std::pair<int, double>>{{at["hips"], h * (1 - c)}, {at["spine"], (1 - h) * (1 - c)}, {at["chest"], c}};
  });
  build.tube(at["head"], p(0, 1.46, 0), p(0, 1.7, 0), 9, 16, true, true, [&](double t) { return k * (0.02 + 0.1 * std::sin(std::numbers::pi * t)); }, only(at["head"]));
  for (const double s : {1.0, -1.0}) {
    const std::string side = s > 0 ? "left" : "right";
    const auto round = [&](double r) { return [r, k](double) { return k * r; }; };
    const bool caps = !o.openSleeves;
    build.tube(at[side + "UpperArm"], p(0.24 * s, 1.38, 0), p(0.49 * s, 1.38, 0), 9, 10, caps, caps, round(0.045), only(at[side + "UpperArm"]));
    build.tube(at[side + "LowerArm"], p(0.5 * s, 1.38, 0), p(0.73 * s, 1.38, 0), 9, 10, caps, caps, round(0.04), only(at[side + "LowerArm"]));
    build.tube(at[side + "Hand"], p(0.74 * s, 1.38, 0), p(0.88 * s, 1.38, 0), 6, 8, caps, caps, round(0.035), only(at[side + "Hand"]));
    build.tube(at[side + "UpperLeg"], p(0.09 * s, 0.84, 0), p(0.09 * s, 0.5, 0.01), 8, 10, true, true, round(0.07), only(at[side + "UpperLeg"]));
    build.tube(at[side + "LowerLeg"], p(0.09 * s, 0.47, 0.01), p(0.09 * s, 0.1, 0), 8, 10, true, true, round(0.05), only(at[side + "LowerLeg"]));
    build.tube(at[side + "Foot"], p(0.09 * s, 0.03, -0.05), p(0.09 * s, 0.03, 0.15), 5, 8, true, true, round(0.03), only(at[side + "Foot"]));
  }
  if (!o.rigid) {
    Skin skin;
    const std::vector<Affined> world = restWorld(sk);
    for (int j = 0; j < sk.size(); ++j) {
      skin.joints.push_back(j);
      skin.inverseBind.push_back(inverse(world[static_cast<std::size_t>(j)]));
    }
    figure->skins.push_back(std::move(skin));
    build.skin.name = "skin";
    build.skin.skin = 0;
    figure->meshes.push_back(std::move(build.skin));
  }
  return figure;
}

SkeletonMap puppetMap(const Figure& figure) {
  SkeletonMap map;
  for (int j = 0; j < figure.skeleton.size(); ++j)
    if (const auto role = roleNamed(figure.skeleton.names[static_cast<std::size_t>(j)])) map.at(*role) = {{j}, 1, "made so"};
  return map;
}

std::shared_ptr<const RepairContext> puppetContext(std::shared_ptr<const Figure> figure, FrameRate rate, int frames) {
  auto map = std::make_shared<BoneMap>();
  map->character = puppetMap(*figure);
  Result<std::shared_ptr<const RepairContext>> context = repairContext(std::move(figure), std::move(map), {}, rate, frames);
  if (!context) throw std::runtime_error(context.error().text());
  return *context;
}

std::shared_ptr<Motion> puppetWalk(const Figure& figure, int frames, FrameRate rate, double swing, double bend, double bow) {
  auto motion = std::make_shared<Motion>(restMotion(figure.skeleton, frames, rate, {0}));
  const SkeletonMap map = puppetMap(figure);
  for (int f = 0; f < frames; ++f) {
    const double phase = 2 * std::numbers::pi * rate.seconds(f);
    const auto set = [&](Role role, const Quatd& q) { motion->rotationsAt(f)[static_cast<std::size_t>(map.joint(role))] = Quatf(q); };
    set(Role::chest, fromAxisAngle(Vec3d{1, 0, 0}, bow * (0.5 + 0.5 * std::sin(phase))));
    for (const bool left : {true, false}) {
      const double s = left ? 1 : -1;
      const Quatd down = fromAxisAngle(Vec3d{0, 0, 1}, -s * 1.45), along = fromAxisAngle(Vec3d{1, 0, 0}, s * swing * std::sin(phase) - 0.1);
      set(left ? Role::leftUpperArm : Role::rightUpperArm, along * down);
      set(left ? Role::leftLowerArm : Role::rightLowerArm, fromAxisAngle(Vec3d{0, 1, 0}, -s * (bend + 0.2 * std::sin(phase + 1))));
    }
  }
  return motion;
}

}  // namespace understudy::test
